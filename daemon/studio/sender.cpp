#include "studio/sender.hpp"

#include "midi/ports/monotonic.hpp"
#include "studio/memory_lock.hpp"
#include "take/take.hpp"

#include <algorithm>
#include <chrono>
#include <poll.h>

namespace bowarm
{
namespace
{

constexpr std::int64_t stuck_after_ns = 250'000'000;
constexpr std::int64_t stale_after_ns = 500'000'000;
// How long the last messages may wait for the port at the end.
constexpr std::int64_t last_words_ns = 500'000'000;

} // namespace

Sender::Sender(std::unique_ptr<OutputPort> port, OutQueue& queue, const Sounding& sounding, LetGo let_go)
    : port_(std::move(port)), let_go_(std::move(let_go)), real_name_(port_->real_name()), queue_(queue), sounding_(sounding)
{
}

std::shared_ptr<Sender> Sender::make(std::unique_ptr<OutputPort> port, OutQueue& queue, const Sounding& sounding, bool resuming,
                                     LetGo let_go, std::shared_ptr<void> keep)
{
    lock_memory(queue.make_room());
    std::shared_ptr<Sender> sender{new Sender{std::move(port), queue, sounding, std::move(let_go)}};
    std::thread{[sender, resuming, keep = std::move(keep)] { sender->run(resuming); }}.detach();
    return sender;
}

void Sender::finish() noexcept
{
    finishing_.store(true, std::memory_order_release);
    queue_.wake.ring();
}

bool Sender::stuck() const noexcept
{
    return state_.load(std::memory_order_acquire) == State::sending &&
           monotonic_ns() - sending_since_ns_.load(std::memory_order_acquire) > stuck_after_ns;
}

bool Sender::abandon() noexcept
{
    State expected = State::sending;
    if (!state_.compare_exchange_strong(expected, State::gone, std::memory_order_acq_rel)) return false;
    abandoned_.store(true, std::memory_order_release);
    return true;
}

Sounding Sender::sounding() const
{
    Sounding left = sounding_;
    if (abandoned()) left.may_come(under_way_);
    return left;
}

void Sender::run(bool resuming)
{
    discard();
    queue_.overflowed.store(false, std::memory_order_release);
    queue_.in_use.store(true, std::memory_order_release);
    if (resuming) {
        silence();
        queue_.ask_for_state();
    }
    while (!failed() && !left_the_queue() && !finishing_.load(std::memory_order_acquire)) {
        wait_for_work();
        take_from_queue();
        send_pending();
    }
    end();
}

void Sender::wait_for_work()
{
    if (queue_.waiting() && !holding_ && refused_since_ns_ == 0) return;
    pollfd bell{queue_.wake.descriptor(), POLLIN, 0};
    // A port that refuses is asked again soon at first, then seldom.
    const bool refused_long = refused_since_ns_ != 0 && monotonic_ns() - refused_since_ns_ > 50'000'000;
    const int patience_ms = holding_ || refused_long ? 20 : (refused_since_ns_ != 0 ? 1 : -1);
    ::poll(&bell, 1, patience_ms);
    queue_.wake.clear();
}

void Sender::take_from_queue()
{
    if (queue_.overflowed.exchange(false, std::memory_order_acq_rel)) begin_holding();
    if (holding_) {
        discard();
        if (!port_->ready(1)) return;
        holding_ = false;
        silence();
        queue_.ask_for_state();
        return;
    }
    OutItem item;
    while (pending_.size() < 256 && queue_.pop(item)) pending_.add(item);
}

void Sender::send_pending()
{
    while (!pending_.empty() && !failed()) {
        if (!send_item(pending_.front())) {
            const std::int64_t now = monotonic_ns();
            if (refused_since_ns_ == 0) refused_since_ns_ = now;
            if (now - refused_since_ns_ > stale_after_ns) begin_holding();
            return;
        }
        if (left_the_queue()) return;
        refused_since_ns_ = 0;
        pending_.pop();
        take_from_queue();
    }
}

// A bundle goes out whole or not yet.
bool Sender::send_item(const OutItem& item)
{
    const std::size_t count = item.count == 0 ? 2 : item.count;
    if (!port_->ready(count)) return false;
    if (item.count == 0) {
        for (const Message& message : halves_.messages(item.controller, item.value)) send_message(message);
    } else {
        for (std::size_t i = 0; i < item.count; ++i) send_message(item.messages[i]);
    }
    return true;
}

bool Sender::send_message(const Message& message)
{
    if (failed() || left_the_queue() || !sounding_.is_wanted(message)) return true;
    under_way_ = message;
    sending_since_ns_.store(monotonic_ns(), std::memory_order_release);
    state_.store(State::sending, std::memory_order_release);
    const Sent answer = port_->send(message);
    State expected = State::sending;
    // Given up while the call was stuck: the queue, and what is known of the target, are no longer ours.
    if (!state_.compare_exchange_strong(expected, State::idle, std::memory_order_acq_rel)) {
        abandoned_.store(true, std::memory_order_release); // abandon() may be about to
        return true;
    }
    if (answer == Sent::failed) failed_.store(true, std::memory_order_release);
    if (answer != Sent::sent) return false;
    sounding_.sent(message);
    halves_.saw(message);
    queue_.sent.fetch_add(1, std::memory_order_relaxed);
    return true;
}

void Sender::discard()
{
    OutItem item;
    while (queue_.pop(item)) queue_.dropped.fetch_add(1, std::memory_order_relaxed);
    pending_.clear();
}

void Sender::begin_holding()
{
    holding_ = true;
    refused_since_ns_ = 0;
    queue_.dropped.fetch_add(pending_.size(), std::memory_order_relaxed);
    pending_.clear();
}

void Sender::silence()
{
    halves_.forget();
    const std::int64_t until = monotonic_ns() + last_words_ns;
    for (const Message& message : sounding_.sequence())
        while (!send_message(message)) {
            if (failed() || monotonic_ns() >= until) return;
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
        }
}

void Sender::end()
{
    if (!left_the_queue() && !port_->usable()) failed_.store(true, std::memory_order_release);
    if (!failed() && !left_the_queue()) {
        take_from_queue();
        const std::int64_t until = monotonic_ns() + last_words_ns;
        while (!pending_.empty() && monotonic_ns() < until && !failed() && !left_the_queue()) {
            send_pending();
            if (!pending_.empty()) std::this_thread::sleep_for(std::chrono::milliseconds(1));
        }
        silence();
    }
    if (!left_the_queue()) {
        queue_.in_use.store(false, std::memory_order_release);
        if (!failed()) port_->settle();
        state_.store(State::gone, std::memory_order_release);
    }
    let_go_(std::move(port_));
    ended_.store(true, std::memory_order_release);
}

} // namespace bowarm
