// What single events of a workload (workload.hpp) are and cost; gate.py counts their instructions with valgrind.
//   events names              every workload
//   events play WORKLOAD      events, curve values, notes, and notes in the technique asked for
//   events time WORKLOAD      ns of the median event, of the 99th and 99.9th in a hundred, of the dearest, and which that is
//   events hash WORKLOAD      of every byte sent, with its time: the same in two builds that play the same
//   events tell WORKLOAD N    what the Nth event is, from 0
//   Times are the least of several performances, event by event: what else the machine does falls on other events each time.
#include "bench/workload.hpp"

#include <algorithm>
#include <bit>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string_view>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr int performances = 15;

std::vector<std::int64_t> least_times(const Workload& w)
{
    using Clock = std::chrono::steady_clock;
    std::vector<std::int64_t> least;
    for (int p = 0; p < performances; ++p) {
        Player player{w.config};
        Counting sink;
        std::size_t event = 0;
        for_each_event(w.inputs, player, sink, [&](Player& playing, const Input* input, Sink& s) {
            const auto before = Clock::now();
            const Time next = one_event(playing, input, s);
            const std::int64_t ns = std::chrono::nanoseconds(Clock::now() - before).count();
            if (event == least.size()) least.push_back(ns);
            least[event] = std::min(least[event], ns);
            ++event;
            return next;
        });
    }
    return least;
}

void time_events(const Workload& w)
{
    const std::vector<std::int64_t> times = least_times(w);
    const auto dearest = std::max_element(times.begin(), times.end()) - times.begin();
    std::vector<std::int64_t> sorted = times;
    std::sort(sorted.begin(), sorted.end());
    const auto at = [&](double share) {
        return static_cast<long long>(sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1))]);
    };
    std::printf("%lld %lld %lld %lld %td\n", at(0.5), at(0.99), at(0.999), at(1), dearest);
}

void play_once(const Workload& w)
{
    Player player{w.config};
    Counting sink{w.technique};
    const std::size_t events = play(w.inputs, player, sink);
    std::printf("%zu %zu %zu %zu\n", events, sink.values, sink.notes, sink.as_asked);
}

// FNV-1a (G. Fowler, L. C. Noll, K.-P. Vo), 64 bits.
class Hashing final : public Sink
{
public:
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        add(at.ns);
        for (const Message& m : messages)
            for (const std::uint8_t byte : m.bytes) add(byte);
    }
    void curve(Time at, Controller c, int value) noexcept override
    {
        for (const std::int64_t number : {at.ns, std::int64_t{c.channel.get()}, std::int64_t{c.number.get()}, std::int64_t{value}})
            add(number);
    }
    void fact(const Fact& f) noexcept override
    {
        for (const std::int64_t number : {f.at.ns, static_cast<std::int64_t>(f.kind), std::int64_t{f.note}, std::int64_t{f.stroke}})
            add(number);
        for (const double number : {f.hair_from.value, f.hair_to.value, f.motion.speed.value, f.motion.force.value, f.motion.share_outside,
                                    f.place.beat, f.place.confidence, f.number})
            add(std::bit_cast<std::int64_t>(number));
    }
    std::uint64_t hash{0xcbf29ce484222325};

private:
    void add(std::int64_t number) noexcept
    {
        for (int byte = 0; byte < 8; ++byte) hash = (hash ^ (static_cast<std::uint64_t>(number) >> 8 * byte & 0xFF)) * 0x100000001b3;
    }
};

void print_hash(const Workload& w)
{
    Player player{w.config};
    Hashing sink;
    play(w.inputs, player, sink);
    std::printf("%016llx\n", static_cast<unsigned long long>(sink.hash));
}

void tell(const Workload& w, std::size_t wanted)
{
    Player player{w.config};
    Counting sink;
    std::size_t event = 0;
    for_each_event(w.inputs, player, sink, [&](Player& playing, const Input* input, Sink& s) {
        if (event++ != wanted) return one_event(playing, input, s);
        const Time due = playing.next_wake();
        const Counting before = sink;
        const Time next = one_event(playing, input, s);
        if (input == nullptr)
            std::printf("a wake at %.3f s", to_seconds(due - Time{}).value);
        else
            std::printf("an input at %.3f s: kind %d, bytes %02x %02x %02x", to_seconds(input->at - Time{}).value,
                        static_cast<int>(input->kind), input->data[0], input->data[1], input->data[2]);
        std::printf("; %zu messages in bundles, %zu curve values, %zu notes begin\n", sink.messages - before.messages,
                    sink.values - before.values, sink.notes - before.notes);
        return next;
    });
}

} // namespace

int main(int argc, char** argv)
{
    const std::string_view what = argc > 1 ? argv[1] : "";
    if (what == "names") {
        for (const std::string& name : workload_names()) std::puts(name.c_str());
        return 0;
    }
    const std::optional<Workload> w = argc > 2 ? workload(argv[2]) : std::nullopt;
    if (w && what == "play") {
        play_once(*w);
    } else if (w && what == "hash") {
        print_hash(*w);
    } else if (w && what == "time") {
        time_events(*w);
    } else if (w && what == "tell" && argc == 4) {
        tell(*w, std::strtoul(argv[3], nullptr, 10));
    } else {
        std::fprintf(stderr, "usage: events names | play WORKLOAD | hash WORKLOAD | time WORKLOAD | tell WORKLOAD N\n");
        return 64;
    }
    return 0;
}
