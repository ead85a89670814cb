// The messages of one instant, in the order that the sampler makes of them.
//   A sampler may sort what comes together.  With a seed the order is drawn anew each time; messages of one key, or of one
//   controller, keep theirs, or keys would hang.  Without one everything keeps its order.
//   thread   one at a time.  Real-time safe: yes.  Errors: past 64 messages the instant is taken in two.
#pragma once

#include "base/fixed_vector.hpp"
#include "midi/message.hpp"
#include "sampler.hpp"

#include <cstdint>
#include <optional>

namespace bowarm::stand_in
{

class Instant
{
public:
    explicit Instant(std::optional<std::uint64_t> seed) : seed_(seed.value_or(0)), shuffled_(seed.has_value()) {}
    void add(const Message& message, Sampler& sampler) noexcept;
    void happen(Sampler& sampler) noexcept;

private:
    struct Waiting {
        Message message;
        std::uint64_t draw;
    };
    std::uint64_t draw(const Message& message) const noexcept;

    FixedVector<Waiting, 64> waiting_;
    std::uint64_t seed_;
    bool shuffled_;
};

} // namespace bowarm::stand_in
