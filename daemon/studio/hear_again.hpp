// A take heard again through the live output: as it was played with the arm off, then with the arm on.
//   in       the take's journal; the clock
//   out      inputs of `source_again` for the engine (Lines::from_take), each with its player and the number of the hearing, stamped
//            with the moments at which they are to happen
//   Who plays a key meanwhile ends it (Ensemble::stop_hearing_by); the engine then lets go of everything and restores the arm.
//   What the take had of bypass, panic and takes is left out: the arm is off or on as the hearing says.
//   thread   one: the take writer's.  Real-time safe: no.  Errors: none.
#pragma once

#include "hear/controls.hpp"
#include "studio/lines.hpp"
#include "take/journal.hpp"

#include <cstddef>
#include <vector>

namespace bowarm
{

class HearAgain
{
public:
    explicit HearAgain(Lines& lines) : lines_(lines) {}

    void begin(const Journal& journal, const TakeSpan& span, const Controls& controls);
    // Hands on what is due within a second; to be called several times a second while it runs.
    void feed();
    // Nothing more is handed on; what the engine has is heard no more.
    void stop() noexcept;
    bool running() const noexcept { return number_ != 0; }

private:
    Lines& lines_;
    std::vector<Input> script_; // stamped with the engine's time
    std::size_t next_{0};
    std::uint8_t number_{0}, last_number_{0};
};

} // namespace bowarm
