#include "instant.hpp"

namespace bowarm::stand_in
{
namespace
{

// G. Steele, D. Lea & C. Flood, Fast splittable pseudorandom number generators (2014): the mixing step.
std::uint64_t mixed(std::uint64_t x)
{
    x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9U;
    x = (x ^ (x >> 27)) * 0x94D049BB133111EBU;
    return x ^ (x >> 31);
}

} // namespace

// The same for messages of one key or one controller.
std::uint64_t Instant::draw(const Message& message) const noexcept
{
    const bool note = message.is_note_on() || message.is_note_off();
    const auto kind = static_cast<std::uint64_t>(note ? MessageKind::note_on : message.kind());
    return mixed(seed_ +
                 0x9E3779B97F4A7C15U * (kind << 16 | static_cast<std::uint64_t>(message.channel().get()) << 8 | message.first().get()));
}

void Instant::add(const Message& message, Sampler& sampler) noexcept
{
    if (waiting_.size() == waiting_.capacity()) happen(sampler);
    std::size_t place = waiting_.size();
    const Waiting added{message, draw(message)};
    waiting_.push_back(added);
    for (; shuffled_ && place > 0 && waiting_[place - 1].draw > added.draw; --place) waiting_[place] = waiting_[place - 1];
    waiting_[place] = added;
}

void Instant::happen(Sampler& sampler) noexcept
{
    for (const Waiting& waiting : waiting_) sampler.on(waiting.message);
    waiting_.clear();
    ++seed_;
}

} // namespace bowarm::stand_in
