// Every recording of one instrument, a few semitones apart.
//   in       an instrument; the recordings are made when this is
//   out      the nearest recording to a key
//   thread   made on one thread, which starts others and waits for them; read on any.  Real-time safe: nearest.
#pragma once

#include "instruments.hpp"
#include "recording.hpp"

#include <vector>

namespace bowarm::stand_in
{

class Sounds
{
public:
    explicit Sounds(const Instrument& instrument);
    const Recording& nearest(Sound sound, int layer, int key) const noexcept;
    const Instrument& instrument() const noexcept { return *instrument_; }

private:
    std::size_t index(Sound sound, int layer, std::size_t place) const noexcept;

    const Instrument* instrument_;
    std::size_t places_;
    std::vector<Recording> recordings_;
};

} // namespace bowarm::stand_in
