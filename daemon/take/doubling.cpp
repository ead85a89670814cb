#include "take/doubling.hpp"

#include <optional>

namespace bowarm
{
namespace
{

constexpr Duration together = milliseconds(30);
constexpr std::size_t strokes_of_a_figure = 3;

using Partners = std::vector<std::optional<std::size_t>>; // of each stroke, which of the other's begins with it

Duration apart(Time a, Time b) { return a < b ? b - a : a - b; }

OthersStroke heard(const Decision& decision, Duration later)
{
    const ChoiceNeeds& n = decision.needs;
    return {decision.at - later, decision.direction, n.first || n.gap >= n.lift_after, n.stays};
}

// The nearest one, each once.
Partners partners_in(const OthersBowing& own, const OthersBowing& other)
{
    Partners partners(own.size());
    std::size_t next = 0;
    for (std::size_t i = 0; i < own.size(); ++i) {
        while (next < other.size() && other[next].at + together < own[i].at) ++next;
        while (next + 1 < other.size() && apart(other[next + 1].at, own[i].at) < apart(other[next].at, own[i].at)) ++next;
        if (next == other.size() || apart(other[next].at, own[i].at) > together) continue;
        if (other[next].shaken == own[i].shaken) partners[i] = next;
        ++next;
    }
    return partners;
}

// The strokes from `begin` on that are doubled one after the other.
std::size_t doubled_from(std::size_t begin, const Partners& partners, const OthersBowing& own, const OthersBowing& other)
{
    std::size_t i = begin;
    while (i < own.size() && partners[i]) {
        const bool goes_on = i == begin || (*partners[i] == *partners[i - 1] + 1 && own[i].rested == other[*partners[i]].rested);
        if (!goes_on) break;
        ++i;
    }
    return i - begin;
}

} // namespace

OthersBowing bowing_to_follow(const std::vector<Decision>& decisions, Duration later)
{
    OthersBowing bowing;
    bowing.reserve(decisions.size());
    for (const Decision& decision : decisions) bowing.push_back(heard(decision, later));
    return bowing;
}

void bow_doubled_alike(std::vector<Decision>& decisions, const Followed& followed)
{
    for (Decision& decision : decisions) decision.needs.doubled.reset();
    if (followed.others.empty()) return;
    const OthersBowing own = bowing_to_follow(decisions, followed.later);
    for (const OthersBowing& other : followed.others) {
        const Partners partners = partners_in(own, other);
        for (std::size_t i = 0; i < own.size();) {
            const std::size_t length = doubled_from(i, partners, own, other);
            for (std::size_t k = i; k < i + length && length >= strokes_of_a_figure; ++k)
                if (!decisions[k].needs.doubled) decisions[k].needs.doubled = other[*partners[k]].direction;
            i += length > 0 ? length : 1;
        }
    }
}

Alike alike_in(const std::vector<Decision>& decisions, const Followed& followed)
{
    if (followed.others.empty()) return {};
    std::vector<Decision> doubled = decisions;
    bow_doubled_alike(doubled, followed);
    Alike counted;
    for (const Decision& decision : doubled) {
        counted.doubled += decision.needs.doubled.has_value();
        counted.alike += decision.needs.doubled == decision.direction;
    }
    return counted;
}

} // namespace bowarm
