#include "take/part/spelling.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace bowarm::part
{
namespace
{

constexpr std::array<double, 12> major{6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88};
constexpr std::array<double, 12> minor{6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17};
constexpr std::string_view line_of_fifths = "FCGDAEB"; // F is -1
constexpr int lowest_octave = 0, highest_octave = 9;   // MusicXML's: keys that no string reaches are written within them
constexpr int lowest_in_major = -3;                    // of the twelve fifths that spell C major: E flat to G sharp
constexpr int lowest_in_minor = -2;                    // of A minor: B flat to D sharp

struct Fit {
    double value;
    int tonic;
    bool minor;
};

double mean(const std::array<double, 12>& values)
{
    double sum = 0;
    for (const double v : values) sum += v;
    return sum / 12;
}

// Pearson's correlation of the weights with a key's profile.
double likeness(const std::array<double, 12>& weights, const std::array<double, 12>& profile, int tonic)
{
    const double usual = mean(profile), usual_weight = mean(weights);
    double together = 0, of_profile = 0, of_weights = 0;
    for (int i = 0; i < 12; ++i) {
        const double p = profile[static_cast<std::size_t>(i)] - usual;
        const double w = weights[static_cast<std::size_t>((tonic + i) % 12)] - usual_weight;
        together += w * p;
        of_profile += p * p;
        of_weights += w * w;
    }
    return of_weights > 0 ? together / std::sqrt(of_profile * of_weights) : 0;
}

// The share of the music that would need an accidental.
double outside(const std::array<double, 12>& weights, int sharps)
{
    double sum = 0, out = 0;
    for (int pitch_class = 0; pitch_class < 12; ++pitch_class) {
        const double weight = weights[static_cast<std::size_t>(pitch_class)];
        const int fifths = ((pitch_class * 7 - sharps + 1) % 12 + 12) % 12; // from the flattest degree of the scale, 0..6 inside
        sum += weight;
        if (fifths > 6) out += weight;
    }
    return sum > 0 ? out / sum : 0;
}

int sharps_of(int tonic, bool is_minor)
{
    const int relative = is_minor ? tonic + 3 : tonic;
    const int fifths = relative * 7 % 12;
    return fifths > 6 ? fifths - 12 : fifths;
}

} // namespace

KeyChange key_of(const std::array<double, 12>& weights)
{
    if (mean(weights) <= 0) return {};
    Fit best{-2, 0, false};
    for (int tonic = 0; tonic < 12; ++tonic)
        for (const bool is_minor : {false, true}) {
            const double value = likeness(weights, is_minor ? minor : major, tonic) - outside(weights, sharps_of(tonic, is_minor));
            if (value > best.value) best = {value, tonic, is_minor};
        }
    return {static_cast<std::int8_t>(sharps_of(best.tonic, best.minor)), best.minor};
}

Spelled spelled(int key_number, KeyChange key)
{
    const int pitch_class = key_number % 12;
    const int lowest = key.sharps + (key.minor ? lowest_in_minor : lowest_in_major);
    int fifths = lowest;
    while (((fifths * 7) % 12 + 12) % 12 != pitch_class) ++fifths;
    const int index = fifths + 1;
    const int turn = index >= 0 ? index / 7 : -((6 - index) / 7);
    Spelled s;
    s.step = line_of_fifths[static_cast<std::size_t>(index - turn * 7)];
    s.alter = turn;
    s.octave = std::clamp((key_number - s.alter + 12) / 12 - 2, lowest_octave, highest_octave);
    return s;
}

int signature_alter(char step, KeyChange key)
{
    const int place = static_cast<int>(line_of_fifths.find(step));
    if (key.sharps > place) return 1;
    if (-key.sharps > 6 - place) return -1;
    return 0;
}

} // namespace bowarm::part
