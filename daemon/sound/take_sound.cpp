#include "sound/take_sound.hpp"

#include "base/arithmetic.hpp"
#include "sound/body.hpp"
#include "sound/bow_at.hpp"
#include "sound/bowed_string.hpp"
#include "sound/thinner.hpp"
#include "sound/unevenness.hpp"

#include <algorithm>
#include <cmath>

namespace bowarm
{
namespace
{

constexpr double steps_a_second = static_cast<double>(sound_rate) * oversampling;
constexpr Seconds before{0.3}, ringing{2.0};
constexpr float loudest = 0.25F;         // of full scale: mind the listener's ears
constexpr int lowest_pitch = 24;         // that the string's lines are long enough for
constexpr KilogramsPerSecond bridge{30}; // as the stand-in's recordings
constexpr double quiet = 1e-6;           // N at the bridge: a string that nobody touches is left alone then
constexpr double quiet_steps = 0.1 * steps_a_second;

struct Change {
    double ns;
    bool begins;
    bool plucked;
    std::uint8_t string;
    std::uint8_t pitch;
    std::uint8_t velocity;
    std::uint32_t note;
};

// A note without a string of its own, out of range, is put on the highest string that lies below it.
std::uint8_t string_of(const Fact& note, const Instrument& instrument)
{
    if (note.string < instrument.strings.size()) return note.string;
    std::uint8_t string = 0;
    for (std::uint8_t s = 0; s < instrument.strings.size(); ++s)
        if (instrument.strings[s].open_key.get() <= note.pitch) string = s;
    return string;
}

std::vector<Change> changes_of(const Recorder& take, const Instrument& instrument, std::size_t desk)
{
    std::vector<Change> changes;
    for (const Fact& fact : take.facts()) {
        const bool begins = fact.kind == FactKind::note_began && fact.desk == desk;
        if (!begins && fact.kind != FactKind::note_ended) continue;
        const std::uint8_t string = begins ? string_of(fact, instrument) : no_string;
        changes.push_back(
            {static_cast<double>(fact.at.ns), begins, is_plucked(fact.technique), string, fact.pitch, fact.velocity, fact.note});
    }
    std::stable_sort(changes.begin(), changes.end(), [](const Change& a, const Change& b) { return a.ns < b.ns; });
    return changes;
}

// The finger drags the string along and lets go of it.
constexpr double pluck_ns = 4e6;
constexpr Newtons pluck_force{40};
constexpr Beta pluck_beta{0.21};

// One string of the instrument, with what touches it.
class PlayedString
{
public:
    explicit PlayedString(const StringData& data) : string_({data.impedance, bridge}, Hertz{steps_a_second})
    {
        tune(data.open_key.get());
        string_.be_still();
    }

    void begin(const Change& change)
    {
        tune(std::max<int>(lowest_pitch, change.pitch));
        note_ = change.note;
        bowed_ = !change.plucked;
        if (change.plucked) {
            plucked_at_ = change.ns;
            pluck_speed_ = MetresPerSecond{0.15 + 0.45 * change.velocity / 127.0};
        }
        idle_ = 0;
    }
    void end(std::uint32_t note)
    {
        if (note == note_) note_ = no_number;
    }
    bool sounds_bowed() const { return bowed_ && note_ != no_number; }
    void hold_bow(bool on) { under_bow_ = on; }

    double step(double ns, const Motion& bow)
    {
        const bool finger = ns - plucked_at_ < pluck_ns;
        const bool hair = under_bow_ && bow.force > Newtons{0};
        if (finger || hair)
            idle_ = 0;
        else if (idle_ > quiet_steps)
            return 0;
        if (finger)
            string_.step(pluck_speed_, pluck_force, pluck_beta);
        else
            string_.step(hair ? bow.speed : MetresPerSecond{0}, hair ? bow.force : Newtons{0}, hair ? bow.beta : pluck_beta);
        const double force = string_.bridge_force().value;
        steady_ += 0.0005 * (force - steady_); // the push along with the bow is no sound
        const double sound = force - steady_;
        idle_ = sound < quiet && sound > -quiet ? idle_ + 1 : 0;
        return sound;
    }

private:
    void tune(int pitch) { string_.tune(Seconds{1 / key_frequency(pitch)}); }

    BowedString string_;
    std::uint32_t note_{no_number};
    bool bowed_{false}, under_bow_{false};
    double plucked_at_{-1e18};
    MetresPerSecond pluck_speed_;
    double steady_{0}, idle_{0};
};

class Desk
{
public:
    Desk(const Recorder& take, std::span<const MotionSample> motion, const Instrument& instrument, std::size_t desk)
        : bow_(motion), changes_(changes_of(take, instrument, desk))
    {
        for (const StringData& data : instrument.strings) strings_.emplace_back(data);
    }

    double step(double ns)
    {
        while (next_ < changes_.size() && changes_[next_].ns <= ns) apply(changes_[next_++]);
        Motion bow = bow_.at(ns);
        bow.speed = bow.speed * (1 + 0.15 * rosin_.next());
        double sum = 0;
        for (PlayedString& string : strings_) sum += string.step(ns, bow);
        return sum;
    }

private:
    void apply(const Change& change)
    {
        if (change.begins)
            strings_[change.string].begin(change);
        else
            for (PlayedString& string : strings_) string.end(change.note);
        // The bow stays on the strings of the last notes until it has come to rest.
        if (std::none_of(strings_.begin(), strings_.end(), [](const PlayedString& s) { return s.sounds_bowed(); })) return;
        for (PlayedString& string : strings_) string.hold_bow(string.sounds_bowed());
    }

    BowAt bow_;
    Unevenness rosin_;
    std::vector<PlayedString> strings_;
    std::vector<Change> changes_;
    std::size_t next_{0};
};

void bring_to_level(std::vector<float>& sound)
{
    float most = 0;
    for (const float x : sound) most = std::max(most, x < 0 ? -x : x);
    if (most > 0)
        for (float& x : sound) x *= loudest / most;
}

} // namespace

std::vector<float> sound_of(const Recorder& take, const MotionRecord& motion, const Instrument& instrument)
{
    std::vector<Desk> desks;
    for (std::size_t d = 0; d < motion.desks(); ++d) desks.emplace_back(take, motion.of_desk(d), instrument, d);
    // Where the body's resonances lie goes with the instrument's size; the exponent fits violin, viola, cello and bass (ours).
    Body body{power(0.328 / instrument.string_length.value, 1.3), sound_rate};
    Thinner thinner;
    const double seconds = to_seconds(take.latest() - take.origin()).value + before.value + ringing.value;
    std::vector<float> sound(static_cast<std::size_t>(seconds * sound_rate));
    const double begin_ns = static_cast<double>(take.origin().ns) - before.value * 1e9;
    for (std::size_t i = 0; i < sound.size() * oversampling; ++i) {
        const double ns = begin_ns + static_cast<double>(i) * (1e9 / steps_a_second);
        double sum = 0;
        for (Desk& desk : desks) sum += desk.step(ns);
        thinner.put(sum);
        if (i % oversampling == oversampling - 1) sound[i / oversampling] = static_cast<float>(body.next(thinner.get()));
    }
    bring_to_level(sound);
    return sound;
}

} // namespace bowarm
