// Keyboard and ears of the latency bench: plays notes into each way in turn, round by round, and counts in frames when they come out.
//   probe ROUNDS NOTES MILLISECONDS NAME=IN,OUT...   IN and OUT are JACK ports; an OUT of audio is listened to for sound
//   out   one line a round and way: way round sent lost median mean nine_in_ten most late-cycles, times in frames
//   A note starts at a chance place of the period and lasts half the time to the next; a pedal (controller 11) moves between.
#include "rounds.hpp"

#include <jack/jack.h>
#include <jack/midiport.h>

#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <random>
#include <string>
#include <thread>

namespace bowarm::latency
{
namespace
{

constexpr float sounds_from = 0.003F;                   // of full scale
constexpr int lowest_key = 57, keys = 24, key_step = 7; // a step that visits every key: one never waits for two notes
constexpr double quiet_seconds = 0.05;

struct Way {
    std::string name, in, out;
    jack_port_t* to{nullptr};
    jack_port_t* from{nullptr};
    bool audio{false};
    jack_nframes_t quiet_for{0};
};

class Probe
{
public:
    Probe(jack_client_t* client, std::vector<Way>& ways, std::size_t notes, double seconds)
        : client_(client), ways_(ways), notes_(notes), round_(notes + 1)
    {
        step_ = static_cast<jack_nframes_t>(seconds * jack_get_sample_rate(client));
        quiet_ = static_cast<jack_nframes_t>(quiet_seconds * jack_get_sample_rate(client));
        jack_set_process_callback(
            client, [](jack_nframes_t frames, void* self) { return static_cast<Probe*>(self)->cycle(frames); }, this);
        jack_set_xrun_callback(
            client,
            [](void* self) {
                ++static_cast<Probe*>(self)->late_cycles_;
                return 0;
            },
            this);
    }

    void run(std::size_t way, int number)
    {
        late_cycles_ = 0;
        way_ = way;
        playing_.store(true, std::memory_order_release);
        while (playing_.load(std::memory_order_acquire)) std::this_thread::sleep_for(std::chrono::milliseconds{20});
        const Result r = round_.results();
        std::printf("%s %d %zu %zu %.0f %.1f %.0f %.0f %d\n", ways_[way].name.c_str(), number, r.sent, r.lost, r.median, r.mean,
                    r.nine_in_ten, r.most, late_cycles_.load());
        std::fflush(stdout);
    }

private:
    int cycle(jack_nframes_t frames)
    {
        const jack_nframes_t now = jack_last_frame_time(client_);
        const bool playing = playing_.load(std::memory_order_acquire);
        if (playing && !begun_) begin(now);
        for (std::size_t w = 0; w < ways_.size(); ++w) {
            jack_midi_clear_buffer(jack_port_get_buffer(ways_[w].to, frames));
            listen(ways_[w], w == way_, now, frames);
        }
        if (playing) play(jack_port_get_buffer(ways_[way_].to, frames), now, frames);
        return 0;
    }

    void begin(jack_nframes_t now)
    {
        round_.begin();
        begun_ = true;
        played_ = 0;
        key_ = 0;
        down_ = false;
        next_ = now + step_ * 20; // silence from the round before
    }

    void play(void* buffer, jack_nframes_t now, jack_nframes_t frames)
    {
        // A cycle that was missed leaves the next note in the past: it is sent at once, and counted from then.
        if (static_cast<std::int32_t>(next_ - now) < 0) next_ = now;
        while (next_ - now < frames) {
            const jack_nframes_t offset = next_ - now;
            if (played_ == notes_ && !down_) {
                begun_ = false;
                playing_.store(false, std::memory_order_release);
                return;
            }
            const auto key = static_cast<std::uint8_t>(lowest_key + key_);
            const unsigned char message[3] = {static_cast<unsigned char>(down_ ? 0x80 : 0x90), key, 80};
            if (!down_) {
                const unsigned char pedal[3] = {0xB0, 11, static_cast<unsigned char>(60 + played_ * 5 % 60)};
                jack_midi_event_write(buffer, offset, pedal, sizeof pedal);
                round_.sent(key, next_);
            }
            jack_midi_event_write(buffer, offset, message, sizeof message);
            if (down_) {
                key_ = (key_ + key_step) % keys;
                ++played_;
            }
            down_ = !down_;
            // Half the step, and a chance part of a period, so that every place of the period is met.
            next_ += step_ / 2 + chance_() % 97;
            if (played_ == notes_ && !down_) next_ += step_ * 20;
        }
    }

