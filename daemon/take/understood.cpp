#include "take/understood.hpp"

#include "take/bar_lines.hpp"
#include "take/meant_overlaps.hpp"

#include <algorithm>
#include <utility>

namespace bowarm
{
namespace
{

bool earlier(const Input& a, const Input& b) { return a.at < b.at; }

} // namespace

std::optional<Piece> understood(const Piece& piece, const Recorder& live)
{
    const std::vector<Input> lines = bar_lines_of(live);
    std::optional<std::vector<Input>> meant = with_overlaps_as_meant(piece.inputs, piece.player.chord_window);
    if (lines.empty() && !meant) return std::nullopt;
    Piece again = piece;
    if (meant) again.inputs = *std::move(meant);
    for (const Input& line : lines) {
        // What is lived through before the piece is over: no bar line can lie there any more.
        if (!piece.past.empty() && line.at < piece.inputs.front().at) continue;
        again.inputs.insert(std::lower_bound(again.inputs.begin(), again.inputs.end(), line, earlier), line);
    }
    return again;
}

Bowing bow_as_understood(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, Hindsight& hindsight,
                         std::span<const OthersBowing> others)
{
    const std::optional<Piece> again = understood(piece, live);
    if (!again) return bow_with_hindsight(piece, live, wishes, std::nullopt, hindsight, others);
    Piece unwatched = *again;
    unwatched.watch = false;
    return bow_with_hindsight(*again, bow_live(unwatched, wishes).take, wishes, std::nullopt, hindsight, others);
}

} // namespace bowarm
