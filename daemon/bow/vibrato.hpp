// The person's vibrato, shaped by the arm where that is asked for: it begins some time after a note has begun, and is narrower
// in techniques that want a plain tone.  The arm never adds any.
//   in       the person's controller, 0..127; when a note begins; where the bow is and how it plays
//   out      the controller as it is sent, 0..127, never more than the person's
//   source   common practice, no source
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "base/time.hpp"
#include "midi/message.hpp"

#include <array>
#include <optional>

namespace bowarm
{

struct VibratoManner {
    VibratoManner() { in.fill(1); }
    std::optional<Midi7> controller;        // control change; empty: nothing is shaped
    Seconds onset_delay;                    // from the start of a note that is not slurred
    Seconds onset_rise;                     // from nothing to the whole
    double in_sul_tasto{1};                 // what is left over the fingerboard, 0..1
    std::array<double, technique_count> in; // what is left in each technique, 0..1
};

class Vibrato
{
public:
    explicit Vibrato(const VibratoManner& manner) : manner_(manner) {}

    // Whether this message is the person's vibrato and to be shaped.
    bool hears(const Message& message) const noexcept;
    void moved(Midi7 value) noexcept { wished_ = value; }
    // A note that is not slurred begins, or is bowed anew.
    void note_began(Time at) noexcept { began_ = at; }

    // contact_wish: 0 at the fingerboard, 0.5 ordinary, 1 at the bridge.  Empty when the person's controller has not moved yet.
    std::optional<Midi7> value(Time at, Technique technique, double contact_wish) const noexcept;

private:
    VibratoManner manner_;
    std::optional<Midi7> wished_;
    std::optional<Time> began_;
};

} // namespace bowarm
