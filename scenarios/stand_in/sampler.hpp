// The stand-in: messages in, sound out, with the honest flaws of sampled strings.
//   - one dynamics controller, 11, moves the bowed sounds that last; short ones take their loudness from the velocity
//   - three layers of loudness, crossfaded in those that last, switched in short ones
//   - staccato, spiccato and pizzicato end by themselves, also under a held key
//   - under legato a key struck over another that is still down is a slur, and it speaks late: 60 to 120 ms, the sooner the
//     harder the key is struck; a slurred line is of one voice
//   - keyswitches latch: keys 0 to 6 choose detache, legato, staccato, spiccato, marcato, tremolo, pizzicato
//   out      -1..1, mono; never beyond, whatever is played
//   thread   one at a time.  Real-time safe: on, render.  Errors: none; what is not understood is ignored.
#pragma once

#include "midi/message.hpp"
#include "sound/body.hpp"
#include "voice.hpp"

#include <array>
#include <span>

namespace bowarm::stand_in
{

class Sampler
{
public:
    Sampler(const Sounds& sounds, double rate);
    void on(const Message& message) noexcept;
    void render(std::span<float> out) noexcept; // as long as it is
    bool silent() const noexcept;

private:
    enum class Way { detache, legato, staccato, spiccato, marcato, tremolo, pizzicato };
    static constexpr int way_count = 7;
    static constexpr std::size_t voice_limit = 48;

    void note_on(int key, int velocity) noexcept;
    void note_off(int key) noexcept;
    void controller(int number, int value) noexcept;
    void begin(const Start& start) noexcept;
    bool slur_to(int key, int velocity) noexcept;

    const Sounds& sounds_;
    double rate_;
    Body body_;
    Way way_{Way::detache};
    std::array<Voice, voice_limit> voices_{}; // the oldest first
    std::size_t count_{0};
    double dynamics_{0.5}, wanted_dynamics_{0.5};
};

} // namespace bowarm::stand_in
