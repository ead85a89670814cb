// Any bytes as a journal: what is sound is read, nothing behind damage is believed, and a take of it is played again.
//   The checksums are put right first, or no change would be found past them; every fourth input is left as it is.
#include "fuzz.hpp"

#include "player/fixture.hpp"
#include "take/crc32c.hpp"
#include "take/journal.hpp"
#include "take/replayed.hpp"
#include "take/take.hpp"

#include <vector>

using namespace bowarm;
using fuzz::require;

namespace
{

constexpr std::size_t begins = 16, frame = 10; // bytes, as in take/journal.hpp
constexpr std::size_t played_at_most = 80;     // inputs; the player has a harness of its own
constexpr Time latest{60'000'000'000};         // each second of a held note is two hundred wakes

std::uint32_t number_at(std::span<const std::uint8_t> bytes, std::size_t at)
{
    std::uint32_t value = 0;
    for (std::size_t i = 4; i-- > 0;) value = value << 8 | bytes[at + i];
    return value;
}

void put_sums_right(std::vector<std::uint8_t>& bytes)
{
    std::size_t at = begins;
    while (at + frame <= bytes.size()) {
        const std::size_t length = number_at(bytes, at);
        if (length > bytes.size() - at - frame) return;
        const std::span<const std::uint8_t> record = std::span{bytes}.subspan(at, frame + length);
        const std::uint32_t sum = crc32c(record.subspan(8), crc32c(record.first(4)));
        for (std::size_t i = 0; i < 4; ++i) bytes[at + 4 + i] = static_cast<std::uint8_t>(sum >> 8 * i);
        at += frame + length;
    }
}

void check_sound_part(const Journal& journal, std::span<const std::uint8_t> bytes)
{
    require(journal.sound_bytes <= bytes.size(), "what is sound is no longer than the file");
    require(journal.damage.empty() == (journal.is_journal && journal.sound_bytes == bytes.size()),
            "damage is told where something is left");
    Time before{0};
    for (const Input& input : journal.inputs) {
        require(input.at >= before, "stamps never fall");
        before = input.at;
    }
    if (!journal.is_journal) return;
    const Journal sound = read_journal(bytes.first(journal.sound_bytes));
    require(sound.damage.empty() && sound.inputs.size() == journal.inputs.size(), "the sound part alone is a sound journal");
}

void play_again(const Journal& journal)
{
    const auto span = span_of(journal, Duration{20'000'000'000});
    if (!span || journal.inputs.size() > played_at_most) return;
    if (span->last > latest || (!journal.inputs.empty() && journal.inputs.back().at > latest)) return;
    require(span->first <= span->last, "a take does not end before it begins");
    texts_for(journal, *span);
    const PlayerConfig config = test::violin_config();
    const Replayed again = replayed(journal, *span, config);
    take_as_midi_file(again.take);
    piece_of(journal, *span, config);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    std::vector<std::uint8_t> bytes(data, data + size);
    if (size % 4 != 3) put_sums_right(bytes);
    const Journal journal = read_journal(bytes);
    check_sound_part(journal, bytes);
    play_again(journal);
    return 0;
}
