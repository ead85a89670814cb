// What is read from keys: the family of a line, the member of it that a player would use, and that neither flickers.
#include "phrase/phrase.hpp"

#include <doctest/doctest.h>

#include <random>
#include <vector>

using namespace bowarm;

namespace
{

// Rates of the violin in config/instruments/violin.toml, which has the sources.
constexpr ReadingLimits violin{Loudness{0.75}, Hertz{2.0}, Hertz{7.0}, Hertz{6.7}, Hertz{13.0}};
constexpr ReadingLimits bass{Loudness{0.75}, Hertz{1.0}, Hertz{4.5}, Hertz{4.5}, Hertz{9.0}};

struct Line {
    double interval_s, share;
    int velocity;
    ReadingLimits limits{violin};
    bool one_pitch{false};
    int notes{16};
};

class Keys
{
public:
    explicit Keys(const ReadingLimits& limits) : phrase_(config(limits)) {}

    // One key, held so long; what it was read as.
    NoteMeaning note(double at_s, double held_s, int pitch, int velocity)
    {
        const Loudness loud{velocity / 127.0};
        const NoteMeaning meaning = phrase_.key_down(key(at_s, pitch, velocity), loud, std::nullopt, true);
        phrase_.key_up(key(at_s + held_s, pitch, velocity));
        return meaning;
    }

    std::vector<NoteMeaning> line(const Line& l)
    {
        std::vector<NoteMeaning> read;
        for (int i = 0; i < l.notes; ++i, at_s_ += l.interval_s)
            read.push_back(note(at_s_, l.interval_s * l.share, l.one_pitch ? 69 : 69 + i % 3, l.velocity));
        return read;
    }

    Phrase& phrase() { return phrase_; }

    static Gesture key(double at_s, int pitch, int velocity)
    {
        Gesture g;
        g.at = Time{static_cast<std::int64_t>(at_s * 1e9)};
        g.pitch = Midi7::nearest(pitch);
        g.velocity = Midi7::nearest(velocity);
        return g;
    }

private:
    static PhraseConfig config(const ReadingLimits& limits)
    {
        PhraseConfig c{};
        c.chord_window = Seconds{0.03};
        c.limits = limits;
        return c;
    }

    Phrase phrase_;
    double at_s_{1};
};

NoteMeaning last_of(const Line& line)
{
    Keys keys(line.limits);
    return keys.line(line).back();
}

// How far a hand's normal deviates spread.
struct Spread {
    double length; // share of the length
    double onset_s, velocity;
};

class Hand
{
public:
    explicit Hand(std::uint32_t seed) : random_(seed) {}
    double normal()
    {
        double sum = -6;
        for (int i = 0; i < 12; ++i) sum += uniform();
        return sum;
    }
    double uniform() { return static_cast<double>(random_()) / 4294967296.0; }
    double between(double low, double high) { return low + (high - low) * uniform(); }

private:
    std::mt19937 random_;
};

struct Changes {
    int families{0}, techniques{0};
};

Changes changes_in(const std::vector<NoteMeaning>& read)
{
    Changes c;
    for (std::size_t i = 1; i < read.size(); ++i) {
        if (read[i - 1].read == Family::ambiguous) continue;
        c.families += read[i].read != read[i - 1].read;
        c.techniques += read[i].technique != read[i - 1].technique;
    }
    return c;
}

Changes changes_of_steady_playing(std::uint32_t seed, const Spread& spread)
{
    Hand hand(seed);
    constexpr double shares[] = {0.25, 0.4, 0.5, 0.9, 0.95}; // staccatissimo, staccato (two sources), detache
    const double share = shares[seed % 5];
    const double interval = hand.between(0.11, 0.9);
    const double velocity = hand.between(30, 115);
    std::vector<double> onsets;
    for (int i = 0; i < 41; ++i) onsets.push_back(1 + i * interval + spread.onset_s * hand.normal());
    Keys keys(violin);
    std::vector<NoteMeaning> read;
    for (std::size_t i = 0; i < 40; ++i) {
        double held = interval * share * (1 + spread.length * hand.normal());
        const double room = onsets[i + 1] - onsets[i] - 0.005;
        if (held > room) held = room;
        if (held < 0.02) held = 0.02;
        read.push_back(
            keys.note(onsets[i], held, 60 + static_cast<int>(i % 7), static_cast<int>(velocity + spread.velocity * hand.normal())));
    }
    return changes_in(read);
}

} // namespace

