// The player's pencil: bow marks and slurs of a MusicXML part become wishes.
//   A slur is a bow.  A mark says where a stroke goes, a comma before it that the bow is lifted; those after it alternate, as a player
//   reads them, until a rest of a half note or more, plucked notes, or a tremolo. in       a document; then the take it belongs to out
//   wishes by the number of a note, each with its bar and beat and its line in the document source   MusicXML 4.0; the marks as in
//   bow_marks.hpp thread   any, pure.  Real-time safe: no, it allocates. Errors   a document that is no readable score is a WishProblem; a
//   stroke that the take does not have becomes a wish by its place,
//            so that it is refused in words; one part, staff and voice are read, and one that is not there is a WishProblem.  Repeats are
//            read once.
#pragma once

#include "take/take.hpp"
#include "take/wishes.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace bowarm::part
{

inline constexpr std::size_t document_bytes_at_most = 256U << 20;

// A stroke as it is written, or a note that goes on with one.
struct PencilNote {
    std::size_t line{0};
    std::int32_t bar{0};          // counted from 1, whatever is printed
    double quarter{0};            // from the bar's beginning
    double beat{1};               // in beats of the meter
    int key{0};                   // as it sounds
    std::optional<Direction> bow; // marked, or known from the one before
    bool marked{false};
    bool retake{false}; // a comma before it: the bow is lifted
    bool grace{false};
    bool on_bow_of_before{false}; // under one slur with the note before
};

// Which line of a score; by itself the first part, its first staff, and on that the first voice.
struct PencilPlace {
    std::string part{}; // its number, its name as it is printed, or its short name; empty: the first
    int staff{1};
    std::string voice{}; // as the document numbers it; empty: the first on the staff
};

std::variant<std::vector<PencilNote>, WishProblem> read_pencil(std::string_view document, const PencilPlace& place = {});

// Wishes that the take fulfils by how its keys were held (slurred notes) are left out.
std::vector<Wish> wishes_of(const std::vector<PencilNote>& pencil, const Recorder& live, const PlayerConfig& player);

// It begins as MusicXML does, compressed or not.
bool is_music_xml(std::string_view bytes);

} // namespace bowarm::part
