// Where the beats and bars of a take are.
//   in       a take; tempo and meter that the configuration knows
//   out      written time for any moment, and the bars
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none; who told the beats is said.
#pragma once

#include "take/part/music.hpp"
#include "take/take.hpp"
#include "take/tempo_line.hpp"

#include <vector>

namespace bowarm::part
{

struct TempoMark {
    double quarters{0}; // where
    double quarters_a_minute{120};
};

enum class BeatsFrom : std::uint8_t { tempo_map, told, playing };

class BeatMap
{
public:
    // A tempo map where the take has one, else a clock or taps as they were heard, else the beat finder over all notes.
    BeatMap(const Recorder& take, const PlayerConfig& player, Duration later);

    double quarters_at(Time at) const;
    Seconds quarter_at(Time at) const { return Seconds{tempo_at(anchors_, at).seconds_a_quarter}; }
    BeatsFrom beats_from() const { return beats_from_; }
    bool meter_assumed() const { return meter_assumed_; }
    // At the beginning, and wherever a tempo map settles on another one: four quarters long within 2 %, and off what was marked by 4 %.
    std::vector<TempoMark> tempo_marks() const;
    // From the beginning until one contains or ends at `end`; never none, never more than a part can have.
    std::vector<Bar> bars_until(Ticks end) const;

private:
    struct MeterFrom {
        double quarters{0};
        BarMeter meter;
    };
    bool read_tempo_map(const Recorder& take);
    bool read_places(const Recorder& take, BarMeter meter, Duration later);
    void estimate(const Recorder& take, const PlayerConfig& player, Duration later);

    std::vector<TempoFrom> anchors_; // never empty
    std::vector<MeterFrom> meters_;
    BeatsFrom beats_from_{BeatsFrom::tempo_map};
    bool meter_assumed_{false};
};

} // namespace bowarm::part
