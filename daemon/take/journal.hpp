// The journal of a take: everything the engine applied since its players were new, so that the same build gives the same take again.
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
//   version 2, where there are several players (counted from 0; of one player everything is as in version 1):
//     1, 6      as above, then u8 number of further files, their names and contents; u8 number of further players, and for each
//               u8 which file is its instrument, u8 which its target: 0 and 1 are the first player's, from 2 on the further ones
//     2 input   i64 time, u64 players that applied it, a bit each from the lowest, u8 source, u8 kind, 8 bytes of data
//     3 check   i64 time, u8 player, u64 count, u64 hash
//
//   thread   any, pure.  Real-time safe: no, it allocates; never more than a small multiple of the bytes it was given.
//   Errors   reading: nothing is thrown.  Everything before the first damaged record is there, nothing behind it is believed.
#pragma once

#include "hear/hands.hpp"
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

// Of the players behind the first: which of the files, 0 `instrument`, 1 `target`, from 2 on `more`.
struct PlayersFiles {
    std::uint8_t instrument{0}, target{1};
};

struct ConfigurationTexts {
    KeptText configuration, instrument, target; // of the first player
    std::vector<KeptText> more{};               // each once
    std::vector<PlayersFiles> others{};         // the second player's first

    std::size_t players() const { return 1 + others.size(); }
    const KeptText& file(std::uint8_t number) const { return number == 0 ? instrument : number == 1 ? target : more[number - 2U]; }
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

struct JournalInput : Input {
    PlayerSet players{1}; // who applied it
};

struct JournalCheck : OutputCheck {
    std::uint8_t player{0};
};

struct Journal {
    std::optional<JournalHead> head;
    std::vector<NewTexts> new_texts;
    std::vector<JournalInput> inputs; // the past, then the take; stamps never fall
    std::vector<JournalCheck> checks;
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
void append_record(JournalBytes& bytes, const Input& input); // of the first player
void append_record(JournalBytes& bytes, const JournalInput& input);
void append_record(JournalBytes& bytes, const OutputCheck& check); // of the first player
void append_record(JournalBytes& bytes, const JournalCheck& check);
void append_record(JournalBytes& bytes, const JournalGap& gap);
void append_record(JournalBytes& bytes, const TakeSpan& end);
void append_record(JournalBytes& bytes, const NewTexts& texts);

// Of the players that played the take; journals without a head have none.
ConfigurationTexts texts_for(const Journal& journal, const TakeSpan& span);
// When those players were new.
Time player_began(const Journal& journal, const TakeSpan& span);

// The take's own inputs: from `end` where it is known, else from the first that begins a take (begins_a_take, after the past and
// after the newest configuration, at most `silence` before the first note).  Empty: nothing was played.
std::optional<TakeSpan> span_of(const Journal& journal, Duration silence);

// A key that went down, other than one of a take that is heard again.
bool is_key_struck(const Input& input);

// Channel messages, tempos and meters make a take; clocks, commands and a take that is heard again do not.
bool begins_a_take(const Input& input);

} // namespace bowarm
