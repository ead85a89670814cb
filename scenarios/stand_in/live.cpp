#include "live.hpp"

#include "instant.hpp"
#include "midi/stream_parser.hpp"
#include "sampler.hpp"

#include <jack/jack.h>
#include <jack/midiport.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <csignal>
#include <iostream>
#include <memory>
#include <thread>

namespace bowarm::stand_in
{
namespace
{

constexpr int fine = 0, unavailable = 69;
constexpr double first_level = 0.25;
constexpr double seconds_to_whole_level = 10;

volatile std::sig_atomic_t told_to_end = 0;

class Client
{
public:
    Client(jack_client_t* client, const Sounds& sounds, const LiveWish& wish)
        : client_(client), rate_(jack_get_sample_rate(client)), sampler_(sounds, rate_), instant_(wish.reorder)
    {
        in_ = jack_port_register(client, "in", JACK_DEFAULT_MIDI_TYPE, JackPortIsInput, 0);
        left_ = jack_port_register(client, "left", JACK_DEFAULT_AUDIO_TYPE, JackPortIsOutput, 0);
        right_ = jack_port_register(client, "right", JACK_DEFAULT_AUDIO_TYPE, JackPortIsOutput, 0);
        jack_set_process_callback(
            client, [](jack_nframes_t frames, void* self) { return static_cast<Client*>(self)->cycle(frames); }, this);
        jack_on_shutdown(
            client, [](void* self) { static_cast<Client*>(self)->gone_.store(true); }, this);
    }
    bool ready() const { return in_ != nullptr && left_ != nullptr && right_ != nullptr; }
    bool gone() const { return gone_.load(); }
    float loudest() const { return loudest_.load(); }

    void connect_to_speakers() const
    {
        const char** ports = jack_get_ports(client_, nullptr, JACK_DEFAULT_AUDIO_TYPE, JackPortIsPhysical | JackPortIsInput);
        if (ports == nullptr) return;
        jack_connect(client_, jack_port_name(left_), ports[0]);
        jack_connect(client_, jack_port_name(right_), ports[1] != nullptr ? ports[1] : ports[0]);
        jack_free(ports);
    }

private:
    int cycle(jack_nframes_t frames) noexcept
    {
        auto* left = static_cast<float*>(jack_port_get_buffer(left_, frames));
        auto* right = static_cast<float*>(jack_port_get_buffer(right_, frames));
        void* in = jack_port_get_buffer(in_, frames);
        jack_nframes_t done = 0;
        const auto go_to = [&](jack_nframes_t frame) {
            if (frame <= done) return;
            instant_.happen(sampler_);
            sampler_.render({left + done, frame - done});
            done = frame;
        };
        jack_midi_event_t event;
        for (std::uint32_t i = 0; i < jack_midi_get_event_count(in); ++i) {
            if (jack_midi_event_get(&event, in, i) != 0) continue;
            go_to(std::min(event.time, frames));
            parser_.feed({event.buffer, event.size}, [this](const Message& message) { instant_.add(message, sampler_); });
        }
        go_to(frames);
        float loudest = loudest_.load(std::memory_order_relaxed);
        for (jack_nframes_t i = 0; i < frames; ++i) {
            left[i] *= static_cast<float>(level_);
            right[i] = left[i];
            loudest = std::max(loudest, std::abs(left[i]));
            if (!sampler_.silent()) level_ = std::min(1.0, level_ + (1 - first_level) / (seconds_to_whole_level * rate_));
        }
        loudest_.store(loudest, std::memory_order_relaxed);
        return 0;
    }

    jack_client_t* client_;
    double rate_;
    Sampler sampler_;
    Instant instant_;
    StreamParser parser_;
    double level_{first_level};
    jack_port_t* in_{nullptr};
    jack_port_t* left_{nullptr};
    jack_port_t* right_{nullptr};
    std::atomic<bool> gone_{false};
    std::atomic<float> loudest_{0};
};

} // namespace

int play_live(const Instrument& instrument, const LiveWish& wish)
{
    // What libjack would print by itself is said below in one line.
    jack_set_error_function([](const char*) {});
    jack_set_info_function([](const char*) {});
    jack_client_t* jack = jack_client_open(wish.client.c_str(), JackNoStartServer, nullptr);
    if (jack == nullptr) {
        std::cerr << "bowarm-stand-in: no JACK server answers; start JACK or PipeWire, or give a .mid file and --out\n";
        return unavailable;
    }
    std::cout << "Rendering the sounds of a " << instrument.name << ", which takes some seconds" << std::endl;
    const Sounds sounds{instrument};
    const auto client = std::make_unique<Client>(jack, sounds, wish);
    std::signal(SIGINT, [](int) { told_to_end = 1; });
    std::signal(SIGTERM, [](int) { told_to_end = 1; });
    const bool runs = client->ready() && jack_activate(jack) == 0;
    if (runs && wish.to_speakers) client->connect_to_speakers();
    if (runs) std::cout << "ready: " << jack_get_client_name(jack) << ":in; Ctrl-C ends" << std::endl;
    while (runs && told_to_end == 0 && !client->gone()) std::this_thread::sleep_for(std::chrono::milliseconds(50));
    const bool lost = !runs || client->gone();
    jack_client_close(jack);
    if (lost) std::cerr << "bowarm-stand-in: the JACK server went away; start it again, then this\n";
    std::cout << "loudest: " << std::lround(100 * client->loudest()) << " % of full scale" << std::endl;
    return lost ? unavailable : fine;
}

} // namespace bowarm::stand_in