TEST_CASE("the family is read from how long keys are held, how hard they are struck and how they hang together")
{
    struct Row {
        const char* why;
        Line line;
        Family family;
    };
    // Lengths: O. A. Lindquist, The Etude (staccato a half, staccatissimo a quarter); R. Bresin & G. U. Battel 2000 (staccato
    // 40 %); detache nine tenths, marcato two thirds and hard: common practice, no source.
    constexpr Row rows[] = {
        {"held nearly to the next", {0.4, 0.9, 70}, Family::separate},
        {"half of the time", {0.4, 0.5, 70}, Family::short_notes},
        {"as pianists play staccato", {0.4, 0.4, 70}, Family::short_notes},
        {"a quarter of the time", {0.4, 0.25, 70}, Family::short_notes},
        {"the same, slowly", {1.0, 0.5, 70}, Family::short_notes},
        {"the same, loudly: equally hard notes are no accents", {0.4, 0.5, 110}, Family::short_notes},
        {"two thirds of the time, hard", {0.4, 0.667, 110}, Family::accented_short},
        {"one pitch, eleven a second", {0.09, 0.5, 70, violin, true}, Family::fast_repeated},
        {"one pitch, six a second: strokes that are counted", {0.167, 0.5, 70, violin, true}, Family::short_notes},
        {"a melody, eleven a second", {0.09, 0.5, 70}, Family::short_notes},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        CHECK((last_of(r.line).read == r.family));
    }
}

TEST_CASE("nothing is known at the first note, and what is not known is a detache, which a note-off can end")
{
    Keys keys(violin);
    const NoteMeaning first = keys.note(1, 0.1, 69, 70);
    CHECK((first.read == Family::ambiguous));
    CHECK((first.technique == Technique::detache));
}

TEST_CASE("two thirds of the time after softer notes is accented, by one step of the dynamics")
{
    Keys keys(violin);
    keys.line({0.4, 0.9, 60});
    CHECK((keys.line({0.4, 0.667, 80, violin, false, 8}).back().read == Family::accented_short));
}

TEST_CASE("tempo and loudness choose the member of the family")
{
    struct Row {
        const char* why;
        Line line;
        Technique technique;
    };
    // Spiccato 2 to 7 notes a second, lower on the bass; unmeasured tremolo 10 to 16: common practice, no source.  Where spiccato
    // gives way to sautille, sixteenths at 100: C. Dounis after Klopcic 2023.  Sautille 8 to 13: Askenfelt & Guettler 1997/1998,
    // from memory.  A martele needs a stop before each stroke: I. Galamian 1962, from memory.
    constexpr Row rows[] = {
        {"soft eighths at 120 leave the string", {0.25, 0.5, 60}, Technique::spiccato},
        {"soft sixteenths at 140 bounce by themselves", {0.107, 0.5, 60}, Technique::sautille},
        {"quicker than the bow bounces", {0.065, 0.5, 60}, Technique::detache},
        {"soft, too slow to bounce", {0.65, 0.4, 60}, Technique::staccato},
        {"loud eighths stay on the string", {0.25, 0.5, 115}, Technique::staccato},
        {"halves of slow notes are longer than a short sound", {1.1, 0.5, 60}, Technique::detache},
        {"hard quarters at 120 have time to stop", {0.5, 0.667, 110}, Technique::martele},
        {"hard eighths at 140 have none", {0.214, 0.667, 110}, Technique::marcato},
        {"hard and long", {0.9, 0.667, 110}, Technique::marcato},
        {"held nearly to the next", {0.25, 0.9, 60}, Technique::detache},
        {"one pitch, twelve a second", {0.083, 0.5, 60, violin, true}, Technique::tremolo},
        {"a bass turns to sautille sooner", {0.18, 0.5, 60, bass}, Technique::sautille},
        {"and bounces slower", {0.65, 0.4, 60, bass}, Technique::spiccato},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        CHECK((last_of(r.line).technique == r.technique));
    }
}

