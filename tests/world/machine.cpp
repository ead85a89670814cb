#include "world/machine.hpp"

#include "player/random_playing.hpp"

#include <algorithm>
#include <array>
#include <bitset>
#include <cerrno>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <cxxabi.h>
#include <dlfcn.h>
#include <fcntl.h>
#include <map>
#include <memory>
#include <poll.h>
#include <pthread.h>
#include <queue>
#include <setjmp.h>
#include <sys/epoll.h>
#include <sys/eventfd.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <sys/timerfd.h>
#include <ucontext.h>
#include <unistd.h>
#include <utility>

namespace bowarm::world
{
namespace
{

constexpr std::size_t stack_bytes = 1U << 20;
constexpr int first_bell = 1 << 20; // descriptors from here on are bells and timers of ours
constexpr Ns a_look_at_the_clock = 20;

// The system's own function of that name.
template <class Function> Function* of_system(const char* name) { return reinterpret_cast<Function*>(::dlsym(RTLD_NEXT, name)); }

struct Fiber {
    ucontext_t beginning{};
    jmp_buf place{}; // where it goes on
    bool begun{false};
    std::function<void()> work;
    void* stack{nullptr};
    std::uint32_t turn{0}; // what was planned for an earlier one is void
    enum class State : std::uint8_t { ready, waiting, done } state{State::ready};
    bool woken{false};
    bool is_engine{false};
    int joiner{-1};
    int error{0};
    std::array<void*, 2> exceptions{}; // as __cxa_eh_globals
};

struct Bell {
    std::uint64_t count{0};
    Ns due{never}; // of a timer
    bool is_timer{false};
    int users{1};
    int waiter{-1};
    bool edge{false};
};

struct Registered {
    int descriptor{0};
    epoll_event event{};
};

struct Planned {
    Ns at{0};
    std::uint64_t order{0};
    int fiber{-1};          // -1: an event
    std::uint32_t which{0}; // turn of the fiber, or place of the event
    bool operator>(const Planned& other) const { return at != other.at ? at > other.at : order > other.order; }
};

struct Whole {
    test::Dice dice{1};
    Ns now{0}, wall_ahead{0}, frozen{0};
    std::uint64_t order{0}, steps{0};
    std::priority_queue<Planned, std::vector<Planned>, std::greater<>> plan;
    std::vector<std::unique_ptr<Fiber>> fibers;
    std::vector<void*> stacks; // of fibers that are over
    int current{-1};
    jmp_buf outside{};
    std::array<void*, 2> outside_exceptions{};
    std::vector<std::function<void()>> events;
    std::vector<std::uint32_t> free_events;
    std::vector<std::shared_ptr<Bell>> bells; // by descriptor, from first_bell on
    bool sockets_moved{true};                 // since they were asked
    std::map<int, std::vector<Registered>> epolls;
    int socket_waiter{-1};
    std::map<void*, std::vector<int>> conditions;
    std::bitset<4096> on_disk;
    std::string folder;
    Disk disk{Disk::fine};
    Gate disk_gate;
    bool stopping{false};
    bool planning{false}; // what is allocated now is ours
    std::string violation;
    std::function<void(int)> on_exit;
};

// What is asked of the system comes without a word of whose machine it is.
constinit Whole* the_whole = nullptr; // from start() on
Whole& whole() { return *the_whole; }
constinit bool is_simulated = false;
bool simulated() { return is_simulated; }
bool in_fiber() { return simulated() && whole().current >= 0; }
Fiber& current() { return *whole().fibers[static_cast<std::size_t>(whole().current)]; }

std::array<void*, 2>& exceptions_now() { return *reinterpret_cast<std::array<void*, 2>*>(abi::__cxa_get_globals()); }

Ns latency()
{
    Whole& w = whole();
    const std::uint64_t throw_ = w.dice.next();
    if ((throw_ & 2047U) == 0) return static_cast<Ns>(throw_ >> 20U & 0x3FFFFFU); // 4 ms at most
    return 2'000 + static_cast<Ns>(throw_ >> 20U & 0xFFFFU);
}

// Without the system calls of swapcontext(3), which would be most of what a turn costs.
[[gnu::noinline]] void jump(jmp_buf& from, jmp_buf& to)
{
    if (::_setjmp(from) == 0) ::_longjmp(to, 1);
}
[[gnu::noinline]] void jump(jmp_buf& from, const ucontext_t& to)
{
    if (::_setjmp(from) == 0) ::setcontext(&to);
}

void leave()
{
    Fiber& f = current();
    f.error = errno;
    f.exceptions = exceptions_now();
    jump(f.place, whole().outside);
    exceptions_now() = f.exceptions;
    errno = f.error;
}

void plan_fiber(int fiber, Ns when)
{
    Whole& w = whole();
    w.planning = true;
    w.plan.push({when, ++w.order, fiber, ++w.fibers[static_cast<std::size_t>(fiber)]->turn});
    w.planning = false;
}

// False: the time was over.
bool block(Ns until)
{
    Whole& w = whole();
    Fiber& f = current();
    f.state = Fiber::State::waiting;
    f.woken = false;
    if (until == never)
        ++f.turn;
    else
        plan_fiber(w.current, std::max(until, w.now) + latency());
    leave();
    return f.woken;
}

void wake(int fiber)
{
    if (fiber < 0) return;
    Whole& w = whole();
    Fiber& f = *w.fibers[static_cast<std::size_t>(fiber)];
    if (f.state != Fiber::State::waiting) return;
    f.state = Fiber::State::ready;
    f.woken = true;
    plan_fiber(fiber, w.now + latency());
}

void yield()
{
    Whole& w = whole();
    current().state = Fiber::State::ready;
    plan_fiber(w.current, w.now);
    leave();
}

void not_of_the_engine(const char* what)
{
    if (!in_fiber() || !current().is_engine || whole().planning) return;
    whole().planning = true;
    machine::violated(std::string{"the engine's thread "} + what);
    whole().planning = false;
}

void begin_fiber()
{
    Whole& w = whole();
    Fiber& f = current();
    f.work();
    f.is_engine = false;
    f.work = nullptr;
    f.state = Fiber::State::done;
    wake(f.joiner);
    w.stacks.push_back(f.stack);
    ::_longjmp(w.outside, 1);
}

int new_fiber(std::function<void()> work)
{
    Whole& w = whole();
    auto fiber = std::make_unique<Fiber>();
    fiber->work = std::move(work);
    if (w.stacks.empty()) {
        fiber->stack = ::mmap(nullptr, stack_bytes, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
    } else {
        fiber->stack = w.stacks.back();
        w.stacks.pop_back();
    }
    ::getcontext(&fiber->beginning);
    fiber->beginning.uc_stack.ss_sp = fiber->stack;
    fiber->beginning.uc_stack.ss_size = stack_bytes;
    fiber->beginning.uc_link = nullptr;
    ::makecontext(&fiber->beginning, begin_fiber, 0);
    w.fibers.push_back(std::move(fiber));
    const int number = static_cast<int>(w.fibers.size()) - 1;
    plan_fiber(number, w.now + latency());
    return number;
}

void turn_of(int fiber)
{
    Whole& w = whole();
    w.current = fiber;
    Fiber& f = current();
    f.state = Fiber::State::ready;
    w.outside_exceptions = exceptions_now();
    exceptions_now() = f.exceptions;
    if (std::exchange(f.begun, true))
        jump(w.outside, f.place);
    else
        jump(w.outside, f.beginning);
    w.current = -1;
    exceptions_now() = w.outside_exceptions;
}

// Bells

std::shared_ptr<Bell>& place_of_bell(int descriptor) { return whole().bells[static_cast<std::size_t>(descriptor - first_bell)]; }
Bell* bell_of(int descriptor) { return descriptor < first_bell ? nullptr : place_of_bell(descriptor).get(); }
int new_bell(std::shared_ptr<Bell> bell)
{
    Whole& w = whole();
    w.bells.push_back(std::move(bell));
    return first_bell + static_cast<int>(w.bells.size()) - 1;
}
bool readable(const Bell& bell) { return bell.is_timer ? bell.due <= whole().now : bell.count != 0; }
void changed(Bell& bell)
{
    bell.edge = true;
    wake(bell.waiter);
}

Ns deadline_of(int timeout_ms) { return timeout_ms < 0 ? never : whole().now + timeout_ms * ms; }

int poll_bells(pollfd* fds, nfds_t count, int timeout_ms)
{
    const Ns until = deadline_of(timeout_ms);
    while (true) {
        int ready = 0;
        Ns next = until;
        for (nfds_t i = 0; i < count; ++i) {
            Bell* bell = bell_of(fds[i].fd);
            fds[i].revents = bell != nullptr && readable(*bell) ? POLLIN : 0;
            if (fds[i].revents != 0) ++ready;
            if (bell != nullptr && bell->is_timer) next = std::min(next, bell->due);
        }
        if (ready != 0 || whole().now >= until) return ready;
        for (nfds_t i = 0; i < count; ++i)
            if (Bell* bell = bell_of(fds[i].fd)) bell->waiter = whole().current;
        block(next);
        for (nfds_t i = 0; i < count; ++i)
            if (Bell* bell = bell_of(fds[i].fd)) bell->waiter = -1;
    }
}

int wait_for_sockets(int epoll, epoll_event* events, int most, int timeout_ms)
{
    Whole& w = whole();
    static const auto real = of_system<int(int, epoll_event*, int, int)>("epoll_wait");
    const Ns until = deadline_of(timeout_ms);
    while (true) {
        int ready = 0;
        Ns next = until;
        for (Registered& one : w.epolls[epoll]) {
            Bell* bell = bell_of(one.descriptor);
            if (bell == nullptr) continue;
            const bool by_edge = (one.event.events & EPOLLET) != 0;
            if (bell->is_timer) next = std::min(next, bell->due <= w.now ? never : bell->due);
            if (!readable(*bell) || (by_edge && !bell->edge) || ready == most) continue;
            bell->edge = false;
            events[ready] = one.event;
            events[ready++].events = EPOLLIN;
        }
        // They move only by what is done to them.
        if (ready < most && std::exchange(w.sockets_moved, false)) ready += std::max(0, real(epoll, events + ready, most - ready, 0));
        if (ready == most) w.sockets_moved = true; // there may be more
        if (ready != 0 || w.now >= until) return ready;
        for (Registered& one : w.epolls[epoll])
            if (Bell* bell = bell_of(one.descriptor)) bell->waiter = w.current;
        w.socket_waiter = w.current;
        block(next);
        w.socket_waiter = -1;
        for (Registered& one : w.epolls[epoll])
            if (Bell* bell = bell_of(one.descriptor)) bell->waiter = -1;
    }
}

// The disk

bool on_disk(const char* path)
{
    return simulated() && !whole().folder.empty() && std::strncmp(path, whole().folder.c_str(), whole().folder.size()) == 0;
}
bool on_disk(int descriptor)
{
    return simulated() && descriptor >= 0 && static_cast<std::size_t>(descriptor) < whole().on_disk.size() &&
           whole().on_disk[static_cast<std::size_t>(descriptor)];
}

void ask_disk()
{
    not_of_the_engine("uses the disk");
    while (in_fiber() && whole().disk == Disk::stalled) machine::wait_at(whole().disk_gate);
}

template <class Write> ssize_t write_to_disk(std::size_t size, Write&& write)
{
    ask_disk();
    if (machine::lies.journal && in_fiber() && whole().dice.one_in(50)) return static_cast<ssize_t>(size);
    if (!in_fiber() || whole().disk != Disk::full) return write(size);
    if (size > 1 && whole().dice.one_in(2)) return write(size / 2);
    errno = ENOSPC;
    return -1;
}

} // namespace

namespace machine
{

Lies lies;

void start(std::uint64_t seed, Ns now, Ns wall, std::string disk_folder)
{
    the_whole = new Whole;
    Whole& w = whole();
    w.dice = test::Dice{seed};
    w.now = now;
    w.wall_ahead = wall - now;
    w.folder = std::move(disk_folder);
    ::pthread_atfork(nullptr, nullptr, [] { is_simulated = false; }); // a child has the real system
    is_simulated = true;
}
Ns now() { return whole().now; }
Ns wall() { return whole().now + whole().wall_ahead; }
void jump_wall(Ns by) { whole().wall_ahead += by; }
void at(Ns when, std::function<void()> what)
{
    Whole& w = whole();
    std::uint32_t place = 0;
    if (w.free_events.empty()) {
        place = static_cast<std::uint32_t>(w.events.size());
        w.events.push_back(std::move(what));
    } else {
        place = w.free_events.back();
        w.free_events.pop_back();
        w.events[place] = std::move(what);
    }
    w.plan.push({std::max(when, w.now), ++w.order, -1, place});
}
void spawn(std::function<void()> work) { new_fiber(std::move(work)); }

void run()
{
    Whole& w = whole();
    while (!w.stopping && !w.plan.empty()) {
        Planned next = w.plan.top();
        w.plan.pop();
        if (next.fiber >= 0 && w.fibers[static_cast<std::size_t>(next.fiber)]->turn != next.which) continue;
        if (next.fiber >= 0 && next.at < w.frozen) {
            next.at = w.frozen;
            w.plan.push(next);
            continue;
        }
        w.now = std::max(w.now, next.at);
        ++w.steps;
        if (next.fiber >= 0) {
            turn_of(next.fiber);
        } else {
            const std::function<void()> event = std::move(w.events[next.which]);
            w.free_events.push_back(next.which);
            event();
        }
    }
}
void stop() { whole().stopping = true; }
std::uint64_t steps() { return whole().steps; }
void freeze_until(Ns when) { whole().frozen = when; }

void wait_at(Gate& gate)
{
    if (gate.open) return;
    gate.waiting.push_back(whole().current);
    block(never);
}
void sleep(Ns time) { block(whole().now + time); }
void open(Gate& gate)
{
    gate.open = true;
    for (const int fiber : gate.waiting) wake(fiber);
    gate.waiting.clear();
}
void set_disk(Disk disk)
{
    Whole& w = whole();
    w.disk = disk;
    w.disk_gate.open = false;
    if (disk == Disk::fine || disk == Disk::full) open(w.disk_gate);
}
void asks_for_memory() { not_of_the_engine("asks for memory"); }
void touch_sockets()
{
    whole().sockets_moved = true;
    wake(whole().socket_waiter);
}
void on_exit(std::function<void(int)> told) { whole().on_exit = std::move(told); }

void violated(const std::string& what)
{
    Whole& w = whole();
    if (w.violation.empty()) w.violation = what;
    w.stopping = true;
}
const std::string& violation() { return whole().violation; }

} // namespace machine
} // namespace bowarm::world

using namespace bowarm::world;

// What the program asks of the system.  Outside of the simulation each is the system's own.

extern "C" {

int clock_gettime(clockid_t clock, timespec* time) noexcept
{
    static const auto real = of_system<int(clockid_t, timespec*)>("clock_gettime");
    if (!simulated() || (clock != CLOCK_MONOTONIC && clock != CLOCK_REALTIME && clock != CLOCK_REALTIME_COARSE)) return real(clock, time);
    if (in_fiber()) whole().now += a_look_at_the_clock;
    const Ns told = clock == CLOCK_MONOTONIC ? machine::now() : machine::wall();
    *time = {told / second, told % second};
    return 0;
}
std::time_t time(std::time_t* place) noexcept
{
    timespec now{};
    ::clock_gettime(CLOCK_REALTIME, &now);
    if (place != nullptr) *place = now.tv_sec;
    return now.tv_sec;
}
int nanosleep(const timespec* wait, timespec* left)
{
    static const auto real = of_system<int(const timespec*, timespec*)>("nanosleep");
    if (!in_fiber()) return real(wait, left);
    not_of_the_engine("sleeps");
    block(machine::now() + wait->tv_sec * second + wait->tv_nsec);
    return 0;
}

int pthread_create(pthread_t* thread, const pthread_attr_t* attributes, void* (*work)(void*), void* argument) noexcept
{
    static const auto real = of_system<int(pthread_t*, const pthread_attr_t*, void* (*)(void*), void*)>("pthread_create");
    if (!simulated()) return real(thread, attributes, work, argument);
    *thread = static_cast<pthread_t>(new_fiber([work, argument] { work(argument); }) + 1);
    return 0;
}
int pthread_join(pthread_t thread, void** result)
{
    static const auto real = of_system<int(pthread_t, void**)>("pthread_join");
    if (!in_fiber()) return real(thread, result);
    Fiber& other = *whole().fibers[static_cast<std::size_t>(thread - 1)];
    other.joiner = whole().current;
    while (other.state != Fiber::State::done) block(never);
    return 0;
}
int pthread_detach(pthread_t thread) noexcept
{
    static const auto real = of_system<int(pthread_t)>("pthread_detach");
    return simulated() ? 0 : real(thread);
}
// The engine alone asks for it.
int pthread_setschedparam(pthread_t thread, int policy, const sched_param* wanted) noexcept
{
    static const auto real = of_system<int(pthread_t, int, const sched_param*)>("pthread_setschedparam");
    if (!in_fiber()) return real(thread, policy, wanted);
    current().is_engine = true;
    return EPERM;
}
int mlockall(int flags) noexcept
{
    static const auto real = of_system<int(int)>("mlockall");
    if (!simulated()) return real(flags);
    errno = EPERM;
    return -1;
}

int pthread_mutex_lock(pthread_mutex_t* mutex) noexcept
{
    static const auto real = of_system<int(pthread_mutex_t*)>("pthread_mutex_lock");
    if (!in_fiber()) return real(mutex);
    not_of_the_engine("takes a lock");
    while (::pthread_mutex_trylock(mutex) != 0) yield();
    return 0;
}
int pthread_cond_wait(pthread_cond_t* condition, pthread_mutex_t* mutex)
{
    static const auto real = of_system<int(pthread_cond_t*, pthread_mutex_t*)>("pthread_cond_wait");
    if (!in_fiber()) return real(condition, mutex);
    not_of_the_engine("waits");
    whole().conditions[condition].push_back(whole().current);
    ::pthread_mutex_unlock(mutex);
    block(never);
    return ::pthread_mutex_lock(mutex);
}
int pthread_cond_clockwait(pthread_cond_t* condition, pthread_mutex_t* mutex, clockid_t clock, const timespec* until)
{
    static const auto real = of_system<int(pthread_cond_t*, pthread_mutex_t*, clockid_t, const timespec*)>("pthread_cond_clockwait");
    if (!in_fiber()) return real(condition, mutex, clock, until);
    not_of_the_engine("waits");
    whole().conditions[condition].push_back(whole().current);
    ::pthread_mutex_unlock(mutex);
    const Ns when = until->tv_sec * second + until->tv_nsec - (clock == CLOCK_REALTIME ? whole().wall_ahead : 0);
    const bool woken = block(when);
    if (!woken) std::erase(whole().conditions[condition], whole().current);
    ::pthread_mutex_lock(mutex);
    return woken ? 0 : ETIMEDOUT;
}
int pthread_cond_timedwait(pthread_cond_t* condition, pthread_mutex_t* mutex, const timespec* until)
{
    static const auto real = of_system<int(pthread_cond_t*, pthread_mutex_t*, const timespec*)>("pthread_cond_timedwait");
    return in_fiber() ? ::pthread_cond_clockwait(condition, mutex, CLOCK_REALTIME, until) : real(condition, mutex, until);
}
int pthread_cond_broadcast(pthread_cond_t* condition) noexcept
{
    static const auto real = of_system<int(pthread_cond_t*)>("pthread_cond_broadcast");
    if (!simulated()) return real(condition);
    const auto found = whole().conditions.find(condition);
    if (found == whole().conditions.end()) return 0;
    const std::vector<int> waiting = std::move(found->second);
    whole().conditions.erase(found);
    for (const int fiber : waiting) wake(fiber);
    return 0;
}
int pthread_cond_signal(pthread_cond_t* condition) noexcept
{
    static const auto real = of_system<int(pthread_cond_t*)>("pthread_cond_signal");
    if (!simulated()) return real(condition);
    const auto found = whole().conditions.find(condition);
    if (found == whole().conditions.end() || found->second.empty()) return 0;
    const int first = found->second.front();
    found->second.erase(found->second.begin());
    wake(first);
    return 0;
}
int pthread_cond_destroy(pthread_cond_t* condition) noexcept
{
    static const auto real = of_system<int(pthread_cond_t*)>("pthread_cond_destroy");
    if (!simulated()) return real(condition);
    whole().conditions.erase(condition);
    return 0;
}

int eventfd(unsigned int count, int flags) noexcept
{
    static const auto real = of_system<int(unsigned int, int)>("eventfd");
    if (!simulated()) return real(count, flags);
    auto bell = std::make_shared<Bell>();
    bell->count = count;
    return new_bell(std::move(bell));
}
int timerfd_create(clockid_t clock, int flags) noexcept
{
    static const auto real = of_system<int(clockid_t, int)>("timerfd_create");
    if (!simulated()) return real(clock, flags);
    auto bell = std::make_shared<Bell>();
    bell->is_timer = true;
    return new_bell(std::move(bell));
}
int timerfd_settime(int descriptor, int flags, const itimerspec* wanted, itimerspec* before) noexcept
{
    static const auto real = of_system<int(int, int, const itimerspec*, itimerspec*)>("timerfd_settime");
    Bell* bell = bell_of(descriptor);
    if (bell == nullptr) return real(descriptor, flags, wanted, before);
    const Ns when = wanted->it_value.tv_sec * second + wanted->it_value.tv_nsec;
    bell->due = when == 0 ? never : ((flags & TFD_TIMER_ABSTIME) != 0 ? when : machine::now() + when);
    changed(*bell);
    return 0;
}
int dup(int descriptor) noexcept
{
    static const auto real = of_system<int(int)>("dup");
    if (bell_of(descriptor) == nullptr) return real(descriptor);
    return new_bell(place_of_bell(descriptor));
}
int close(int descriptor)
{
    static const auto real = of_system<int(int)>("close");
    if (bell_of(descriptor) != nullptr) {
        place_of_bell(descriptor).reset();
        return 0;
    }
    if (on_disk(descriptor)) whole().on_disk.reset(static_cast<std::size_t>(descriptor));
    if (simulated()) whole().epolls.erase(descriptor);
    return real(descriptor);
}
int ioctl(int descriptor, unsigned long request, ...) noexcept
{
    static const auto real = of_system<int(int, unsigned long, void*)>("ioctl");
    std::va_list rest;
    va_start(rest, request);
    void* argument = va_arg(rest, void*);
    va_end(rest);
    return bell_of(descriptor) != nullptr ? 0 : real(descriptor, request, argument);
}
int poll(pollfd* fds, nfds_t count, int timeout_ms)
{
    static const auto real = of_system<int(pollfd*, nfds_t, int)>("poll");
    const bool ours = in_fiber() && count > 0 && std::all_of(fds, fds + count, [](const pollfd& one) { return one.fd >= first_bell; });
    return ours ? poll_bells(fds, count, timeout_ms) : real(fds, count, timeout_ms);
}
int epoll_ctl(int epoll, int what, int descriptor, epoll_event* event) noexcept
{
    static const auto real = of_system<int(int, int, int, epoll_event*)>("epoll_ctl");
    Bell* bell = bell_of(descriptor);
    if (bell == nullptr) {
        if (simulated()) whole().sockets_moved = true;
        return real(epoll, what, descriptor, event);
    }
    auto& all = whole().epolls[epoll];
    std::erase_if(all, [descriptor](const Registered& one) { return one.descriptor == descriptor; });
    if (what == EPOLL_CTL_DEL) return 0;
    all.push_back({descriptor, *event});
    changed(*bell);
    wake(whole().socket_waiter);
    return 0;
}
int epoll_wait(int epoll, epoll_event* events, int most, int timeout_ms)
{
    static const auto real = of_system<int(int, epoll_event*, int, int)>("epoll_wait");
    return in_fiber() ? wait_for_sockets(epoll, events, most, timeout_ms) : real(epoll, events, most, timeout_ms);
}

ssize_t read(int descriptor, void* bytes, std::size_t size)
{
    static const auto real = of_system<ssize_t(int, void*, std::size_t)>("read");
    Bell* bell = bell_of(descriptor);
    if (bell == nullptr) return real(descriptor, bytes, size);
    if (bell->is_timer) bell->count = bell->due <= machine::now() ? 1 : 0;
    if (bell->count == 0) {
        errno = EAGAIN;
        return -1;
    }
    std::memcpy(bytes, &bell->count, sizeof bell->count);
    bell->count = 0;
    if (bell->is_timer) bell->due = never;
    return sizeof bell->count;
}
ssize_t write(int descriptor, const void* bytes, std::size_t size)
{
    static const auto real = of_system<ssize_t(int, const void*, std::size_t)>("write");
    if (Bell* bell = bell_of(descriptor)) {
        std::uint64_t more = 0;
        std::memcpy(&more, bytes, sizeof more);
        bell->count += more;
        changed(*bell);
        // A thread may be stopped here as anywhere: then others run in between.
        if (in_fiber() && whole().dice.one_in(8)) yield();
        if (machine::lies.engine_waits && in_fiber() && current().is_engine) {
            static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
            ::pthread_mutex_lock(&lock);
            ::pthread_mutex_unlock(&lock);
        }
        return sizeof more;
    }
    if (!on_disk(descriptor)) return real(descriptor, bytes, size);
    return write_to_disk(size, [&](std::size_t most) { return real(descriptor, bytes, most); });
}
ssize_t pwrite(int descriptor, const void* bytes, std::size_t size, off_t where)
{
    static const auto real = of_system<ssize_t(int, const void*, std::size_t, off_t)>("pwrite");
    if (!on_disk(descriptor)) return real(descriptor, bytes, size, where);
    return write_to_disk(size, [&](std::size_t most) { return real(descriptor, bytes, most, where); });
}
int fdatasync(int descriptor)
{
    if (!on_disk(descriptor)) return 0;
    ask_disk();
    while (in_fiber() && whole().disk == Disk::slow_to_sync) machine::wait_at(whole().disk_gate);
    return 0; // what the system has, it keeps: nobody pulls the plug here
}
int fsync(int descriptor) { return ::fdatasync(descriptor); }
int open(const char* path, int flags, ...)
{
    static const auto real = of_system<int(const char*, int, ...)>("open");
    std::va_list rest;
    va_start(rest, flags);
    const mode_t mode = (flags & O_CREAT) != 0 ? va_arg(rest, mode_t) : 0;
    va_end(rest);
    if (!on_disk(path)) return real(path, flags, mode);
    ask_disk();
    const int descriptor = real(path, flags, mode);
    if (descriptor >= 0) whole().on_disk.set(static_cast<std::size_t>(descriptor));
    return descriptor;
}
int rename(const char* from, const char* to) noexcept
{
    static const auto real = of_system<int(const char*, const char*)>("rename");
    if (on_disk(from)) ask_disk();
    return real(from, to);
}

void _exit(int code)
{
    static const auto real = of_system<void(int)>("_exit");
    if (in_fiber() && whole().on_exit) {
        whole().on_exit(code);
        while (true) block(never);
    }
    real(code);
    __builtin_unreachable();
}
}
