// A bell from any thread to one that sleeps in poll().
//   thread   ring: any.  Real-time safe: yes, one write that never blocks.  clear, descriptor: the sleeper.
//   Errors   std::system_error from the constructor when the system has no more descriptors.
#pragma once

#include <cstdint>
#include <system_error>

#include <cerrno>
#include <sys/eventfd.h>
#include <unistd.h>

namespace bowarm
{

class Wakeup
{
public:
    Wakeup() : descriptor_(::eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC))
    {
        if (descriptor_ < 0) throw std::system_error(errno, std::generic_category(), "eventfd");
    }
    ~Wakeup() { ::close(descriptor_); }
    Wakeup(const Wakeup&) = delete;
    Wakeup& operator=(const Wakeup&) = delete;

    void ring() noexcept
    {
        const std::uint64_t one = 1;
        // A full counter means that the bell is ringing already.
        [[maybe_unused]] const auto written = ::write(descriptor_, &one, sizeof one);
    }
    void clear() noexcept
    {
        std::uint64_t count = 0;
        [[maybe_unused]] const auto got = ::read(descriptor_, &count, sizeof count);
    }
    int descriptor() const noexcept { return descriptor_; }

private:
    int descriptor_;
};

} // namespace bowarm
