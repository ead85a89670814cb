// `bowarmd replay`: a Standard MIDI File is bowed, and what would have been sent is written beside a report.
//   Errors   CommandFailure: 64 an output that would overwrite the input or another output, 65 not a usable file,
//            66 no such file or a folder, 73 an output cannot be made, 74 reading or writing failed.
#pragma once

#include "commands/options.hpp"
#include "commands/replay_papers.hpp"
#include "commands/replay_part.hpp"
#include "midi/standard_file.hpp"
#include "take/part/pencil.hpp"
#include "take/second_bowing.hpp"
#include "take/take.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bowarm
{

int replay_command(const Arguments& arguments);

// Another performance of the same music, which is followed where it doubles this one.
struct AlikeAsked {
    std::string file;
    std::optional<std::string> instrument, wishes;
};

// What is asked of a piece, and where it is to go.
struct BowingAsked {
    std::string in; // for messages
    std::optional<std::string> out, wishes;
    PapersWish papers;
    bool hindsight{false};
    bool compensate{false};
    std::optional<Bars> bars;
    bool verbose{false};
    std::optional<PartAsked> part{};
    part::PencilPlace pencil{}; // which line of a score the wishes are
    std::optional<AlikeAsked> alike{};
    bool among_others{false}; // others play, too: in some bars this player may be silent
};
// The options that concern it.  Throws CommandFailure (64).
part::PencilPlace pencil_place(std::string_view command, const Arguments& arguments);

struct BowedPiece {
    Bowing live;
    std::optional<Bowing> again; // with hindsight, where that was asked
    Hindsight hindsight;
    std::vector<WishOutcome> outcomes; // in the order of the wishes

    const Bowing& bowing() const { return again ? *again : live; }
};
// Bows it live, and with hindsight where asked; then `others` are followed where they double it.  Nothing is written or said.
BowedPiece bow_as_asked(const BowingAsked& asked, const Piece& piece, std::span<const OthersBowing> others = {});
// Says what changed, and writes.  Answers the exit code.
int say_and_write(const BowingAsked& asked, const BowedPiece& bowed, const PlayerConfig& player);
// Both.
int bow_and_write(const BowingAsked& asked, const Piece& piece, std::span<const OthersBowing> others = {});

// Before the piece is made, for --compensate: the player's delay is made long enough.  A target that never speaks late is told of.
void make_room_to_compensate(PlayerConfig& player);

// No output may be the input, the wishes or another output.
void refuse_overwriting(const BowingAsked& asked);
// `--option OUTPUT` must not overwrite `other`, which is `what`.
void refuse_overwriting(const std::string& option, const std::string& output, const std::string& other, const std::string& what);

// A Standard MIDI File from the disk, for every command that plays one.  Throws CommandFailure (65, 66, 74).
//   With `verbose` what the file gets wrong without harm is said on stderr.
StandardFile midi_file_from(const std::string& path, bool verbose);

// Whole or not at all, for every command that writes a file.  Throws CommandFailure (73, 74).
void write_output(const std::string& path, std::span<const std::uint8_t> bytes, Settle settle = Settle::on_disk);

} // namespace bowarm
