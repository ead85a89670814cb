// The bow chart: what the arm did, drawn for a composer's eye.  Time runs along the page in systems, as music does; each shows
// the bow between frog and tip, the notes on a staff, speed, force inside its limits, contact point, and warnings by number.
//   The frog is above and the tip below, so that a down-bow goes down the page: a filled line; an up-bow goes up: a hollow one.
//   in       a take and how its bow moved
//   out      whole SVG documents, a page each, of A4's shape; text, no script, nothing from elsewhere
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/hindsight.hpp"
#include "take/motion.hpp"
#include "take/take.hpp"

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <string>

namespace bowarm
{

struct ChartWish {
    std::string_view title; // of the piece, UTF-8
    const Recorder& take;
    const MotionRecord& motion;
    const Instrument& instrument;
    Duration later{0};        // as in ReportHead
    std::optional<Bars> only; // these bars alone
};

// A page, its number from 1, and how many there are.
using TakePage = std::function<void(std::string page, std::size_t number, std::size_t count)>;

// Of every desk one after the other, each page as soon as it is drawn: a long take has a thousand.
//   A take without notes gives one page that says so.
void draw_chart(const ChartWish& wish, const TakePage& take_page);

// Pages in one HTML document with zoom and a line that tells what is under the pointer; no network.
std::string chart_html(std::string_view title, std::span<const std::string> pages);

// The rules of looks, for light and dark screens and for paper.
std::string_view chart_style() noexcept;

} // namespace bowarm
