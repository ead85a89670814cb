#include "take/take.hpp"

#include <algorithm>

namespace bowarm
{

void Recorder::saw(Time at)
{
    const bool first = inputs_.empty() && sent_.empty() && facts_.empty();
    latest_ = first ? at : std::max(latest_, at);
}

void Recorder::input(const Input& input)
{
    if (input.source == source_hindsight) return;
    saw(input.at);
    inputs_.push_back(input);
}

void Recorder::bundle(Time at, std::span<const Message> messages) noexcept
{
    saw(at);
    for (const Message& message : messages) {
        halves_.saw(message);
        sent_.push_back({at, message});
    }
}

void Recorder::curve(Time at, Controller controller, int value) noexcept
{
    const auto messages = halves_.messages(controller, value);
    bundle(at, {messages.data(), messages.size()});
}

void Recorder::fact(const Fact& fact) noexcept
{
    saw(fact.at);
    facts_.push_back(fact);
}

void Recorder::decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept
{
    // Told again of the same note, the later word holds.
    if (!decisions_.empty() && decisions_.back().note == note) decisions_.pop_back();
    decisions_.push_back({at, note, needs, direction, retake});
}

void Recorder::clear()
{
    decisions_.clear();
    halves_.forget();
    inputs_.clear();
    sent_.clear();
    facts_.clear();
}

} // namespace bowarm
