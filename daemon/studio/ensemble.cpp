#include "studio/ensemble.hpp"

#include "midi/controller_messages.hpp"
#include "player/delays.hpp"

#include <algorithm>
#include <cassert>

namespace bowarm
{
namespace
{

constexpr std::uint8_t quarter_frame = 0xF1; // MIDI 1.0, system common
constexpr Duration between_snapshots = milliseconds(10);
// How finely a take that no longer replays alike can say where.
constexpr Duration between_checks = milliseconds(200);
// Beyond the delay: a stroke that was let go of still ends.
constexpr Duration bow_comes_to_rest = milliseconds(100);

std::vector<Part> parts_of(std::span<const PlayerSettings> players)
{
    std::vector<Part> parts;
    for (const PlayerSettings& player : players) parts.push_back(player.part);
    return parts;
}

std::vector<InputFilter> filters_of(const MidiSettings& midi)
{
    std::vector<InputFilter> filters;
    for (const InputSettings& input : midi.inputs) filters.push_back(input.filter);
    return filters;
}

} // namespace

Ensemble::Ensemble(const Settings& settings, Lines& lines)
    : lines_(lines), hands_(parts_of(settings.players), filters_of(settings.midi), settings.players.front().config.controls),
      lamps_(settings.lamps), lamps_output_(settings.lamps.output), timecode_(settings.tempo_map)
{
    const std::vector<PlayerSettings>& players = settings.players;
    assert(!players.empty() && players.size() <= players_at_most);
    for (const OutputSettings& output : settings.midi.outputs) marked_outputs_.push_back(output.marked);
    marked_outputs_.resize(outs_at_most);
    for (const PlayerSettings& player : players) {
        seats_.push_back(std::make_unique<Seat>(Seat{Player{player.config}, ToLines{*this, seats_.size(), player.output}, player.output,
                                                     player.config.target.channel, Time::never()}));
        rest_ = std::max(rest_, delays_of(player.config).total() + bow_comes_to_rest);
        settle(*seats_.back());
    }
    find_next();
}

void Ensemble::on_port(const Input& input) noexcept
{
    if (is_cut(input)) return;
    if (input.kind != InputKind::midi || input.data[0] != quarter_frame) return on(input);
    if (hands_.hear(input) == 0) return; // not an input for time
    timecode_source_ = input.source;
    ToHands out{*this, timecode_source_};
    timecode_.hear(input.at, as_message(input), out);
}

void Ensemble::on(const Input& input) noexcept
{
    last_input_ = input.at;
    const std::size_t source = input.source.number;
    if (input.kind == InputKind::port_lost || input.kind == InputKind::gap) release(source, input.at);
    if (input.kind == InputKind::port_lost) bowed_.forget_marks(source);

    const std::size_t chosen = hands_.chosen();
    const PlayerSet players = hands_.hear(input);
    if (hands_.chosen() != chosen) {
        seats_[hands_.chosen()]->changed = true;
        for (Input pedal : hands_.pedals()) {
            pedal.at = input.at;
            give(hands_.chosen(), pedal);
        }
    }
    if (input.kind == InputKind::midi && bowed_.hear(source, as_message(input))) return pass_on(players, input.at, as_message(input));
    if (players != 0 && hands_.asks_for_panic(input))
        for (std::size_t i = 0; i < inputs_at_most; ++i) release(i, input.at);
    give_all(players, input);
}

// A cut input is heard by the watch alone.
bool Ensemble::is_cut(const Input& input) noexcept
{
    const std::size_t source = input.source.number;
    if (input.kind != InputKind::midi || source >= inputs_at_most) return false;
    const std::uint32_t by_hand = lines_.looped_inputs.load(std::memory_order_relaxed);
    if (loops_.heard(input.at, source, as_message(input))) {
        const Input gap{input.at, input.source, InputKind::gap, {}};
        release(source, input.at);
        give_all(hands_.hear(gap), gap);
        tell_cuts();
    }
    return loops_.is_cut(source) || (by_hand >> source & 1U) != 0;
}

void Ensemble::tell_cuts() noexcept
{
    lines_.counts.cut_inputs.store(loops_.cut(), std::memory_order_release);
    lines_.service_wake.ring();
}

void Ensemble::give_all(PlayerSet players, const Input& input) noexcept
{
    for (std::size_t i = 0; i < seats_.size(); ++i)
        if ((players & only(i)) != 0) give(i, input);
}

void Ensemble::give(std::size_t player, const Input& input) noexcept
{
    const auto heard = hands_.as_heard(input, player);
    if (!heard) return;
    Seat& seat = *seats_[player];
    if (player == 0) {
        lines_.take.push(*heard);
        lines_.journal.push(*heard);
    }
    seat.player.on(*heard, seat.sink);
    settle(seat);
    find_next();
}

// Once to each output, however many of the players there would have heard it.
void Ensemble::pass_on(PlayerSet players, Time at, const Message& message) noexcept
{
    std::uint32_t outputs = 0;
    for (std::size_t i = 0; i < seats_.size(); ++i)
        if ((players & only(i)) != 0) outputs |= 1U << seats_[i]->output;
    OutItem item{at, 1, {}, {}, 0};
    item.messages[0] = message;
    for (std::size_t output = 0; output < outs_at_most; ++output)
        if ((outputs >> output & 1U) != 0) send(output, false, item);
}

void Ensemble::release(std::size_t source, Time at) noexcept
{
    bowed_.release(
        source, [&](const Message& end) { pass_on(hands_.hear(midi_input(at, Source{static_cast<std::uint8_t>(source)}, end)), at, end); });
}

void Ensemble::wake() noexcept
{
    if (timecode_.next_wake() < next_) {
        ToHands out{*this, timecode_source_};
        return timecode_.wake(out);
    }
    for (const auto& seat : seats_) {
        if (seat->next != next_) continue;
        seat->player.wake(seat->sink);
        settle(*seat);
        break;
    }
    find_next();
}

void Ensemble::settle(Seat& seat) noexcept
{
    seat.next = seat.player.next_wake();
    seat.changed = true;
}

void Ensemble::find_next() noexcept
{
    next_ = Time::never();
    for (const auto& seat : seats_) next_ = std::min(next_, seat->next);
}

void Ensemble::tell_output(Time now, std::size_t output) noexcept
{
    if (output == lamps_output_) lamps_.forget();
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        if (seats_[i]->output != output) continue;
        mark(*seats_[i], now);
        give(i, command_input(now, Command::target_unknown));
    }
}