TEST_CASE("overlapping keys are slurred at once, and an overlap that was an accident is told as the line was read")
{
    Keys keys(violin);
    keys.line({0.4, 0.9, 70});
    Phrase& p = keys.phrase();
    p.key_down(Keys::key(8.0, 70, 70), Loudness{0.5}, std::nullopt, true);
    const NoteMeaning slurred = p.key_down(Keys::key(8.4, 72, 70), Loudness{0.5}, std::nullopt, true);
    CHECK((slurred.read == Family::slurred));
    CHECK((slurred.technique == Technique::legato));
    CHECK((p.was_separate(slurred).read == Family::separate));
}

TEST_CASE("a group of four on one pitch is counted, a longer repetition is a tremolo until it slows or becomes a melody")
{
    Keys keys(violin);
    for (const NoteMeaning& n : keys.line({0.1, 0.5, 70, violin, true, 4})) CHECK((n.read != Family::fast_repeated));
    Keys longer(violin);
    CHECK((longer.line({0.1, 0.5, 70, violin, true, 8}).back().read == Family::fast_repeated));
    CHECK((longer.line({0.1, 0.5, 70, violin, false, 6}).back().read != Family::fast_repeated));
    CHECK((longer.line({0.1, 0.5, 70, violin, true, 8}).back().read == Family::fast_repeated));
    CHECK((longer.line({0.3, 0.5, 70, violin, true, 6}).back().read != Family::fast_repeated));
}

TEST_CASE("a chosen technique is not read, and reading goes on behind it")
{
    Keys keys(violin);
    keys.line({0.25, 0.5, 60, violin, false, 4});
    keys.phrase().choose(Technique::pizzicato);
    for (const NoteMeaning& n : keys.line({0.25, 0.5, 60, violin, false, 4})) {
        CHECK(!n.read);
        CHECK((n.technique == Technique::pizzicato));
    }
    keys.phrase().read_again();
    CHECK((keys.line({0.25, 0.5, 60, violin, false, 1}).back().technique == Technique::spiccato));
}

TEST_CASE("one short note at the end of a phrase does not make the next phrase short")
{
    Keys keys(violin);
    keys.line({0.4, 0.9, 70});
    keys.line({0.4, 0.5, 70, violin, false, 1});
    CHECK((keys.line({0.4, 0.9, 70, violin, false, 1}).back().read == Family::separate));
}

TEST_CASE("a note before a rest is not taken for a short one")
{
    Keys keys(violin);
    double at = 1;
    for (int phrase = 0; phrase < 6; ++phrase) {
        for (int i = 0; i < 3; ++i, at += 0.4) CHECK((keys.note(at, 0.36, 69 + i, 70).technique == Technique::detache));
        at += 0.4;
    }
}

// Of 2,000 lines of 40 notes, how many changed more than once after they had been read.
std::uint32_t flickering_lines(const Spread& spread)
{
    std::uint32_t flickering = 0;
    for (std::uint32_t seed = 1; seed <= 2000; ++seed) {
        const Changes c = changes_of_steady_playing(seed, spread);
        flickering += c.families > 1 || c.techniques > 1;
    }
    return flickering;
}

TEST_CASE("a steady line does not flicker: once read, it changes at most once")
{
    CHECK(flickering_lines({0.08, 0.010, 3}) == 0);
    // So uneven a hand holds a full note two thirds of its time, and hard, now and then: one line in fifty is misread for a moment.
    CHECK(flickering_lines({0.15, 0.015, 4}) <= 40);
}
