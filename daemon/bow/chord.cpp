#include "bow/chord.hpp"

#include "base/fixed_vector.hpp"

namespace bowarm
{
namespace
{

// Tries every way to give each note a string of its own.
class Search
{
public:
    Search(const Instrument& instrument, std::span<const Midi7> notes) : instrument_(instrument), notes_(notes) {}

    ChordFingering best() noexcept
    {
        place_next();
        if (found_) return best_;
        ChordFingering none;
        none.why = nearest_;
        return none;
    }

private:
    void place_next() noexcept
    {
        const std::size_t n = stops_.size();
        if (n == notes_.size()) {
            judge();
            return;
        }
        for (std::size_t s = 0; s < instrument_.strings.size(); ++s) {
            const int semitones = notes_[n].get() - instrument_.strings[s].open_key.get();
            const bool lower_string = s + 1 < instrument_.strings.size();
            if (taken_[s] || semitones < 0 || (lower_string && semitones > highest_in_chords)) continue;
            taken_[s] = true;
            stops_.push_back({static_cast<std::uint8_t>(s), semitones});
            place_next();
            stops_.pop_back();
            taken_[s] = false;
        }
    }

    bool in_a_row() const noexcept
    {
        std::size_t lowest = instrument_.strings.size();
        std::size_t highest = 0;
        for (const Stop& stop : stops_) {
            if (stop.string < lowest) lowest = stop.string;
            if (stop.string > highest) highest = stop.string;
        }
        return highest - lowest + 1 == stops_.size();
    }

    // What comes nearest to being playable says why it is not: strings before stretch.
    void judge() noexcept
    {
        if (!in_a_row()) {
            if (nearest_ == Unplayable::same_string) nearest_ = Unplayable::strings_apart;
            return;
        }
        const Unplayable why = hold(instrument_, {stops_.data(), stops_.size()});
        if (why != Unplayable::no) {
            nearest_ = why;
            return;
        }
        int height = 0;
        for (const Stop& stop : stops_) height += stop.semitones;
        if (found_ && height >= lowest_height_) return;
        found_ = true;
        lowest_height_ = height;
        for (std::size_t i = 0; i < stops_.size(); ++i) best_.strings[i] = stops_[i].string;
    }

    const Instrument& instrument_;
    std::span<const Midi7> notes_;
    FixedVector<Stop, ChordFingering::most> stops_;
    std::array<bool, ChordFingering::most> taken_{};
    ChordFingering best_;
    bool found_{false};
    int lowest_height_{0};
    Unplayable nearest_{Unplayable::same_string};
};

} // namespace

ChordFingering finger_chord(const Instrument& instrument, std::span<const Midi7> notes) noexcept
{
    ChordFingering none;
    for (const Midi7 note : notes)
        if (note < instrument.lowest_key || instrument.highest_key < note) none.why = Unplayable::out_of_range;
    if (none.why == Unplayable::no && notes.size() > instrument.strings.size()) none.why = Unplayable::too_many_notes;
    if (none.why != Unplayable::no) return none;
    return Search{instrument, notes}.best();
}

} // namespace bowarm
