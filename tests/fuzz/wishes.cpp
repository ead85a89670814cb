// Any bytes as a file of wishes, told apart as `replay --wishes` does: a text, MusicXML, or MusicXML in an archive; what is read is held
// against a take.
#include "fuzz.hpp"

#include "player/random_playing.hpp"
#include "take/obedience.hpp"
#include "take/part/pencil.hpp"
#include "take/part/zip.hpp"
#include "take/second_bowing.hpp"
#include "take/wishes.hpp"

using namespace bowarm;
using fuzz::require;

namespace
{

constexpr std::size_t unpacked_at_most = 1U << 20;

// Two bars of quarters, and a third of eighths, at 120 a minute in 4/4.
std::vector<Input> tune()
{
    std::vector<Input> inputs{tempo_input(Time{}, 500'000), meter_input(Time{}, 4, 2)};
    const auto note = [&](std::int64_t ms, int key, std::int64_t length) {
        inputs.push_back(midi_input(test::at_ms(ms), Source{0}, note_on(Channel{}, Midi7::nearest(key), Midi7::nearest(80))));
        inputs.push_back(midi_input(test::at_ms(ms + length), Source{0}, note_off(Channel{}, Midi7::nearest(key))));
    };
    for (int i = 0; i < 8; ++i) note(500 * i, 62 + i, 450);
    for (int i = 0; i < 8; ++i) note(4'000 + 250 * i, 70 - i, 220);
    return inputs;
}

struct Take {
    PlayerConfig player{test::violin_config()};
    Piece piece{player, tune(), test::at_ms(6'000)};
    Recorder live{bow_live(piece, {}).take};
};

void check(const std::vector<Wish>& wishes, bool from_part)
{
    static const Take take;
    const auto meant = strokes_meant(wishes, take.live, 4, from_part);
    const auto* clear = std::get_if<Meant>(&meant);
    if (clear == nullptr) return;
    require(clear->strokes.size() == wishes.size(), "each wish has its meaning");
    const auto outcomes = outcomes_of(take.player.instrument, wishes, *clear, bow_live(take.piece, clear->wished).take);
    require(outcomes.size() == wishes.size(), "each wish has its outcome");
}

void check_problem(const WishProblem& problem)
{
    require(problem.line >= 1 && !problem.what.empty() && problem.what.find('\n') == std::string::npos,
            "a refusal is one line with its place");
}

void check_text(std::string_view text)
{
    const auto read = read_wishes(text);
    if (const auto* problem = std::get_if<WishProblem>(&read)) return check_problem(*problem);
    for (const Wish& wish : std::get<std::vector<Wish>>(read)) {
        const auto again = read_wishes(wish_text(wish));
        require(std::holds_alternative<std::vector<Wish>>(again), "a wish that was read can be written and read");
    }
    check(std::get<std::vector<Wish>>(read), false);
}

void check_document(std::string_view document)
{
    static const Take take;
    const auto read = part::read_pencil(document);
    if (const auto* problem = std::get_if<WishProblem>(&read)) return check_problem(*problem);
    check(part::wishes_of(std::get<std::vector<part::PencilNote>>(read), take.live, take.player), true);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    const std::span<const std::uint8_t> bytes{data, size};
    const std::string_view text = fuzz::text_of(bytes);
    if (part::is_compressed(bytes)) {
        const auto unpacked = part::uncompressed(bytes, unpacked_at_most);
        if (const auto* document = std::get_if<std::string>(&unpacked)) check_document(*document);
    } else if (part::is_music_xml(text)) {
        check_document(text);
    } else {
        check_text(text);
    }
    return 0;
}