void Ensemble::mark(const Seat& seat, Time now) noexcept
{
    if (!marked_outputs_[seat.output]) return;
    OutItem item{now, 1, {}, {}, 0};
    item.messages[0] = bowed_mark(seat.channel);
    send(seat.output, false, item);
}

void Ensemble::tell_take(Time now) noexcept { give(0, command_input(now, Command::target_unknown)); }

bool Ensemble::between_strokes(Time now) const noexcept
{
    if (hands_.any_key_down() || now - last_input_ < rest_) return false;
    return std::none_of(seats_.begin(), seats_.end(), [](const auto& seat) {
        Snapshot snapshot;
        seat->player.read(snapshot);
        return snapshot.sounding;
    });
}

void Ensemble::panic(Time now) noexcept { on(command_input(now, Command::panic)); }

void Ensemble::take_up(const Ensemble& before, Time now) noexcept
{
    hands_.take_up(before.hands_);
    loops_.take_up(before.loops_);
    last_input_ = now;
    for (Input pedal : hands_.pedals()) {
        pedal.at = now;
        give_all(hands_.hear(pedal), pedal);
    }
}

Time Ensemble::look_at_cuts(Time now) noexcept
{
    if (loops_.cut() == 0) return Time::never();
    if (loops_.look_again(now)) tell_cuts();
    return loops_.next_look();
}

