#include "string/played.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace bowarm::test
{
namespace
{

constexpr int note_ms = 500;
constexpr int breath_ms = 70; // the bow stops within 50 ms
constexpr int overlap_ms = 25;
constexpr std::array<int, 8> steps{0, 2, 4, 5, 5, 4, 2, 0};
constexpr double sample_rate = 192000;

int technique_key(Technique t) // of the fixture's keyboard
{
    return t == Technique::detache ? 12 : (t == Technique::legato ? 13 : 16);
}

// Drives a player as Hands does, and reads it after every input and every wake.
class Reader
{
public:
    explicit Reader(const PlayerConfig& config) : player_(config) {}

    void until(Time t)
    {
        while (player_.next_wake() <= t && player_.next_wake() != Time::never()) {
            player_.wake(memory_);
            read();
        }
    }
    void input(Time t, const Message& m)
    {
        until(t);
        player_.on(midi_input(t, Source{0}, m), memory_);
        read();
    }
    std::vector<BowSample> samples;

private:
    void read()
    {
        Snapshot s;
        player_.read(s);
        const double way = s.direction == Direction::down ? 1 : -1;
        BowSample b{s.at, {s.speed * way, s.force, s.beta}, s.hair, s.on_string, s.string, s.strokes};
        if (b.motion.beta <= Beta{0} && !samples.empty()) b.motion.beta = samples.back().motion.beta; // off the string it has none
        samples.push_back(b);
    }

    Player player_;
    Memory memory_;
};

// The bow between two samples, on a straight line.
class BowLine
{
public:
    explicit BowLine(const std::vector<BowSample>& samples) : samples_(samples) {}

    Motion at(double ns)
    {
        while (i_ + 1 < samples_.size() && static_cast<double>(samples_[i_ + 1].at.ns) <= ns) ++i_;
        const BowSample& a = samples_[i_];
        const BowSample& b = samples_[i_ + 1 < samples_.size() ? i_ + 1 : i_];
        const double span = static_cast<double>((b.at - a.at).ns);
        // Where it leaves the string or comes to it there is no line.
        const double u = span > 0 && a.on_string == b.on_string ? (ns - static_cast<double>(a.at.ns)) / span : 0;
        const auto mix = [&](auto x, auto y) { return x + (y - x) * u; };
        return {mix(a.motion.speed, b.motion.speed), mix(a.motion.force, b.motion.force), mix(a.motion.beta, b.motion.beta)};
    }
    const BowSample& sample() const { return samples_[i_]; }

private:
    const std::vector<BowSample>& samples_;
    std::size_t i_{0};
};

} // namespace

Performance play(const Exercise& e)
{
    const PlayerConfig config = violin_config();
    Reader reader(config);
    Performance p;
    const Channel channel{};
    reader.input(at_ms(0),
                 control_change(channel, Midi7::nearest(11), Midi7::nearest(static_cast<int>(std::lround(e.loudness.value * 127)))));
    reader.input(at_ms(0), note_on(channel, Midi7::nearest(technique_key(e.technique)), Midi7::nearest(100)));
    reader.input(at_ms(1), note_off(channel, Midi7::nearest(technique_key(e.technique))));
    const int open = config.instrument.strings[e.string].open_key.get();
    const bool slurs = e.technique == Technique::legato;
    const Midi7 velocity = Midi7::nearest(80);
    std::int64_t ms = 500;
    for (std::size_t i = 0; i < steps.size(); ++i) {
        const bool within = slurs && i % 4 != 0;
        const bool goes_on = slurs && i % 4 != 3;
        const int pitch = open + steps[i] + (i >= 4 && slurs ? 1 : 0); // no note of a slur comes twice on end
        reader.input(at_ms(ms), note_on(channel, Midi7::nearest(pitch), velocity));
        if (within) reader.input(at_ms(ms + overlap_ms), note_off(channel, Midi7::nearest(p.notes.back().pitch)));
        const std::int64_t end = ms + note_ms;
        p.notes.push_back({at_ms(ms), at_ms(end), pitch, e.loudness, e.technique, within});
        ms = end;
        if (goes_on) continue;
        reader.input(at_ms(end), note_off(channel, Midi7::nearest(pitch)));
        ms += breath_ms;
    }
    reader.until(at_ms(ms + 500));
    p.bow = std::move(reader.samples);
    return p;
}

std::vector<BowedNote> bow(const Performance& p, const Instrument& instrument, const StringMake& like, const Change& change)
{
    std::vector<BowedNote> result;
    BowLine line(p.bow);
    const Seconds dt{1 / sample_rate};
    const double ns_a_step = 1e9 / sample_rate;
    std::vector<BowedString> strings;
    for (const StringData& s : instrument.strings) {
        StringMake make = like;
        make.impedance = s.impedance;
        strings.emplace_back(make, Hertz{sample_rate});
        strings.back().tune(period_of(s.open_key.get()));
        strings.back().be_still();
    }
    auto step = static_cast<std::int64_t>(static_cast<double>(p.notes.front().down.ns) / ns_a_step) + 1;
    for (std::size_t n = 0; n < p.notes.size(); ++n) {
        const PlayedNote& note = p.notes[n];
        const Seconds period = period_of(note.pitch);
        const Time end = n + 1 < p.notes.size() ? p.notes[n + 1].down : note.up;
        const auto begin = static_cast<double>(note.down.ns);
        SlipCounter counter;
        BowedNote out{note, no_string, {}, {}, {}, {}};
        const double middle = begin + 1e9 * (attack.value + to_seconds(note.up - note.down).value) / 2;
        for (double ns = static_cast<double>(step) * ns_a_step; ns < static_cast<double>(end.ns);
             ns = static_cast<double>(++step) * ns_a_step) {
            Motion m = line.at(ns);
            if (change) change(m);
            const std::uint8_t string = line.sample().string;
            if (out.string == no_string && string != no_string) {
                out.string = string;
                strings[string].tune(period);
            }
            if (out.string == no_string) continue;
            BowedString& s = strings[out.string];
            const Grip grip = s.step(m.speed, m.force, m.beta);
            const MetresPerSecond speed = m.speed < MetresPerSecond{0} ? -m.speed : m.speed;
            counter.step(Seconds{(ns - begin) * 1e-9}, grip, s.sliding(), speed * period, dt);
            if (ns < middle) out.steady = line.sample();
        }
        const Seconds length = to_seconds(note.up - note.down);
        out.settled = judge(counter.slips(), attack, length, period);
        out.starting = judge(counter.slips(), Seconds{0}, attack, period);
        out.regular_after = regular_from(counter.slips(), Seconds{0}, length, period);
        result.push_back(out);
    }
    return result;
}

} // namespace bowarm::test
