#include "sound/bow_curves.hpp"

#include "player/fixture.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace bowarm::test
{
namespace
{

// The fixture's control keys, from 12 on.
constexpr Technique control_keys[] = {Technique::detache, Technique::legato,  Technique::staccato, Technique::spiccato,
                                      Technique::marcato, Technique::tremolo, Technique::pizzicato};

int control_key(Technique technique)
{
    return 12 + static_cast<int>(std::find(std::begin(control_keys), std::end(control_keys), technique) - std::begin(control_keys));
}

int loudness_value(Loudness wanted) { return static_cast<int>(std::lround(wanted.value * 127)); }

BowMoment moment(const Player& player, Time at)
{
    Snapshot s;
    player.read(s);
    BowMoment m;
    m.at = to_seconds(Duration{at.ns});
    m.bow = {s.speed * sign(s.direction), s.force, s.beta};
    m.string = s.string;
    m.pitch = s.pitch;
    return m;
}

class Reader
{
public:
    void until(std::int64_t ms)
    {
        while (player_.next_wake() <= at_ms(ms)) {
            const Time due = player_.next_wake();
            player_.wake(memory_);
            read(due);
        }
    }
    void message(std::int64_t ms, const Message& m)
    {
        until(ms);
        player_.on(midi_input(at_ms(ms), Source{0}, m), memory_);
        read(at_ms(ms));
    }
    std::vector<BowMoment> moments;

private:
    // A later reading of the same moment is the truer one.
    void read(Time at)
    {
        const BowMoment m = moment(player_, at);
        if (!moments.empty() && moments.back().at == m.at)
            moments.back() = m;
        else
            moments.push_back(m);
    }

    Player player_{violin_config()};
    Memory memory_;
};

} // namespace

Loudness loudness_said(Loudness wanted) { return Loudness{loudness_value(wanted) / 127.0}; }

std::vector<BowMoment> bow_curves(const Performance& performance, std::int64_t until_ms)
{
    struct Press {
        std::int64_t ms;
        Message message;
    };
    std::vector<Press> presses;
    for (const Key& key : performance.keys) {
        presses.push_back({key.down_ms, note_on(Channel{}, Midi7::nearest(key.pitch), Midi7::nearest(80))});
        presses.push_back({key.up_ms, note_off(Channel{}, Midi7::nearest(key.pitch))});
    }
    // Of a repeated key that comes up as it goes down the release was put in first.
    std::stable_sort(presses.begin(), presses.end(), [](const Press& a, const Press& b) { return a.ms < b.ms; });

    Reader reader;
    const Midi7 choice = Midi7::nearest(control_key(performance.technique));
    reader.message(0, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(loudness_value(performance.loudness))));
    reader.message(0, control_change(Channel{}, Midi7::nearest(74), Midi7::nearest(performance.contact)));
    reader.message(5, note_on(Channel{}, choice, Midi7::nearest(80)));
    reader.message(10, note_off(Channel{}, choice));
    for (const Press& press : presses) reader.message(press.ms, press.message);
    reader.until(until_ms);
    return reader.moments;
}

} // namespace bowarm::test
