#include "phrase/overlaps.hpp"

namespace bowarm
{
namespace
{

constexpr Seconds surely_a_slur{0.1};
constexpr double share_of_note = 0.7; // a longer overlap is no accident
constexpr double alike = 1.05;        // ratio of two holds that a hand meant to be the same
constexpr Seconds even{0.012};        // spread up to which a hand's slurs are even enough to tell anything
constexpr double forgetting = 0.1;    // share of the newest

Seconds distance(Seconds a, Seconds b) { return a < b ? b - a : a - b; }

} // namespace

void Overlaps::let_go(Seconds held) noexcept
{
    for (std::size_t i = separate_.size() - 1; i > 0; --i) separate_[i] = separate_[i - 1];
    separate_[0] = held;
}

bool Overlaps::held_like_separate(Seconds held) const noexcept
{
    for (const Seconds s : separate_)
        if (s > Seconds{0} && held < s * alike && s < held * alike) return true;
    return false;
}

bool Overlaps::unlike_slurs(Seconds overlap) const noexcept { return spread_ < even && distance(overlap, usual_) > spread_; }

void Overlaps::slurred(Seconds overlap) noexcept
{
    const Seconds away = distance(overlap, usual_);
    usual_ = usual_ * (1 - forgetting) + overlap * forgetting;
    spread_ = spread_ * (1 - forgetting) + away * forgetting;
}

bool Overlaps::by_accident(Seconds held, Seconds overlap) noexcept
{
    const bool may_be = overlap < surely_a_slur && overlap < held * share_of_note;
    if (overlap < surely_an_accident || (may_be && held_like_separate(held) && unlike_slurs(overlap))) {
        let_go(held);
        return true;
    }
    if (overlap < surely_a_slur * 1.5) slurred(overlap);
    return false;
}

} // namespace bowarm
