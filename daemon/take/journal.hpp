// The journal of a take: everything the engine applied since its player was new, so that the same build gives the same take again.
//
//   file     16 bytes "bowarm-journal\n" and 0x01, then records; all numbers low byte first
//   record   u32 length of the payload, u32 CRC-32C of everything else in the record (length, kind, version, payload),
//            u8 kind, u8 version, payload.  A reader skips kinds and versions that it does not know.
//   kinds, version 1:
//     1 head    once, first: i64 wall clock at logical time 0 (s since 1970), i64 time up to which inputs are the past: what the
//               player lived through before this take; build and program version, then the texts of kind 6
//     2 input   i64 time, u8 source, u8 kind, 8 bytes of data (hear/input.hpp)
//     3 check   i64 time, u64 count, u64 hash (take/output_hash.hpp): what the player had sent
//     4 gap     i64 time, u64 inputs that were lost here, 0: it is not known how many
//     5 end     i64 first moment of the take, i64 last: it was finished; none: it was cut off
//     6 texts   i64 time from which a new player plays (behind an input of kind `configured`), then name and content of the
//               configuration, the instrument file, the target file; each text is u32 length and bytes
//
//   thread   any, pure.  Real-time safe: no, it allocates; never more than a small multiple of the bytes it was given.
//   Errors   reading: nothing is thrown.  Everything before the first damaged record is there, nothing behind it is believed.
#pragma once

#include "hear/input.hpp"
#include "take/output_hash.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bowarm
{

struct KeptText {
    std::string name; // a path
    std::string content;
};

struct ConfigurationTexts {
    KeptText configuration, instrument, target;
};

struct JournalHead {
    std::int64_t wall_s{0};
    Time past_until{-1};
    std::string build, version;
    ConfigurationTexts texts;
};

struct TakeSpan {
    Time first, last; // of its inputs
};

struct JournalGap {
    Time at;
    std::uint64_t inputs{0};
};

struct NewTexts {
    Time from;
    ConfigurationTexts texts;
};

struct Journal {
    std::optional<JournalHead> head;
    std::vector<NewTexts> new_texts;
    std::vector<Input> inputs; // the past, then the take; stamps never fall
    std::vector<OutputCheck> checks;
    std::vector<JournalGap> gaps;
    std::optional<TakeSpan> end;
    std::size_t sound_bytes{0}; // up to the first damage
    std::string damage;         // what is wrong there; empty: nothing
    bool is_journal{false};     // the first 16 bytes are a journal's
};

Journal read_journal(std::span<const std::uint8_t> bytes);

using JournalBytes = std::vector<std::uint8_t>;

JournalBytes journal_beginning();
void append_record(JournalBytes& bytes, const JournalHead& head);
void append_record(JournalBytes& bytes, const Input& input);
void append_record(JournalBytes& bytes, const OutputCheck& check);
void append_record(JournalBytes& bytes, const JournalGap& gap);
void append_record(JournalBytes& bytes, const TakeSpan& end);
void append_record(JournalBytes& bytes, const NewTexts& texts);

// Of the player that played the take; journals without a head have none.
ConfigurationTexts texts_for(const Journal& journal, const TakeSpan& span);
// When that player was new.
Time player_began(const Journal& journal, const TakeSpan& span);

// The take's own inputs: from `end` where it is known, else from the first that begins a take (begins_a_take, after the past and
// after the newest configuration, at most `silence` before the first note).  Empty: nothing was played.
std::optional<TakeSpan> span_of(const Journal& journal, Duration silence);

// Channel messages, tempos and meters make a take; clocks and commands do not.
bool begins_a_take(const Input& input);

} // namespace bowarm
