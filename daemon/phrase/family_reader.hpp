// Reads how a line is articulated from how its keys are held and struck: the family of the bow strokes it asks for.
//   in       every onset that joins no chord, and the notes before it (rhythm.hpp)
//   out      the family of the note that begins; it rests on the notes before and on what its own onset tells
//   method   Each family keeps a tally of how badly the notes have fitted it: half the squared distance, in a hand's own
//            unevenness, from the share of its time that such a note is held and from how hard it is struck.  A change of
//            articulation costs, so no tally falls further behind than that, and the present family's idea of a note follows
//            the line.  So one odd note changes nothing, and a line at the edge does not flicker.
//   ahead    Where a delay has shown the notes that follow, they speak, too: the best way on from here, each change at its cost, is
//            added to the tally before a family is chosen (Viterbi's forward and backward sums; from memory).
//   source   staccato is held half its time, staccatissimo a quarter, portato three quarters (O. A. Lindquist, The Etude);
//            pianists hold staccato about 40 % and repeated notes about 60 % of the time (R. Bresin & G. U. Battel, J. New
//            Music Research 29:211, 2000, abstract); detache nine tenths, marcato two thirds and accented: common practice,
//            no source.  What is followed and what it costs is our own, weighed on tests/outside/lib_articulated_scores.py
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "phrase/accents.hpp"
#include "phrase/ahead.hpp"
#include "phrase/fast_repeats.hpp"
#include "phrase/rhythm.hpp"

#include <array>

namespace bowarm
{

// What an onset tells by itself.
struct Onset {
    bool slurred{false}; // a key was still down
    bool repeats{false}; // a pitch that was in the note or chord before
    Struck struck;
};

class FamilyReader
{
public:
    // forte: from this loudness on a note counts as hard, whatever was before.
    explicit FamilyReader(Loudness forte) : forte_(forte) {}

    // The rhythm has heard this onset.
    Family read(const Onset& onset, const Rhythm& rhythm, const Ahead& ahead) noexcept;
    // The newest onset was no slur after all: read again.
    Family read_parted(const Ahead& ahead) noexcept;

private:
    enum Told : std::size_t { separate, short_notes, accented_short, told_count, unknown = told_count };
    using Points = std::array<double, told_count>;

    void finish(const PastNote* before, bool struck_again) noexcept;
    // log2 of the least and the most that a note may have been meant to be held of its time.
    struct Share {
        double from, to;
    };
    Share share_of(const PastNote& note, bool struck_again) const noexcept;
    Points length_points(const PastNote& note, const Share& share) const noexcept;
    void follow_length(const Share& share) noexcept;
    double share_to_follow(const Points& length) const noexcept;
    Points velocity_points(const Struck& struck) const noexcept;
    bool repeated_on(const Ahead& ahead) const noexcept;
    Points way_on(const Ahead& ahead) const noexcept;
    bool in_doubt() const noexcept;
    void settle(const Points& way_on) noexcept;
    Family family() const noexcept;
    void start_again() noexcept;

    Loudness forte_;
    FastRepeats repeats_;
    Accents accents_;
    Onset newest_;
    bool any_{false};
    Points tally_{}; // 0: the best; the others below
    Told present_{unknown};
    double own_share_{0}; // log2 of the share that the present family's notes are held, followed
    double hard_{0};      // velocity of the present accented notes, followed
    Seconds expected_;    // interval, followed
};

} // namespace bowarm
