#include "take/part/note_values.hpp"

#include "take/part/rhythm.hpp"

#include <algorithm>
#include <array>

namespace bowarm::part
{
namespace
{

constexpr Ticks whole_note = ticks_a_quarter * 4;
constexpr int longest_power = -1; // breve
constexpr int shortest_power = 7; // 128th: 15 ticks

Ticks length_of(int power) { return power < 0 ? whole_note << -power : whole_note >> power; }

bool crosses(Ticks from, Ticks length, Ticks line) { return from < line && line < from + length; }

class Places
{
public:
    Places(const Bar& bar, bool rest) : bar_(bar), beat_(beat_of(bar.meter)), threes_(in_threes(bar.meter)), rest_(rest) {}

    bool may_stand(Ticks at, Ticks base, bool dotted) const
    {
        const Ticks length = dotted ? base * 3 / 2 : base;
        const Ticks from = at - bar_.begin;
        if (length <= beat_) return from % beat_ + length <= beat_ ? inside_a_beat(from, base, dotted) : is_syncopation(from, length);
        if (threes_) return dotted && from % beat_ == 0 && (length == beat_ * 2 || (length == beat_ * 4 && from == 0));
        if (beat_ < ticks_a_quarter) return from % beat_ == 0 && (!rest_ || from % base == 0);
        if (rest_) return !dotted && from % base == 0;
        return over_beats(from, length);
    }

private:
    bool inside_a_beat(Ticks from, Ticks base, bool dotted) const
    {
        const Ticks in_beat = from % beat_;
        if (!dotted) return in_beat % (rest_ && !threes_ ? base : base / 2) == 0;
        if (rest_) return threes_ && base * 3 / 2 == beat_ && in_beat == 0;
        return in_beat % (base / 2) == 0;
    }
    bool is_syncopation(Ticks from, Ticks length) const
    {
        return !rest_ && !threes_ && length == beat_ && beat_ == ticks_a_quarter && from % beat_ == beat_ / 2 &&
               !hides_middle(from, length);
    }
    bool over_beats(Ticks from, Ticks length) const
    {
        const bool on_beat = from % beat_ == 0;
        if (length == beat_ * 3 / 2) return (on_beat || from % beat_ == beat_ / 2) && !hides_middle(from, length);
        if (!on_beat) return false;
        if (length == beat_ * 2) return true;
        if (length == beat_ * 3) return true;
        return length >= beat_ * 4 && from % length == 0;
    }
    bool hides_middle(Ticks from, Ticks length) const
    {
        const Ticks beats = bar_.length / beat_;
        return beats >= 4 && beats % 2 == 0 && crosses(from, length, bar_.length / 2);
    }

    const Bar& bar_;
    Ticks beat_;
    bool threes_, rest_;
};

NoteValue longest_at(Ticks at, Ticks end, const Places& places)
{
    for (int power = longest_power; power <= shortest_power; ++power) {
        const Ticks base = length_of(power);
        for (const bool dotted : {true, false}) {
            const Ticks length = dotted ? base * 3 / 2 : base;
            if (length > end - at || (dotted && base % 2 != 0)) continue;
            if (places.may_stand(at, base, dotted)) return {at, length, power, dotted ? 1 : 0, 0, 0, 0, false, false};
        }
    }
    return {at, end - at, shortest_power, 0, 0, 0, 0, false, false}; // between the places of every division
}

// So many in the time of so many: the next lower number that the value itself would give.
int normal_of(const Division& division)
{
    if (division.length % 3 == 0 && division.parts % 3 != 0) return division.parts * 3 / 2; // 2 in the time of 3, 4 of 6
    int normal = 1;
    while (normal * 2 < division.parts) normal *= 2;
    return normal;
}

int power_of(Ticks length)
{
    int power = longest_power;
    while (power < shortest_power && length_of(power) > length) ++power;
    return power;
}

void add_tuplet(std::vector<NoteValue>& values, Ticks begin, Ticks end, const Division& division)
{
    const int normal = normal_of(division);
    const Ticks unit = division.length / division.parts;
    const int unit_power = power_of(division.length / normal);
    for (Ticks at = begin; at < end;) {
        const Ticks units = std::max<Ticks>((end - at) / unit, 1);
        const int in_beat = static_cast<int>((at - division.begin) / unit);
        NoteValue value{at, unit, unit_power, 0, division.parts, normal, unit_power, in_beat == 0, false};
        if (units >= 4 && in_beat % 4 == 0) {
            value.power -= 2;
            value.length = unit * 4;
        } else if (units >= 3 && in_beat % 3 == 0 && division.parts % 2 == 0) {
            value.power -= 1;
            value.dots = 1;
            value.length = unit * 3;
        } else if (units >= 2) {
            value.power -= 1;
            value.length = unit * 2;
        }
        at += value.length;
        value.tuplet_ends = at >= division.begin + division.length;
        values.push_back(value);
    }
}

} // namespace

std::vector<NoteValue> values_of(Ticks begin, Ticks end, const Bar& bar, std::span<const Division> tuplets, bool rest)
{
    std::vector<NoteValue> values;
    const Places places(bar, rest);
    auto tuplet =
        std::lower_bound(tuplets.begin(), tuplets.end(), begin, [](const Division& d, Ticks t) { return d.begin + d.length <= t; });
    for (Ticks at = begin; at < end;) {
        if (tuplet != tuplets.end() && tuplet->begin <= at) {
            const Ticks until = std::min(end, tuplet->begin + tuplet->length);
            add_tuplet(values, at, until, *tuplet);
            at = until;
            ++tuplet;
            continue;
        }
        const Ticks until = tuplet == tuplets.end() ? end : std::min(end, tuplet->begin);
        values.push_back(longest_at(at, until, places));
        at += values.back().length;
    }
    return values;
}

std::string_view value_word(int power)
{
    constexpr std::array<std::string_view, 9> words{"breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th"};
    return words[static_cast<std::size_t>(std::clamp(power, longest_power, shortest_power) - longest_power)];
}

Ticks beam_group(Ticks at, const Bar& bar, bool eighths_alone)
{
    Ticks group = beat_of(bar.meter);
    if (group < ticks_a_quarter) group = ticks_a_quarter;
    const bool in_halves = !in_threes(bar.meter) && bar.length % (4 * ticks_a_quarter) == 0;
    if (eighths_alone && in_halves) group = 2 * ticks_a_quarter;
    return (at - bar.begin) / group;
}

} // namespace bowarm::part
