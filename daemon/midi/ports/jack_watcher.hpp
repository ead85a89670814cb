// A JACK client of our own, without ports, that sees what RtMidi does not tell: whether the server lives, whether it moves,
// which ports there are and what is connected to them.
//   thread   open and the destructor block for as long as the server does; lost, cycles, stalled: any thread, never block.
//   Errors   open answers empty when no server is there.
//   source   jack/jack.h: the shutdown callback may only set a flag, and the client is to be closed on another thread.
#pragma once

#include "base/time.hpp"
#include "midi/ports/wakeup.hpp"

#include <jack/jack.h>

#include <atomic>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace bowarm
{

class JackWatcher
{
public:
    // Never starts a server.  The bell rings when ports come, go or are connected, and when the server goes.
    static std::shared_ptr<JackWatcher> open(const std::string& client, std::shared_ptr<Wakeup> bell);
    ~JackWatcher();
    JackWatcher(const JackWatcher&) = delete;
    JackWatcher& operator=(const JackWatcher&) = delete;

    bool lost() const noexcept { return lost_.load(std::memory_order_acquire); }
    std::uint64_t cycles() const noexcept { return cycles_.load(std::memory_order_acquire); }
    Duration period() const noexcept;
    // No cycle for two seconds or twenty periods, whichever is more.
    bool stalled() const noexcept;

    // Names of all MIDI ports of a direction, seen from their owner: an output is what can be listened to.
    enum class Ports : std::uint8_t { outputs, inputs };
    std::vector<std::string> ports(Ports which) const;
    std::vector<std::string> connections(const std::string& port) const;
    bool connect(const std::string& output, const std::string& input) const;
    static std::string version();

private:
    explicit JackWatcher(std::shared_ptr<Wakeup> bell);
    bool start(const std::string& client);
    static int on_cycle(jack_nframes_t frames, void* self) noexcept;

    std::shared_ptr<Wakeup> bell_;
    jack_client_t* client_{nullptr};
    std::atomic<bool> lost_{false};
    std::atomic<std::uint64_t> cycles_{0};
    std::atomic<std::int64_t> last_cycle_ns_{0}; // CLOCK_MONOTONIC
    std::atomic<std::uint32_t> frames_{0};
    std::uint32_t rate_{48000};
};

} // namespace bowarm
