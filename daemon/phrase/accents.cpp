#include "phrase/accents.hpp"

namespace bowarm
{
namespace
{

constexpr double follow_wrong = 0.15;
constexpr int first_notes = 5;
constexpr double clearly_better = 1.5; // of velocity

constexpr double magnitude(double x) { return x < 0 ? -x : x; }

} // namespace

double Accents::over_hand(const Struck& note) { return note.hand ? note.velocity - 127 * note.hand->value : 0.0; }

double Accents::over(const Struck& note) const noexcept
{
    if (heard_ == 0) return 0;
    const double alone = note.velocity - alone_;
    if (!note.hand) return alone;
    const double with_hand = over_hand(note) - over_hand_;
    if (wrong_alone_ + clearly_better < wrong_over_hand_) return alone;
    if (wrong_over_hand_ + clearly_better < wrong_alone_) return with_hand;
    return alone < with_hand ? alone : with_hand;
}

void Accents::follow(const Struck& note, double share) noexcept
{
    const double alone = note.velocity - alone_;
    const double with_hand = over_hand(note) - over_hand_;
    if (heard_ > 0) {
        wrong_alone_ += follow_wrong * (magnitude(alone) - wrong_alone_);
        wrong_over_hand_ += follow_wrong * (magnitude(with_hand) - wrong_over_hand_);
    }
    // The first notes are averaged, lest an odd one stay the measure of all.
    if (heard_ < first_notes) ++heard_;
    const double at_first = heard_ < first_notes ? 1.0 / heard_ : 0.0;
    const double step = share < at_first ? at_first : share;
    alone_ += step * alone;
    over_hand_ += step * with_hand;
}

} // namespace bowarm
