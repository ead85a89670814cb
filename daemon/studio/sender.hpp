// One thread that owns one output port and sends what its queue brings.
//   It sends on the port's word only; what waits longer than half a second is stale and thrown away, the target is
//   silenced when it listens again, and the engine is asked for the whole state.
//   thread   make, finish, abandon, ended: any one thread at a time, none of them blocks.
//   Errors   a port that fails ends the thread; a send that sticks is seen by stuck() and given up by abandon().
#pragma once

#include "midi/port.hpp"
#include "studio/lines.hpp"
#include "studio/pending.hpp"
#include "studio/silence.hpp"
#include "target/fine.hpp"

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <thread>

namespace bowarm
{

class Sender : public std::enable_shared_from_this<Sender>
{
public:
    // The queue has no other sender.  `sounding` is what the last sender of this target left behind.
    // Resuming: the playing had begun, so old notes may still sound there and the target has to hear the state anew.
    // At the end the port is given to `let_go`, because its destruction may block.
    // Everything the thread touches is kept alive by `keep`: the thread may outlive an abandoned sender's owner.
    using LetGo = std::function<void(std::unique_ptr<OutputPort>)>;
    static std::shared_ptr<Sender> make(std::unique_ptr<OutputPort> port, OutQueue& queue, const Sounding& sounding, bool resuming,
                                        LetGo let_go, std::shared_ptr<void> keep);

    // Sends what waits, silences the target and lets the port go.
    void finish() noexcept;
    // It will not touch the queue again: given up, or finished.
    bool left_the_queue() const noexcept { return state_.load(std::memory_order_acquire) == State::gone; }
    bool abandoned() const noexcept { return abandoned_.load(std::memory_order_acquire); }
    bool failed() const noexcept { return failed_.load(std::memory_order_acquire); }
    // The thread has done all it has to do; the port is let go.
    bool ended() const noexcept { return ended_.load(std::memory_order_acquire); }
    // A send has not come back for a quarter of a second.
    bool stuck() const noexcept;
    // Gives up a stuck sender: it will not touch the queue again.  False when the send came back in time.
    bool abandon() noexcept;
    const std::string& real_name() const noexcept { return real_name_; }
    // What sounds at the target, and what a given-up send may bring yet; valid once the queue is free.
    Sounding sounding() const;

private:
    enum class State : std::uint8_t { idle, sending, gone };

    Sender(std::unique_ptr<OutputPort> port, OutQueue& queue, const Sounding& sounding, LetGo let_go);
    void run(bool resuming);
    void take_from_queue();
    void send_pending();
    bool send_item(const OutItem& item);
    bool send_message(const Message& message);
    void wait_for_work();
    void discard();
    void begin_holding();
    void silence();
    void end();

    std::unique_ptr<OutputPort> port_;
    LetGo let_go_;
    std::string real_name_;
    OutQueue& queue_;
    Sounding sounding_;
    FineHalves halves_;
    Pending pending_;
    Message under_way_;                // the last that was handed to the port
    std::int64_t refused_since_ns_{0}; // 0: the port takes what it gets
    bool holding_{false};              // everything that comes is thrown away until the port listens again
    std::atomic<State> state_{State::idle};
    std::atomic<std::int64_t> sending_since_ns_{0};
    std::atomic<bool> finishing_{false}, failed_{false}, ended_{false}, abandoned_{false};
};

} // namespace bowarm
