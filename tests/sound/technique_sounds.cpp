// What a bowed and a plucked string that are not ours say of the techniques: STK's, driven with the engine's curves and notes.
//   driven_string.hpp has the mapping of the bow; STK's Plucked takes our note-ons as they are.  The figures go to standard output.
//   expected  brightness grows from sul tasto to sul ponticello, an accent speaks faster, a plucked string decays: all
//             orchestration handbooks; the nearer to the bridge, the more of the upper partials (J. C. Schelleng 1973).
#include "player/fixture.hpp"
#include "sound/driven_string.hpp"
#include "sound/listening.hpp"
#include "sound/rendering.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <stk/Plucked.h>

namespace bowarm::test
{
namespace
{

std::size_t at(double seconds) { return static_cast<std::size_t>(std::lround(seconds * sound_rate)); }

// Of the power of the partials up to 10 kHz; in multiples of the note.
double centroid(std::span<const double> sound, double period)
{
    double weighted = 0, sum = 0;
    for (int n = 1; n * sound_rate / period < 10'000; ++n) {
        const double a = fundamental(sound, period / n);
        weighted += n * a * a;
        sum += a * a;
    }
    return weighted / sum;
}

const std::vector<double>& only_string(const StringSounds& sounds)
{
    return *std::find_if(sounds.begin(), sounds.end(), [](const std::vector<double>& s) { return !s.empty(); });
}

// The steepest growth of the level over 10 ms in the first part of the note, over that of the steady note: 1/s.
double steepness(std::span<const double> sound, double begin)
{
    constexpr double window = 0.010;
    const double steady = level(sound.subspan(at(begin + 0.35), at(0.1)));
    double most = 0;
    for (double t = begin; t < begin + 0.25; t += 0.002)
        most = std::max(most, level(sound.subspan(at(t + window), at(window))) - level(sound.subspan(at(t), at(window))));
    return most / steady / window;
}

std::vector<double> pluck_sound(const Memory& memory, double length)
{
    stk::Stk::setSampleRate(sound_rate);
    stk::Plucked string(100);
    std::vector<double> sound(at(length), 0.0);
    std::size_t now = 0;
    const auto ring_to = [&](std::size_t end) {
        for (; now < std::min(end, sound.size()); ++now) sound[now] = string.tick();
    };
    for (const Sent& s : memory.sent) {
        if (!s.message.is_note_on() || s.message.first().get() < 55) continue; // keyswitches lie below
        ring_to(at(to_seconds(Duration{s.at.ns}).value));
        string.noteOn(hertz(s.message.first().get()).value, s.message.second().get() / 127.0);
    }
    ring_to(sound.size());
    return sound;
}

} // namespace

TEST_CASE("the spectral centroid rises from sul tasto over ordinary to sul ponticello")
{
    constexpr int contacts[] = {0, 64, 127};
    constexpr int pitches[] = {55, 58, 61, 62, 65, 68, 69, 72, 75, 76, 80, 86};
    constexpr double loudnesses[] = {0.25, 0.4, 0.55, 0.7, 0.85};
    std::printf("Spectral centroid, in partials: sul tasto, ordinary, sul ponticello\n");
    // Single notes scatter by a third either way: the corner of a string without torsion or the hair's width rings on in
    // waves between bow and bridge.
    double log_sum[3]{};
    for (const int pitch : pitches) {
        double here[3]{};
        for (const double loudness : loudnesses) {
            for (int i = 0; i < 3; ++i) {
                const Performance note{Technique::detache, Loudness{loudness}, {{100, 900, pitch}}, contacts[i]};
                const std::vector<double> sound = only_string(sound_of(bow_curves(note, 900), Seconds{0.9}));
                here[i] += std::log(centroid(std::span(sound).subspan(at(0.6), at(0.2)), sound_rate / hertz(pitch).value));
            }
        }
        std::printf("  key %d:", pitch);
        for (int i = 0; i < 3; ++i) {
            std::printf(" %6.2f", std::exp(here[i] / std::size(loudnesses)));
            log_sum[i] += here[i] / std::size(loudnesses);
        }
        std::printf("\n");
    }
    double mean[3];
    for (int i = 0; i < 3; ++i) mean[i] = std::exp(log_sum[i] / std::size(pitches));
    std::printf("  all:    %6.2f %6.2f %6.2f\n", mean[0], mean[1], mean[2]);
    CHECK(mean[0] < mean[1] * 0.95);
    CHECK(mean[1] < mean[2] * 0.95);
}

TEST_CASE("a marcato attacks more steeply than a detache")
{
    std::printf("Steepest growth of the level, per second: detache, marcato\n");
    double log_ratio = 0;
    int steeper = 0, notes = 0;
    for (const int pitch : {55, 58, 62, 65, 69, 72, 76, 80}) {
        for (const double loudness : {0.3, 0.45, 0.6, 0.75}) {
            double found[2];
            for (const bool marcato : {false, true}) {
                const Performance note{marcato ? Technique::marcato : Technique::detache, Loudness{loudness}, {{100, 700, pitch}}, 64};
                const std::vector<double> sound = only_string(sound_of(bow_curves(note, 700), Seconds{0.7}));
                found[marcato] = steepness(sound, 0.1);
            }
            std::printf("  key %d, loudness %.2f: %5.1f %5.1f\n", pitch, loudness, found[0], found[1]);
            log_ratio += std::log(found[1] / found[0]);
            steeper += found[1] > found[0];
            ++notes;
        }
    }
    std::printf("  %d of %d steeper, %.2f times on average\n", steeper, notes, std::exp(log_ratio / notes));
    // Where the note is loud already, an accent comes near the force at which this string creaks, and gains little.
    CHECK(std::exp(log_ratio / notes) > 1.1);
    CHECK(steeper > notes * 3 / 4);
}

TEST_CASE("a plucked string decays under a held key, a bowed one does not")
{
    PlayerConfig config = violin_config();
    Player player(config);
    Memory memory;
    Hands hands{player, memory};
    hands.command(0, Command::select_technique, static_cast<std::uint8_t>(Technique::pizzicato));
    hands.note(100, 69, 1'800, 90);
    hands.until(2'200);
    const std::vector<double> plucked = pluck_sound(memory, 2.0);
    const Performance note{Technique::detache, Loudness{0.4}, {{100, 1'900, 69}}, 64};
    const std::vector<double> bowed = only_string(sound_of(bow_curves(note, 1'900), Seconds{1.9}));
    const auto change = [](const std::vector<double>& sound) {
        return decibels(level(std::span(sound).subspan(at(1.6), at(0.1))) / level(std::span(sound).subspan(at(0.3), at(0.1))));
    };
    std::printf("From 0.2 to 1.5 s after the beginning: plucked %.1f dB, bowed %.1f dB\n", change(plucked), change(bowed));
    CHECK(change(plucked) < -12);
    CHECK(change(bowed) > -3);
}

} // namespace bowarm::test