Time Ensemble::publish(Time now) noexcept
{
    const bool any = std::any_of(seats_.begin(), seats_.end(), [](const auto& seat) { return seat->changed; });
    if (!any) return Time::never();
    if (published_ != Time{} && now < published_ + between_snapshots) return published_ + between_snapshots;
    published_ = now;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        if (!seats_[i]->changed) continue;
        seats_[i]->changed = false;
        Snapshot snapshot;
        seats_[i]->player.read(snapshot);
        lines_.snapshots[i].write(snapshot);
        if (i == hands_.chosen()) show_lamps(now, snapshot);
    }
    lines_.counts.under_hands.store(static_cast<int>(hands_.chosen()), std::memory_order_relaxed);
    return Time::never();
}

void Ensemble::send(std::size_t output, bool kept, const OutItem& item) noexcept
{
    push(output, item);
    if (kept) lines_.take.push(item);
    for (std::size_t i = 0; i < item.count; ++i) loops_.sent(item.at, item.messages[i]);
    if (item.count == 0)
        for (const Message& message : curve_messages(item.controller, item.value)) loops_.sent(item.at, message);
}

void Ensemble::push(std::size_t output, const OutItem& item) noexcept
{
    for (OutQueue& out : lines_.outs)
        if (out.output.load(std::memory_order_relaxed) == output) out.push(item);
    sent_ = true;
}

// Past the watch for loops: a motor fader says back where it was told to go.
void Ensemble::show_lamps(Time now, const Snapshot& snapshot) noexcept
{
    if (!lamps_output_) return;
    OutItem item{now, 0, {}, {}, 0};
    for (const Message& message : lamps_.show(snapshot)) item.messages[item.count++] = message;
    if (item.count != 0) push(*lamps_output_, item);
}

void Ensemble::ring_senders() noexcept
{
    if (!sent_) return;
    sent_ = false;
    for (OutQueue& out : lines_.outs)
        if (out.in_use.load(std::memory_order_acquire) && out.waiting()) out.wake.ring();
}

void Ensemble::tell_journal(Time now) noexcept
{
    if (hash_.now().count == told_to_journal_ || now < tell_journal_again_) return;
    told_to_journal_ = hash_.now().count;
    tell_journal_again_ = now + between_checks;
    lines_.journal.push(hash_.now());
}

void Ensemble::begin_record(Time now) noexcept
{
    const Input begins{now, source_service, InputKind::configured, {}};
    lines_.take.push(begins);
    lines_.journal.push(begins);
    lines_.journal.push(OutputCheck{now, 0, 0}); // counts begin anew
}

void Ensemble::ToLines::bundle(Time at, std::span<const Message> messages) noexcept
{
    if (is_kept()) house_.hash_.bundle(at, messages);
    assert(messages.size() <= bundle_limit);
    OutItem item{at, static_cast<std::uint8_t>(std::min(messages.size(), bundle_limit)), {}, {}, 0};
    std::copy_n(messages.begin(), item.count, item.messages.begin());
    if (item.count != 0) house_.send(output_, is_kept(), item);
}

void Ensemble::ToLines::curve(Time at, Controller controller, int value) noexcept
{
    if (is_kept()) house_.hash_.curve(at, controller, value);
    house_.send(output_, is_kept(), {at, 0, {}, controller, value});
}

void Ensemble::ToLines::fact(const Fact& fact) noexcept
{
    if (is_kept()) house_.lines_.take.push(fact);
    house_.lines_.facts.push({player_, fact});
}

void Ensemble::ToLines::decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept
{
    if (is_kept()) house_.lines_.take.push(Decision{at, note, needs, direction, retake});
}

std::unique_ptr<Ensemble> ensemble_of(const PlayerConfig& player, Lines& lines)
{
    Settings settings;
    settings.players.emplace_back().config = player;
    return std::make_unique<Ensemble>(settings, lines);
}

std::unique_ptr<Ensemble> ensemble_of(const Settings& settings, Lines& lines) { return std::make_unique<Ensemble>(settings, lines); }

} // namespace bowarm
