// Destroys what may block when it is destroyed, one thing after the other, on a thread that nobody waits for.
//   A JACK client of a dead or stopped server takes a second to go, or for ever.  libjack keeps one state for the whole
//   process: clients of an old server that go while clients of a new one come crash in it (jackd2 1.9.21, measured), so
//   things go in turn, and the caller opens nothing before all are gone.
//   thread   any.  Real-time safe: no.  Errors: none; what never ends is left to the end of the process.
#pragma once

#include "base/time.hpp"
#include "midi/ports/wakeup.hpp"

#include <memory>

namespace bowarm
{

class Undertaker
{
public:
    // The bell rings whenever the last one is gone.
    explicit Undertaker(std::shared_ptr<Wakeup> bell);
    // The last owner hands it over.
    void bury(std::shared_ptr<void> thing);
    bool idle() const { return busy_for().ns == 0; }
    // How long the present one has taken; 0: there is none.
    Duration busy_for() const;
    // True when all that was handed over is gone, at the latest after that long.
    bool done(Duration patience);

private:
    struct Shared;
    std::shared_ptr<Shared> shared_; // the thread may outlive us
};

} // namespace bowarm
