#include "take/joined.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <utility>

namespace bowarm
{
namespace
{

// A hand that means the bar line may come so much of a beat early.
constexpr std::int64_t early_parts_of_a_beat = 8;

Time cut_at(const BarLine& bar) { return bar.at - Duration{bar.beat.ns / early_parts_of_a_beat}; }

using Key = std::pair<std::uint8_t, std::uint16_t>; // source, channel and key
Key key_of(const Input& input, const Message& m)
{
    return {input.source.number, static_cast<std::uint16_t>(m.channel().get() * 128 + m.first().get())};
}

class Joiner
{
public:
    void first(const Input& input)
    {
        if (input.kind == InputKind::midi) {
            const Message m = as_message(input);
            if (m.is_note_on()) down_.insert(key_of(input, m));
            if (m.is_note_off()) down_.erase(key_of(input, m));
        }
        inputs_.push_back(input);
    }

    void release(Time at)
    {
        for (const auto& [source, key] : down_)
            inputs_.push_back(
                midi_input(at, {source}, note_off(Channel::of_status(static_cast<std::uint8_t>(key / 128)), Midi7::nearest(key % 128))));
        down_.clear();
    }

    // What was in force in the second take when the seam comes.
    void before_seam(const Input& input)
    {
        if (input.kind == InputKind::tempo || input.kind == InputKind::meter)
            in_force_[{0, static_cast<std::uint16_t>(input.kind), 0}] = input;
        if (input.kind != InputKind::midi || input.data[7] == 0) return;
        const Message m = as_message(input);
        const bool value =
            m.kind() == MessageKind::control_change || m.kind() == MessageKind::channel_pressure || m.kind() == MessageKind::pitch_bend;
        if (!value) return;
        const std::uint8_t number = m.kind() == MessageKind::control_change ? m.first().get() : 0;
        in_force_[{input.source.number, m.bytes[0] + 256U, number}] = input;
    }
    void set_what_was_in_force(Time at)
    {
        for (auto [what, input] : in_force_) {
            input.at = at;
            inputs_.push_back(input);
        }
    }

    void second(Input input)
    {
        if (input.kind == InputKind::midi) {
            const Message m = as_message(input);
            if (m.is_note_on()) down_.insert(key_of(input, m));
            if (m.is_note_off() && down_.erase(key_of(input, m)) == 0) return; // held from before the seam
        }
        inputs_.push_back(input);
    }

    std::vector<Input> all() { return std::move(inputs_); }

private:
    struct What {
        std::uint8_t source;
        unsigned kind;
        std::uint8_t number;
        auto operator<=>(const What&) const = default;
    };
    std::vector<Input> inputs_;
    std::set<Key> down_;
    std::map<What, Input> in_force_;
};

} // namespace

// Slurred notes begin no stroke, so the notes are asked for the bar, and the strokes around for the length of its beats.
std::optional<BarLine> bar_line(const Recorder& take, std::int32_t bar)
{
    const auto is_there = [bar](const Fact& f) { return f.kind == FactKind::note_began && f.place.bar == bar; };
    const auto note = std::find_if(take.facts().begin(), take.facts().end(), is_there);
    if (note == take.facts().end()) return std::nullopt;
    Seconds beat{0};
    for (const Decision& d : take.decisions()) {
        if (d.at > note->at && beat > Seconds{0}) break;
        if (d.needs.beat.beat_length > Seconds{0}) beat = d.needs.beat.beat_length;
    }
    if (!(beat > Seconds{0})) return std::nullopt;
    return BarLine{note->at - to_duration(Seconds{(note->place.beat - 1) * beat.value}), to_duration(beat)};
}

std::vector<Input> joined(const Recorder& first, const BarLine& first_bar, const Recorder& second, const BarLine& second_bar)
{
    Joiner joiner;
    const Time cut = cut_at(first_bar);
    for (const Input& input : first.inputs())
        if (input.at < cut) joiner.first(input);
    joiner.release(cut);
    const Duration shift = first_bar.at - second_bar.at;
    const Time second_cut = cut_at(second_bar);
    for (const Input& input : second.inputs())
        if (input.at < second_cut) joiner.before_seam(input);
    joiner.set_what_was_in_force(cut);
    for (Input input : second.inputs()) {
        if (input.at < second_cut) continue;
        input.at = std::max(cut, input.at + shift);
        joiner.second(input);
    }
    return joiner.all();
}

} // namespace bowarm
