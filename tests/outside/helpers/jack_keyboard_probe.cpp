// A JACK client with a MIDI output, "keys", and a MIDI input, "ears", told what to do by lines on its standard input.
// It shares nothing with the program under test.
//   connect A B      a connection between two ports                 -> "ok" or "no"
//   disconnect A B
//   send HEX...      one event with exactly these bytes             -> "ok"
//   ports            names of all MIDI ports, one line, tabs between
//   heard            counts of what the ears heard                  -> ons offs other held
//   notes            the keys of the note-ons heard, in order
//   clear            forgets what was heard
//   quit
// When the server goes it prints "lost" and ends with 3.
#include <jack/jack.h>
#include <jack/midiport.h>
#include <jack/ringbuffer.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cstdint>
#include <cstdio>
#include <iostream>
#include <mutex>
#include <sstream>
#include <string>
#include <vector>

#include <unistd.h>

namespace
{

struct Event {
    std::uint32_t size{0};
    std::array<unsigned char, 60> bytes{};
};

class Probe
{
public:
    explicit Probe(const char* name) : client_(jack_client_open(name, JackNoStartServer, nullptr))
    {
        if (client_ == nullptr) return;
        to_send_ = jack_ringbuffer_create(1 << 16);
        was_heard_ = jack_ringbuffer_create(1 << 20);
        keys_ = jack_port_register(client_, "keys", JACK_DEFAULT_MIDI_TYPE, JackPortIsOutput, 0);
        ears_ = jack_port_register(client_, "ears", JACK_DEFAULT_MIDI_TYPE, JackPortIsInput, 0);
        jack_set_process_callback(
            client_, [](jack_nframes_t frames, void* self) { return static_cast<Probe*>(self)->cycle(frames); }, this);
        jack_on_shutdown(
            client_,
            [](void*) {
                const char lost[] = "lost\n";
                if (::write(1, lost, sizeof lost - 1) < 0) ::_exit(4);
                ::_exit(3);
            },
            nullptr);
        jack_activate(client_);
    }
    bool runs() const { return client_ != nullptr; }

    void obey(const std::string& line)
    {
        std::istringstream words{line};
        std::string verb, one, other;
        std::getline(words, verb, ' ');
        if (verb == "connect" || verb == "disconnect") {
            std::getline(words, one, '\t');
            std::getline(words, other);
            const int result = verb == "connect" ? jack_connect(client_, one.c_str(), other.c_str())
                                                 : jack_disconnect(client_, one.c_str(), other.c_str());
            std::cout << (result == 0 ? "ok" : "no") << std::endl;
        } else if (verb == "send") {
            Event event;
            for (unsigned byte = 0; words >> std::hex >> byte && event.size < event.bytes.size();)
                event.bytes[event.size++] = static_cast<unsigned char>(byte);
            const bool fits = jack_ringbuffer_write_space(to_send_) >= sizeof event;
            if (fits) jack_ringbuffer_write(to_send_, reinterpret_cast<const char*>(&event), sizeof event);
            std::cout << (fits ? "ok" : "no") << std::endl;
        } else if (verb == "ports") {
            print_ports();
        } else if (verb == "heard") {
            listen();
            int held = 0;
            for (const auto& channel : held_)
                for (const int count : channel) held += count > 0 ? count : 0;
            std::cout << ons_.size() << ' ' << offs_ << ' ' << other_ << ' ' << held << std::endl;
        } else if (verb == "notes") {
            listen();
            for (const int key : ons_) std::cout << key << ' ';
            std::cout << std::endl;
        } else if (verb == "clear") {
            listen();
            ons_.clear();
            offs_ = other_ = 0;
            held_ = {};
            std::cout << "ok" << std::endl;
        } else {
            std::cout << "what?" << std::endl;
        }
    }
    void close() { jack_client_close(client_); }

private:
    int cycle(jack_nframes_t frames)
    {
        void* out = jack_port_get_buffer(keys_, frames);
        jack_midi_clear_buffer(out);
        Event event;
        // One after the other on frames of their own.
        for (jack_nframes_t frame = 0; frame < frames && jack_ringbuffer_read_space(to_send_) >= sizeof event; ++frame) {
            jack_ringbuffer_read(to_send_, reinterpret_cast<char*>(&event), sizeof event);
            jack_midi_event_write(out, frame, event.bytes.data(), event.size);
        }
        void* in = jack_port_get_buffer(ears_, frames);
        jack_midi_event_t heard;
        for (std::uint32_t i = 0; i < jack_midi_get_event_count(in); ++i) {
            if (jack_midi_event_get(&heard, in, i) != 0 || heard.size > event.bytes.size()) continue;
            event.size = static_cast<std::uint32_t>(heard.size);
            std::copy_n(heard.buffer, heard.size, event.bytes.begin());
            if (jack_ringbuffer_write_space(was_heard_) >= sizeof event)
                jack_ringbuffer_write(was_heard_, reinterpret_cast<const char*>(&event), sizeof event);
        }
        return 0;
    }
    void listen()
    {
        Event event;
        while (jack_ringbuffer_read_space(was_heard_) >= sizeof event) {
            jack_ringbuffer_read(was_heard_, reinterpret_cast<char*>(&event), sizeof event);
            const int kind = event.bytes[0] & 0xF0;
            int& held = held_[event.bytes[0] & 15U][event.bytes[1] & 127U];
            if (kind == 0x90 && event.bytes[2] > 0) {
                ons_.push_back(event.bytes[1]);
                ++held;
            } else if (kind == 0x80 || kind == 0x90) {
                ++offs_;
                --held;
            } else {
                ++other_;
            }
        }
    }
    void print_ports()
    {
        const char** names = jack_get_ports(client_, nullptr, JACK_DEFAULT_MIDI_TYPE, 0);
        for (const char** name = names; name != nullptr && *name != nullptr; ++name) std::cout << *name << '\t';
        std::cout << std::endl;
        if (names != nullptr) jack_free(names);
    }

    jack_client_t* client_;
    jack_ringbuffer_t* to_send_{nullptr};
    jack_ringbuffer_t* was_heard_{nullptr};
    jack_port_t* keys_{nullptr};
    jack_port_t* ears_{nullptr};
    std::vector<int> ons_;
    int offs_{0}, other_{0};
    std::array<std::array<int, 128>, 16> held_{};
};

} // namespace

int main(int count, char** words)
{
    Probe probe{count > 1 ? words[1] : "probe"};
    if (!probe.runs()) {
        std::cout << "no server" << std::endl;
        return 2;
    }
    std::cout << "ready" << std::endl;
    for (std::string line; std::getline(std::cin, line) && line != "quit";) probe.obey(line);
    probe.close();
    return 0;
}
