#include "studio/undertaker.hpp"

#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>

namespace bowarm {

struct Undertaker::Shared {
    std::mutex mutex;
    std::condition_variable changed;
    int waiting{0};
};

Undertaker::Undertaker() : shared_(std::make_shared<Shared>()) {}

void Undertaker::bury(std::shared_ptr<void> thing)
{
    if (!thing) return;
    {
        const std::lock_guard lock{shared_->mutex};
        ++shared_->waiting;
    }
    std::thread{[shared = shared_, thing = std::move(thing)]() mutable {
        thing.reset();
        const std::lock_guard lock{shared->mutex};
        --shared->waiting;
        shared->changed.notify_all();
    }}.detach();
}

bool Undertaker::done(Duration patience)
{
    std::unique_lock lock{shared_->mutex};
    return shared_->changed.wait_for(lock, std::chrono::nanoseconds{patience.ns}, [&] { return shared_->waiting == 0; });
}

} // namespace bowarm
