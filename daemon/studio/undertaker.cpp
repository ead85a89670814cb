#include "studio/undertaker.hpp"

#include "midi/ports/monotonic.hpp"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>

namespace bowarm
{

struct Undertaker::Shared {
    explicit Shared(std::shared_ptr<Wakeup> b) : bell(std::move(b)) {}

    void work()
    {
        std::unique_lock lock{mutex};
        while (!waiting.empty()) {
            std::shared_ptr<void> thing = std::move(waiting.front());
            waiting.pop_front();
            since_ns = monotonic_ns();
            lock.unlock();
            thing.reset();
            lock.lock();
        }
        since_ns = 0;
        changed.notify_all();
        bell->ring();
    }

    const std::shared_ptr<Wakeup> bell;
    std::mutex mutex;
    std::condition_variable changed;
    std::deque<std::shared_ptr<void>> waiting;
    std::int64_t since_ns{0}; // when the present one was begun; 0: nobody works
};

Undertaker::Undertaker(std::shared_ptr<Wakeup> bell) : shared_(std::make_shared<Shared>(std::move(bell))) {}

void Undertaker::bury(std::shared_ptr<void> thing)
{
    if (!thing) return;
    const std::lock_guard lock{shared_->mutex};
    shared_->waiting.push_back(std::move(thing));
    if (shared_->since_ns != 0) return;
    shared_->since_ns = monotonic_ns();
    std::thread{[shared = shared_] { shared->work(); }}.detach();
}

Duration Undertaker::busy_for() const
{
    const std::lock_guard lock{shared_->mutex};
    return {shared_->since_ns == 0 ? 0 : std::max<std::int64_t>(1, monotonic_ns() - shared_->since_ns)};
}

bool Undertaker::done(Duration patience)
{
    std::unique_lock lock{shared_->mutex};
    return shared_->changed.wait_for(lock, std::chrono::nanoseconds{patience.ns}, [&] { return shared_->since_ns == 0; });
}

} // namespace bowarm
