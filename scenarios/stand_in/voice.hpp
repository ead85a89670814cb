// One sounding note: its recordings played at the pitch of its key, faded in and out.
//   thread   one at a time.  Real-time safe: yes.  Errors: none.
#pragma once

#include "sounds.hpp"

#include <array>
#include <cstdint>

namespace bowarm::stand_in
{

// How the three layers are mixed.
using Mix = std::array<float, layer_count>;

struct Start {
    Sound sound;
    int key;
    double rate;      // of the output, samples a second
    Seconds later{0}; // it speaks this much later than it is asked to
    Seconds skip{0};  // of the beginning
    Seconds rise{0};  // over which it is faded in
    Mix mix{};        // of a short sound, for good; of one that sounds on the sampler gives it anew each time
};

class Voice
{
public:
    Voice() = default;
    Voice(const Sounds& sounds, const Start& start) noexcept;

    bool sounds() const noexcept { return sounds_; }
    bool ending() const noexcept { return ending_; }
    bool dies_by_itself() const noexcept { return dies_; }
    int key() const noexcept { return key_; }
    const Mix& mix() const noexcept { return mix_; }

    void end(Seconds later, Seconds fade) noexcept;
    float next(const Mix& mix) noexcept;

private:
    struct Stream {
        const Recording* recording{nullptr};
        double place{0}, step{0};
    };
    static float read(const Recording& recording, double place) noexcept;
    double vibrato() noexcept;
    bool move_on() noexcept;

    std::array<Stream, layer_count> streams_{};
    Mix mix_{};
    double rate_{48000};
    double waiting_{0}; // samples until it speaks
    double age_{0};     // samples since then
    double level_{0}, rise_{0};
    double fade_{0}, until_fade_{0};
    int key_{0};
    bool sounds_{false}, ending_{false}, dies_{false}, sings_{false};
};

} // namespace bowarm::stand_in
