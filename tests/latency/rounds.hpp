// Notes sent and notes that came back, frame by frame, of one way through a program.
//   thread   the cycle's; results() once a round is over.  Real-time safe but for the constructor and results().
#pragma once

#include <jack/types.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace bowarm::latency
{

struct Result {
    std::size_t sent{0}, lost{0};
    double median{0}, mean{0}, nine_in_ten{0}, most{0}; // frames
};

class Round
{
public:
    explicit Round(std::size_t notes);

    void begin();
    // A key went down, or came back; frames since the server began.
    void sent(std::uint8_t key, jack_nframes_t frame);
    void heard(std::uint8_t key, jack_nframes_t frame);
    Result results() const;

private:
    std::array<std::optional<jack_nframes_t>, 128> waiting_{};
    std::vector<jack_nframes_t> late_;
    std::size_t sent_{0};
};

} // namespace bowarm::latency
