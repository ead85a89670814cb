#include "studio/live_engine.hpp"

#include <algorithm>
#include <cassert>

namespace bowarm
{
namespace
{

// A flood on one port may not keep the engine from its other work for ever.
constexpr int inputs_a_turn = 4096;
// As long as replay waits for a player to come to rest after the last input.
constexpr Duration rest_at_most = milliseconds(60'000);
// How finely a take that no longer replays alike can say where.
constexpr Duration between_checks = milliseconds(200);

} // namespace

LiveEngine::LiveEngine(Player player, std::span<const Input> script, Lines& lines)
    : player_(std::move(player)), lines_(lines), sink_(lines), script_(script), scripted_(!script.empty()),
      script_end_(script.empty() ? Time{} : script.back().at)
{
    for (std::size_t i = 0; i < feeds_at_most; ++i) streams_[i] = {&lines.feeds[i].queue, &lines.feeds[i], {}};
    streams_[feeds_at_most] = {&lines.from_service, nullptr, {}};
    streams_[feeds_at_most + 1] = {&lines.from_ports, nullptr, {}};
}

Time LiveEngine::turn(Time now) noexcept
{
    for (int i = 0; i < inputs_a_turn; ++i) {
        const Input* next = earliest();
        if (next == nullptr || next->at > now) break;
        const Input input = *next;
        take_away(next);
        apply(input);
    }
    const Input* next = earliest();
    const bool more = next != nullptr && next->at <= now;
    if (!more) {
        report_gaps(now);
        answer_senders(now);
        advance_to(now);
        watch_the_end(now);
    }
    sink_.ring_senders();
    sink_.tell_journal(now);
    if (changed_) {
        Snapshot snapshot;
        player_.read(snapshot);
        lines_.snapshot.write(snapshot);
        changed_ = false;
    }
    if (more) return now;
    return next == nullptr ? player_.next_wake() : std::min(next->at, player_.next_wake());
}

// Of equal stamps the script comes first, then the ports in their order.
const Input* LiveEngine::earliest() noexcept
{
    const Input* first = script_.empty() ? nullptr : &script_.front();
    for (Stream& stream : streams_) {
        Input input;
        if (!stream.head && stream.queue->pop(input)) stream.head = input;
        if (stream.head && (first == nullptr || stream.head->at < first->at)) first = &*stream.head;
    }
    return first;
}

void LiveEngine::take_away(const Input* head) noexcept
{
    if (!script_.empty() && head == &script_.front()) {
        script_ = script_.subspan(1);
        return;
    }
    for (Stream& stream : streams_)
        if (stream.head && head == &*stream.head) stream.head.reset();
}

void LiveEngine::apply(Input input) noexcept
{
    input.at = std::max(input.at, last_);
    advance_to(input.at);
    lines_.take.push(input);
    lines_.journal.push(input);
    player_.on(input, sink_);
    last_ = input.at;
    changed_ = true;
    lines_.counts.inputs.fetch_add(1, std::memory_order_relaxed);
}

// The same as advance(), and remembers the time of the last wake.
void LiveEngine::advance_to(Time t) noexcept
{
    for (Time due = player_.next_wake(); due <= t && due != Time::never(); due = player_.next_wake()) {
        player_.wake(sink_);
        last_ = std::max(last_, due);
        changed_ = true;
    }
}

void LiveEngine::report_gaps(Time now) noexcept
{
    for (Stream& stream : streams_) {
        const std::uint64_t lost = stream.queue->take_lost();
        if (lost == 0) continue;
        lines_.counts.lost_inputs.fetch_add(lost, std::memory_order_relaxed);
        if (stream.feed != nullptr) apply({now, stream.feed->source(), InputKind::gap, {}});
    }
}

void LiveEngine::answer_senders(Time now) noexcept
{
    bool wanted = lines_.wants_state.exchange(false, std::memory_order_acq_rel);
    for (OutQueue& out : lines_.outs) wanted = out.wants_state.exchange(false, std::memory_order_acq_rel) || wanted;
    if (wanted) apply(command_input(now, Command::target_unknown));
}

void LiveEngine::watch_the_end(Time now) noexcept
{
    if (!scripted_ || !script_.empty()) return;
    const bool at_rest = player_.next_wake() == Time::never();
    if (!at_rest && now < script_end_ + rest_at_most) return;
    if (!at_rest) apply(command_input(now, Command::panic));
    scripted_ = false;
    lines_.counts.script_over.store(true, std::memory_order_release);
    lines_.service_wake.ring();
}

void LiveEngine::ToLines::bundle(Time at, std::span<const Message> messages) noexcept
{
    hash_.bundle(at, messages);
    assert(messages.size() <= bundle_limit);
    OutItem item{at, static_cast<std::uint8_t>(std::min(messages.size(), bundle_limit)), {}, {}, 0};
    std::copy_n(messages.begin(), item.count, item.messages.begin());
    if (item.count != 0) send(item);
}

void LiveEngine::ToLines::curve(Time at, Controller controller, int value) noexcept
{
    hash_.curve(at, controller, value);
    send({at, 0, {}, controller, value});
}

void LiveEngine::ToLines::fact(const Fact& fact) noexcept
{
    lines_.take.push(fact);
    lines_.facts.push(fact);
}

void LiveEngine::ToLines::decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept
{
    lines_.take.push(Decision{at, note, needs, direction, retake});
}

void LiveEngine::ToLines::send(const OutItem& item) noexcept
{
    for (OutQueue& out : lines_.outs) out.push(item);
    lines_.take.push(item);
    sent_ = true;
}

void LiveEngine::ToLines::tell_journal(Time now) noexcept
{
    if (hash_.now().count == told_ || now < tell_again_) return;
    told_ = hash_.now().count;
    tell_again_ = now + between_checks;
    lines_.journal.push(hash_.now());
}

void LiveEngine::ToLines::ring_senders() noexcept
{
    if (!sent_) return;
    sent_ = false;
    for (OutQueue& out : lines_.outs)
        if (out.in_use.load(std::memory_order_acquire)) out.wake.ring();
}

} // namespace bowarm
