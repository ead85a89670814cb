#include "hear/loop_watch.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr Duration note_comes_back_within = milliseconds(50);
constexpr Duration value_comes_back_within = milliseconds(200);
constexpr Duration evidence_within = milliseconds(500);
constexpr Duration quiet_before_trust = milliseconds(3000);
constexpr int evidence_enough = 8;

std::uint32_t bytes_of(const Message& m)
{
    return static_cast<std::uint32_t>(m.bytes[0]) << 16 | static_cast<std::uint32_t>(m.bytes[1]) << 8 | m.bytes[2];
}

// Knuth's multiplicative hash (The Art of Computer Programming 3, 6.4): 2^32 over the golden ratio.
std::size_t place_of(std::uint32_t bytes, std::size_t places) { return static_cast<std::size_t>(bytes * 2654435769U >> 16) % places; }

bool counts(const Message& m) { return m.is_note_on() || m.kind() == MessageKind::control_change; }

} // namespace

void LoopWatch::sent(Time at, const Message& message) noexcept
{
    if (!counts(message)) return;
    const std::uint32_t bytes = bytes_of(message);
    sent_[place_of(bytes, sent_places)] = {bytes, at};
}

bool LoopWatch::heard(Time at, std::size_t source, const Message& message) noexcept
{
    if (source >= inputs_at_most || !counts(message)) return false;
    const From from_whom = from(at, source, message);
    heard_place(bytes_of(message)).at[source] = at;
    Evidence& evidence = evidence_[source];
    if (from_whom == From::somebody && evidence.count > 0) --evidence.count;
    if (message.kind() == MessageKind::control_change) {
        Time& moved = moved_[source][message.first().get()];
        if (from_whom == From::somebody) moved = at;
        if (moved != Time{} && at - moved < evidence_within) return false;
    }
    if (from_whom != From::us) return false;
    if (evidence.count == 0 || at - evidence.first > evidence_within) evidence = {0, at, at};
    ++evidence.count;
    evidence.last = at;
    const bool is_new = evidence.count >= evidence_enough && !is_cut(source);
    if (is_new) cut_ |= 1U << source;
    return is_new;
}

LoopWatch::From LoopWatch::from(Time at, std::size_t source, const Message& message) noexcept
{
    const std::uint32_t bytes = bytes_of(message);
    Sent& sent = sent_[place_of(bytes, sent_places)];
    const Duration within = message.is_note_on() ? note_comes_back_within : value_comes_back_within;
    if (sent.bytes != bytes || at - sent.at > within) return From::somebody;
    Heard& heard = heard_place(bytes);
    for (std::size_t other = 0; other < inputs_at_most; ++other) {
        const bool lately = heard.at[other] != Time{} && at - heard.at[other] <= value_comes_back_within;
        if (!lately) continue;
        if (other == source && !message.is_note_on()) return From::unclear; // a pedal that trembles between two values
        if (other == source) continue;
        heard.at[other] = Time{}; // accounts for one copy of it
        return From::unclear;
    }
    sent = {};
    return From::us;
}

LoopWatch::Heard& LoopWatch::heard_place(std::uint32_t bytes) noexcept
{
    Heard& heard = heard_[place_of(bytes, heard_places)];
    if (heard.bytes != bytes) heard = {bytes, {}};
    return heard;
}

bool LoopWatch::look_again(Time now) noexcept
{
    const std::uint32_t before = cut_;
    for (std::size_t i = 0; i < inputs_at_most; ++i)
        if (now - evidence_[i].last >= quiet_before_trust) cut_ &= ~(1U << i);
    return cut_ != before;
}

Time LoopWatch::next_look() const noexcept
{
    Time next = Time::never();
    for (std::size_t i = 0; i < inputs_at_most; ++i)
        if (is_cut(i)) next = std::min(next, evidence_[i].last + quiet_before_trust);
    return next;
}

} // namespace bowarm