    void listen(Way& way, bool mine, jack_nframes_t now, jack_nframes_t frames)
    {
        void* buffer = jack_port_get_buffer(way.from, frames);
        if (way.audio) return listen_for_sound(way, static_cast<const float*>(buffer), mine, now, frames);
        jack_midi_event_t event;
        for (std::uint32_t i = 0; i < jack_midi_get_event_count(buffer); ++i) {
            if (jack_midi_event_get(&event, buffer, i) != 0 || event.size != 3 || !mine) continue;
            if ((event.buffer[0] & 0xF0) == 0x90 && event.buffer[2] > 0) round_.heard(event.buffer[1], now + event.time);
        }
    }

    // The first sound after silence belongs to the note that was sent last.
    void listen_for_sound(Way& way, const float* sound, bool mine, jack_nframes_t now, jack_nframes_t frames)
    {
        for (jack_nframes_t i = 0; i < frames; ++i) {
            if (std::abs(sound[i]) < sounds_from) {
                ++way.quiet_for;
                continue;
            }
            if (mine && way.quiet_for >= quiet_) round_.heard(static_cast<std::uint8_t>(lowest_key + key_), now + i);
            way.quiet_for = 0;
        }
    }

    jack_client_t* client_;
    std::vector<Way>& ways_;
    std::size_t notes_, played_{0}, way_{0};
    Round round_;
    jack_nframes_t step_, quiet_, next_{0};
    int key_{0};
    bool begun_{false}, down_{false};
    std::minstd_rand chance_{1};
    std::atomic<bool> playing_{false};
    std::atomic<int> late_cycles_{0};
};

std::vector<Way> ways_of(int argc, char** argv)
{
    std::vector<Way> ways;
    for (int i = 4; i < argc; ++i) {
        const std::string text = argv[i];
        const auto equals = text.find('='), comma = text.find(',');
        if (equals == std::string::npos || comma == std::string::npos) return {};
        ways.push_back({text.substr(0, equals), text.substr(equals + 1, comma - equals - 1), text.substr(comma + 1)});
    }
    return ways;
}

bool open_ports(jack_client_t* client, Way& way)
{
    const jack_port_t* out = jack_port_by_name(client, way.out.c_str());
    if (out == nullptr || jack_port_by_name(client, way.in.c_str()) == nullptr) return false;
    way.audio = std::strcmp(jack_port_type(out), JACK_DEFAULT_AUDIO_TYPE) == 0;
    way.to = jack_port_register(client, ("to-" + way.name).c_str(), JACK_DEFAULT_MIDI_TYPE, JackPortIsOutput, 0);
    way.from = jack_port_register(client, ("from-" + way.name).c_str(), jack_port_type(out), JackPortIsInput, 0);
    return way.to != nullptr && way.from != nullptr;
}

bool connect(jack_client_t* client, const Way& way)
{
    return jack_connect(client, jack_port_name(way.to), way.in.c_str()) == 0 &&
           jack_connect(client, way.out.c_str(), jack_port_name(way.from)) == 0;
}

int measure(int argc, char** argv)
{
    std::vector<Way> ways = ways_of(argc, argv);
    if (ways.empty()) {
        std::fputs("usage: probe ROUNDS NOTES MILLISECONDS NAME=IN,OUT...\n", stderr);
        return 64;
    }
    const std::unique_ptr<jack_client_t, int (*)(jack_client_t*)> client(jack_client_open("latency-probe", JackNoStartServer, nullptr),
                                                                         jack_client_close);
    if (!client) return 69;
    for (Way& way : ways) {
        if (open_ports(client.get(), way)) continue;
        std::fprintf(stderr, "no ports %s and %s\n", way.in.c_str(), way.out.c_str());
        return 69;
    }
    Probe probe(client.get(), ways, static_cast<std::size_t>(std::atoi(argv[2])), std::atof(argv[3]) / 1000);
    if (jack_activate(client.get()) != 0) return 69;
    for (const Way& way : ways) {
        if (connect(client.get(), way)) continue;
        std::fprintf(stderr, "%s and %s cannot be connected\n", way.in.c_str(), way.out.c_str());
        return 69;
    }
    for (int round = 1; round <= std::atoi(argv[1]); ++round)
        for (std::size_t way = 0; way < ways.size(); ++way) probe.run(way, round);
    jack_deactivate(client.get());
    return 0;
}

} // namespace
} // namespace bowarm::latency

int main(int argc, char** argv) { return bowarm::latency::measure(argc, argv); }
