// Destroys what may block when it is destroyed, each thing on a thread of its own.
//   A JACK client of a dead or stopped server takes a second to go, or for ever.
//   thread   any.  Real-time safe: no.  Errors: none; what never ends is left to the end of the process.
#pragma once

#include "base/time.hpp"

#include <memory>

namespace bowarm {

class Undertaker {
public:
    Undertaker();
    // The last owner hands it over.
    void bury(std::shared_ptr<void> thing);
    // True when all that was handed over is gone, at the latest after that long.
    bool done(Duration patience);

private:
    struct Shared;
    std::shared_ptr<Shared> shared_; // the threads may outlive us
};

} // namespace bowarm
