#include "status/broadcast.hpp"

#include <algorithm>
#include <utility>

namespace bowarm
{

namespace
{

using namespace std::chrono_literals;

constexpr auto facts_every = 20ms;
constexpr auto states_every = 250ms;
constexpr int facts_a_look = 4096; // so that a flood cannot keep the service

// On a grid of its period, so that clients of one rate are due together.
std::chrono::steady_clock::time_point next_due(double rate, std::chrono::steady_clock::time_point now)
{
    const auto period = std::chrono::nanoseconds{static_cast<std::int64_t>(1e9 / rate)};
    return now + period - now.time_since_epoch() % period;
}

} // namespace

void Broadcast::join(Listener& listener)
{
    leave(listener);
    const auto now = Clock::now();
    places_.push_back({&listener, listener.subscription().rate ? now : Clock::time_point::max()});
    plan();
}

void Broadcast::leave(Listener& listener)
{
    std::erase_if(places_, [&](const Place& place) { return place.listener == &listener; });
    plan();
}

void Broadcast::close()
{
    places_.clear();
    plan();
    closed_ = true;
}

bool Broadcast::anybody_wants_events() const
{
    return std::ranges::any_of(places_, [](const Place& place) { return !place.listener->subscription().events.none(); });
}

void Broadcast::plan()
{
    const bool wanted = anybody_wants_events();
    if (wanted != facts_wanted_) {
        facts_wanted_ = wanted;
        source_.want_facts(wanted);
        facts_ = {};
        states_ = {};
        look_at_facts_ = wanted ? Clock::now() : Clock::time_point::max();
        look_at_states_ = {};
    }
    auto next = look_at_facts_;
    for (const Place& place : places_) next = std::min(next, place.due);
    timer_.cancel();
    if (next == Clock::time_point::max()) return;
    timer_.expires_at(next);
    timer_.async_wait([self = shared_from_this()](const boost::system::error_code& cancelled) {
        if (!cancelled && !self->closed_) self->tick();
    });
}

void Broadcast::tick()
{
    const auto now = Clock::now();
    if (look_at_facts_ <= now) tell_events(now);
    tell_snapshots(now);
    plan();
}

void Broadcast::tell_snapshots(Clock::time_point now)
{
    lines_.clear();
    for (Place& place : places_) {
        if (place.due > now) continue;
        const Subscription& wish = place.listener->subscription();
        place.due = next_due(*wish.rate, now);
        // There may be fewer players than when it subscribed.
        if (wish.player < source_.player_count())
            place.listener->snapshot_due([&](std::uint64_t missed) { return line_for(wish.player, missed); });
    }
}

std::string Broadcast::line_for(std::size_t player, std::uint64_t missed)
{
    if (missed != 0) return snapshot_line(source_, player, missed);
    const auto found = std::ranges::find(lines_, player, &std::pair<std::size_t, std::string>::first);
    if (found != lines_.end()) return found->second;
    return lines_.emplace_back(player, snapshot_line(source_, player, 0)).second;
}

void Broadcast::tell_events(Clock::time_point now)
{
    look_at_facts_ = now + facts_every;
    PlayerFact fact;
    for (int i = 0; i < facts_a_look && source_.next_fact(fact); ++i) tell(facts_.read(fact));
    // What found no room is newer than what was kept.
    if (const std::uint64_t lost = source_.take_lost_facts())
        for (const Place& place : places_) place.listener->events_lost(lost);
    if (now < look_at_states_) return;
    look_at_states_ = now + states_every;
    tell(states_.read(source_));
}

void Broadcast::tell(const std::vector<Event>& events)
{
    for (const Event& event : events)
        for (const Place& place : places_)
            if (place.listener->subscription().events.has(event.kind)) place.listener->event_happened(event);
}

} // namespace bowarm
