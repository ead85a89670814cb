// Beat and bar from the playing alone, when nothing tells them.
//   A few grids of evenly spaced beats run side by side, each corrected by every note that fits it, and each holds what the
//   notes say for it: long notes begin on beats, and slurs, accents, chords and notes after rests mostly at bar lines.
//   in       onsets in order of time; a tempo or a meter where one is told
//   out      the place of a moment, from what was heard until then
//   thread   the player's.  Real-time safe: yes; at most a few hundred small steps an onset, no allocation.
//   Errors   none; while nothing is known the confidence is 0.
#pragma once

#include "base/fixed_vector.hpp"
#include "base/time.hpp"
#include "phrase/beat_place.hpp"

#include <array>
#include <cstddef>
#include <cstdint>

namespace bowarm
{

// What is heard of a note, or of a chord, at its start.
struct HeardOnset {
    Time at;
    bool slurred{false}; // to the one before
    Seconds gap;         // of silence before it
    double accent{1};    // velocity over the running average
    int key{0};
};

class BeatFinder
{
public:
    void onset(const HeardOnset& onset) noexcept;
    void joined(double accent) noexcept; // another note of the newest chord
    void was_separate() noexcept;        // the newest onset was no slur after all

    // A tempo or a meter that somebody told, though not where its beats are; 0: nobody.
    void tell_quarter(Seconds quarter) noexcept { quarter_ = quarter; }
    void tell_meter(BarMeter meter) noexcept { meter_ = meter; }
    void forget() noexcept;

    BeatPlace place(Time at) const noexcept;

private:
    static constexpr std::size_t memory = 32; // onsets
    static constexpr std::size_t grids_at_most = 10;
    static constexpr std::size_t bar_hypotheses = 2 + 3 + 4; // beats in a bar, and which of them is the first

    struct Onset {
        HeardOnset heard;
        int notes{1};
        bool starts_slur{false};
        Seconds interval; // to the next one
        double ratio{1};  // of this interval to the one before
        int leap{0};      // semitones from the one before, either way
    };
    struct Grid {
        Time settled;          // at the newest onset that fitted
        bool yields{false};    // to changes of tempo
        double period{0};      // seconds a beat
        Time beat;             // one of its beats, near the newest onset
        std::int64_t index{0}; // of that beat, from the first onset
        double fit{0};         // evidence, in bits
        double error{0};       // of the newest onset: seconds late
        std::uint8_t place{0}; // of the newest onset within its beat
        bool placed_well{false};
        std::array<double, bar_hypotheses> bars{}; // evidence, in bits
    };
    struct Bar {
        std::uint8_t beats{4};
        std::int64_t first{0}; // index of a bar's first beat, below beats
        double confidence{0};
    };

    static void settle(Grid& grid, const Onset& onset) noexcept;
    static double beat_marks(const Onset& onset, double period) noexcept;
    static void weigh(Grid& grid, const Onset& onset, Time next) noexcept;
    void close(Onset& onset, const HeardOnset& next) noexcept;
    void look_for_grids() noexcept;
    void try_grid(double period) noexcept;
    bool runs_already(const Grid& grid) const noexcept;
    void add(const Grid& grid) noexcept;
    void choose() noexcept;
    double told_beat() const noexcept;
    double prior(double period) const noexcept;
    Bar bar_of(const Grid& grid) const noexcept;
    double agreement() const noexcept;
    double known_for(Time at) const noexcept;
    double score(const Grid& grid) const noexcept;
    const Onset& past(std::size_t back) const { return onsets_[(newest_ + memory - back) % memory]; }
    Onset& newest() { return onsets_[newest_]; }

    std::array<Onset, memory> onsets_{};
    std::size_t newest_{memory - 1};
    std::size_t count_{0};
    std::uint32_t heard_{0}; // onsets in all
    Time first_;
    FixedVector<Grid, grids_at_most> grids_;
    std::size_t best_{0};
    std::size_t turn_{0}; // of the candidate periods
    Seconds quarter_{0};
    BarMeter meter_{};
    Bar bar_{};
    double beat_confidence_{0};
};

} // namespace bowarm
