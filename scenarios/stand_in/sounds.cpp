#include "sounds.hpp"

#include <algorithm>
#include <atomic>
#include <thread>

namespace bowarm::stand_in
{
namespace
{

constexpr int apart = 3; // semitones between recordings

// The highest string that has the key: near the nut, as players begin to learn it.
KilogramsPerSecond impedance_for(const Instrument& instrument, int key)
{
    KilogramsPerSecond found = instrument.strings.front().impedance;
    for (const StringMake& string : instrument.strings)
        if (string.open_key <= key) found = string.impedance;
    return found;
}

} // namespace

std::size_t Sounds::index(Sound sound, int layer, std::size_t place) const noexcept
{
    return (place * sound_count + static_cast<std::size_t>(sound)) * layer_count + static_cast<std::size_t>(layer);
}

Sounds::Sounds(const Instrument& instrument)
    : instrument_(&instrument),
      places_(static_cast<std::size_t>((instrument.highest_key - instrument.strings.front().open_key) / apart + 1))
{
    recordings_.resize(places_ * sound_count * layer_count);
    std::atomic<std::size_t> next{0};
    const auto work = [&] {
        for (std::size_t i = next++; i < recordings_.size(); i = next++) {
            const int key = instrument_->strings.front().open_key + apart * static_cast<int>(i / (sound_count * layer_count));
            const Take take{static_cast<Sound>(i / layer_count % sound_count), static_cast<int>(i % layer_count),
                            impedance_for(instrument, key)};
            recordings_[i] = record(take, hertz(key));
        }
    };
    std::vector<std::jthread> threads;
    for (unsigned n = std::max(1U, std::thread::hardware_concurrency()); n > 0; --n) threads.emplace_back(work);
}

const Recording& Sounds::nearest(Sound sound, int layer, int key) const noexcept
{
    const int away = std::max(0, key - instrument_->strings.front().open_key + apart / 2);
    const std::size_t place = std::min(places_ - 1, static_cast<std::size_t>(away / apart));
    return recordings_[index(sound, layer, place)];
}

} // namespace bowarm::stand_in
