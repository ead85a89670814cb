#include "studio/live_engine.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

// A flood on one port may not keep the engine from its other work for ever.
constexpr int inputs_a_turn = 4096;
// As long as replay waits for a player to come to rest after the last input.
constexpr Duration rest_at_most = milliseconds(60'000);
// How long new players wait for the old ones to come to the end of their notes.
constexpr Duration exchange_at_most = milliseconds(2000);
// Many players would wake the thread for every value of every curve; together they are as well served a thousand times a second.
constexpr Duration between_turns = milliseconds(1);

} // namespace

LiveEngine::LiveEngine(std::unique_ptr<Ensemble> ensemble, std::span<const Input> script, Lines& lines)
    : ensemble_(std::move(ensemble)), lines_(lines), script_(script), scripted_(!script.empty()),
      script_end_(script.empty() ? Time{} : script.back().at)
{
    for (std::size_t i = 0; i < feeds_at_most; ++i) streams_[i] = {&lines.feeds[i].queue, &lines.feeds[i], {}};
    streams_[feeds_at_most] = {&lines.from_service, nullptr, {}};
    streams_[feeds_at_most + 1] = {&lines.from_ports, nullptr, {}};
    streams_[feeds_at_most + 2] = {&lines.from_take, nullptr, {}};
}

Time LiveEngine::turn(Time now) noexcept
{
    for (int i = 0; i < inputs_a_turn; ++i) {
        const Input* next = earliest();
        if (next == nullptr || next->at > now) break;
        const Input input = *next;
        const bool scripted = !script_.empty() && next == &script_.front();
        take_away(next);
        apply(input, !scripted);
    }
    const Input* next = earliest();
    if (next != nullptr && next->at <= now) {
        ensemble_->ring_senders();
        ensemble_->tell_journal(now);
        return now;
    }
    report_gaps(now);
    answer_senders(now);
    advance_to(now);
    ensemble_->tell_take_between_notes(last_);
    watch_the_end(now);
    const Time exchange = exchange_players(now);
    const Time told = std::min(ensemble_->publish(now), ensemble_->look_at_cuts(now));
    ensemble_->ring_senders();
    ensemble_->tell_journal(now);
    const Time due = std::min({ensemble_->next_wake(), next == nullptr ? Time::never() : next->at, exchange, told});
    return ensemble_->size() > 1 ? std::max(due, now + between_turns) : due;
}

// Of equal stamps the script comes first, then the ports in their order.
const Input* LiveEngine::earliest() noexcept
{
    const Input* first = script_.empty() ? nullptr : &script_.front();
    for (Stream& stream : streams_) {
        if (stream.head && is_of_no_hearing(*stream.head)) stream.head.reset();
        for (Input input; !stream.head && stream.queue->pop(input);)
            if (!is_of_no_hearing(input)) stream.head = input;
        if (stream.head && (first == nullptr || stream.head->at < first->at)) first = &*stream.head;
    }
    return first;
}

// Of a take that was stopped there may be more on the way.
bool LiveEngine::is_of_no_hearing(const Input& input) const noexcept
{
    return input.source == source_again && input.data[4] != lines_.hearing.load(std::memory_order_acquire);
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

void LiveEngine::apply(Input input, bool from_port) noexcept
{
    input.at = std::max(input.at, last_);
    advance_to(input.at);
    if (input.source == source_again)
        ensemble_->on_again(input);
    else
        from_port ? ensemble_->on_port(input) : ensemble_->on(input);
    last_ = input.at;
    lines_.counts.inputs.fetch_add(1, std::memory_order_relaxed);
}

// Remembers the time of the last wake.
void LiveEngine::advance_to(Time t) noexcept
{
    for (Time due = ensemble_->next_wake(); due <= t && due != Time::never(); due = ensemble_->next_wake()) {
        ensemble_->wake();
        last_ = std::max(last_, due);
    }
}

void LiveEngine::report_gaps(Time now) noexcept
{
    for (Stream& stream : streams_) {
        const std::uint64_t lost = stream.queue->take_lost();
        if (lost == 0) continue;
        lines_.counts.lost_inputs.fetch_add(lost, std::memory_order_relaxed);
        if (stream.feed != nullptr) apply({now, stream.feed->source(), InputKind::gap, {}}, false);
    }
}

void LiveEngine::answer_senders(Time now) noexcept
{
    for (OutQueue& out : lines_.outs) {
        if (!out.wants_state.load(std::memory_order_acquire) || !out.wants_state.exchange(false, std::memory_order_acq_rel)) continue;
        bring_to(now);
        ensemble_->tell_output(last_, out.output.load(std::memory_order_relaxed));
    }
    if (!lines_.wants_state.exchange(false, std::memory_order_acq_rel)) return;
    bring_to(now);
    ensemble_->tell_take(last_);
}

void LiveEngine::bring_to(Time now) noexcept
{
    advance_to(now);
    last_ = std::max(last_, now);
}

void LiveEngine::watch_the_end(Time now) noexcept
{
    if (!scripted_ || !script_.empty()) return;
    const bool at_rest = ensemble_->next_wake() == Time::never();
    if (!at_rest && now < script_end_ + rest_at_most) return;
    if (!at_rest) apply(command_input(now, Command::panic), false);
    scripted_ = false;
    lines_.counts.script_over.store(true, std::memory_order_release);
    lines_.service_wake.ring();
}

// Answers when to look again.
Time LiveEngine::exchange_players(Time now) noexcept
{
    if (lines_.offered.load(std::memory_order_acquire) == nullptr || lines_.retired.load(std::memory_order_acquire) != nullptr) {
        offered_at_.reset();
        return Time::never();
    }
    if (!offered_at_) offered_at_ = now;
    const Time latest = *offered_at_ + exchange_at_most;
    if (!ensemble_->between_strokes(now) && now < latest) return std::min(latest, now + milliseconds(20));
    bring_to(now);
    ensemble_->panic(last_);
    ensemble_->ring_senders();
    std::unique_ptr<Ensemble> next{lines_.offered.exchange(nullptr, std::memory_order_acq_rel)};
    if (next == nullptr) return Time::never(); // taken back at the last moment
    // Stamps apart, so that panic, beginning and pedals each fall to their own players when a take is played again.
    next->begin_record(last_ = last_ + Duration{1});
    next->take_up(*ensemble_, last_ = last_ + Duration{1});
    std::swap(next, ensemble_);
    lines_.retired.store(next.release(), std::memory_order_release);
    lines_.service_wake.ring();
    offered_at_.reset();
    return Time::never();
}

} // namespace bowarm
