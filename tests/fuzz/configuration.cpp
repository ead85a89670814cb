// A configuration, an instrument or a target in which anything may stand: it is taken or refused in words, and what was taken plays.
//   The text is read by plain_toml.cpp instead of the library, so that what is found are our own faults, ten thousand a second.
//   The first byte says which of the three files it is; the other two are the shipped ones.
#include "fuzz.hpp"

#include "plain_toml.hpp"
#include "player/fixture.hpp"
#include "studio/configuration.hpp"

using namespace bowarm;
using fuzz::require;

namespace
{

// Counts the instrument's own keys: a keyswitch, which is never one of them, may stay held for as long as its technique lasts.
class Counting final : public Sink
{
public:
    explicit Counting(const Instrument& instrument) : lowest_(instrument.lowest_key), highest_(instrument.highest_key) {}
    void bundle(Time, std::span<const Message> messages) noexcept override
    {
        require(!messages.empty() && messages.size() <= bundle_limit, "a bundle has a few messages");
        for (const Message& message : messages) {
            if (message.first() < lowest_ || message.first() > highest_) continue;
            if (message.is_note_on()) ++on;
            if (message.is_note_off()) --on;
        }
    }
    void curve(Time, Controller controller, int value) noexcept override
    {
        require(value >= 0 && value <= controller.highest(), "a curve's value is in its range");
    }
    void fact(const Fact&) noexcept override {}
    int on{0};

private:
    Midi7 lowest_, highest_;
};

void play(const PlayerConfig& config)
{
    Player player{config};
    Counting sink{config.instrument};
    std::int64_t ms = 0;
    const auto input = [&](const Input& i) {
        advance(player, i.at, sink);
        player.on(i, sink);
    };
    for (int technique = 0; technique < technique_count; ++technique) {
        input(command_input(test::at_ms(ms), Command::select_technique, static_cast<std::uint8_t>(technique)));
        for (const int key : {60, 67, 74}) {
            input(midi_input(test::at_ms(ms += 50), Source{0}, note_on(Channel{}, Midi7::nearest(key), Midi7::nearest(90))));
            input(midi_input(test::at_ms(ms += 250), Source{0}, note_off(Channel{}, Midi7::nearest(key))));
        }
    }
    input({test::at_ms(ms), Source{0}, InputKind::port_lost, {}});
    advance(player, test::at_ms(ms + 60'000), sink);
    require(player.next_wake() == Time::never(), "the player comes to rest");
    require(sink.on == 0, "no note hangs");
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    fuzz::Bytes bytes{{data, size}};
    const auto which = static_cast<fuzz::Replaced>(bytes.next() % 3);
    fuzz::put_in_place(which, std::string{fuzz::text_of(bytes.rest())});
    Loaded loaded = load_configuration("/config/bowarm.toml", {"/config/instrument.toml", "/config/target.toml", true});
    if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded)) {
        require(!problems->empty(), "a refusal has reasons");
        for (const Problem& problem : *problems)
            require(!problem.what.empty() && problem.line().find('\n') == std::string::npos, "a problem is one line");
        return 0;
    }
    const Settings& settings = std::get<Settings>(loaded);
    require(!settings.players.empty() && settings.players.size() <= 64, "there are one to 64 players");
    play(settings.player);
    return 0;
}
