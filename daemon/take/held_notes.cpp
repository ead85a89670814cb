#include "take/held_notes.hpp"

#include <algorithm>
#include <cstdint>

namespace bowarm
{
namespace
{

class Keys
{
public:
    explicit Keys(Seconds chord_window) : chord_window_(chord_window) {}

    void down(const Input& input, const Message& message)
    {
        const bool joins = !notes_.empty() && to_seconds(input.at - notes_.back().on) <= chord_window_;
        if (joins)
            notes_.back().in_a_line = false;
        else
            begin(input.at);
        down_.push_back({input.source, message.channel().get(), message.first().get(), notes_.size() - 1});
    }

    void up(const Input& input, const Message& message, std::size_t place)
    {
        const auto key = std::find_if(down_.begin(), down_.end(), [&](const Key& k) {
            return k.source == input.source && k.channel == message.channel().get() && k.key == message.first().get();
        });
        if (key == down_.end()) return;
        HeldNote& note = notes_[key->note];
        note.off = input.at;
        note.key_up = place;
        down_.erase(key);
    }

    // Keys that are released by no key's end say nothing about a hand.
    void released()
    {
        for (const Key& key : down_) notes_[key.note].in_a_line = false;
        down_.clear();
    }

    std::vector<HeldNote> finish()
    {
        released();
        if (!notes_.empty()) notes_.pop_back();
        return std::move(notes_);
    }

private:
    struct Key {
        Source source;
        std::uint8_t channel{0}, key{0};
        std::size_t note{0};
    };

    void begin(Time at)
    {
        if (!notes_.empty()) notes_.back().next = at;
        const bool only_the_last = down_.empty() || (down_.size() == 1 && down_.front().note + 1 == notes_.size());
        if (!only_the_last) {
            for (const Key& key : down_) notes_[key.note].in_a_line = false;
            notes_.back().in_a_line = false;
        }
        notes_.push_back({at, at, at});
    }

    Seconds chord_window_;
    std::vector<HeldNote> notes_;
    std::vector<Key> down_;
};

} // namespace

std::vector<HeldNote> held_notes(const std::vector<Input>& inputs, Seconds chord_window)
{
    Keys keys(chord_window);
    for (std::size_t i = 0; i < inputs.size(); ++i) {
        const Input& input = inputs[i];
        if (input.kind == InputKind::port_lost || input.kind == InputKind::gap) keys.released();
        if (input.kind != InputKind::midi) continue;
        const Message message = as_message(input);
        if (message.is_note_on()) keys.down(input, message);
        if (message.is_note_off()) keys.up(input, message, i);
    }
    return keys.finish();
}

} // namespace bowarm
