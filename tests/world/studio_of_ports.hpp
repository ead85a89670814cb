// The MIDI system of the simulated studio: keyboards and samplers with their plugs, and a server that stalls and dies.
//   What is wrong with a port is asked for by the story; what a sampler hears is checked here.
//   thread   one.  Errors: machine::violated.
#pragma once

#include "midi/port.hpp"
#include "midi/ports/wakeup.hpp"
#include "world/machine.hpp"

#include <array>
#include <memory>
#include <set>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace bowarm::world
{

// What listens, and what sounds there.
struct Sampler {
    std::string name;
    bool plugged{true};
    Gate gate;           // closed: what is sent to it does not come back
    bool refuses{false}; // no credit
    std::array<std::array<int, 128>, 16> held{};
    std::array<std::array<bool, 128>, 16> switches{};     // keys that select, and may be held
    std::array<std::array<std::uint8_t, 4>, 16> pedals{}; // sustain, sostenuto, soft, hold 2
    std::uint64_t messages{0}, note_ons{0};
    Ns well_since{0};
    std::vector<Message> passed; // of the channel that only the sequencer uses

    void hear(const Message& message);
    void forget();
    std::string what_sounds(bool switches_too) const; // empty: nothing
    bool well() const { return plugged && gate.open && !refuses; }
};

struct Keyboard {
    std::string name;
    bool plugged{true};
};

// Lies of the ports, for the proof that the checks see them.
struct PortLies {
    int note_offs{0}; // one in so many is swallowed
    int passed{0};    // one in so many of the passed values is another
};

class Studio
{
public:
    static constexpr int passed_channel = 9; // nobody plays there but the sequencer

    std::vector<std::unique_ptr<Sampler>> samplers;
    std::vector<std::unique_ptr<Keyboard>> keyboards;
    PortLies lies;

    std::unique_ptr<MidiSystem> open_system(std::shared_ptr<Wakeup> bell);
    SystemState server() const { return server_; }
    void set_server(SystemState state);
    void plug(Keyboard& keyboard, bool in);
    void plug(Sampler& sampler, bool in);
    void block(Sampler& sampler, bool blocked);
    void refuse(Sampler& sampler, bool refuses);
    // What this sampler hears comes back by that keyboard's port, a little later.
    void lay_cable(const Sampler& from, std::size_t to) { cable_ = {&from, to, {}}; }
    // Keys that went down by it come up: a track that no longer monitors says so.
    void take_cable_away();
    bool has_cable() const { return cable_.from != nullptr; }
    // The bytes of one keyboard; while the server is stalled they wait.  False: nobody listens.
    bool play(std::size_t keyboard, std::span<const std::uint8_t> bytes);
    bool listened_to(std::size_t keyboard) const;
    bool connected(const Sampler& sampler) const;

private:
    friend class StudioSystem;
    friend class StudioInput;
    friend class StudioOutput;
    struct In {
        std::string own, peer;
        Receiver* receiver;
    };
    struct Out {
        std::string own, peer;
    };
    struct Cable {
        const Sampler* from{nullptr};
        std::size_t to{0};
        std::set<std::pair<std::uint8_t, int>> down; // status of their note-offs, and keys
    };
    void ring();
    void comes_back(const Sampler& from, const Message& message);
    void touched(Sampler& sampler) { sampler.well_since = machine::now(); }

    SystemState server_{SystemState::running};
    int generation_{0};                                                      // of the server
    Gate server_gate_;                                                       // closed while it is stalled
    std::vector<std::pair<std::size_t, std::vector<std::uint8_t>>> waiting_; // for a server that is stalled
    Cable cable_;
    std::vector<In> ins_;
    std::vector<Out> outs_;
    std::vector<std::weak_ptr<Wakeup>> bells_;
};

} // namespace bowarm::world
