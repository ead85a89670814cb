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
// How finely a take that no longer replays alike can say where; of many players less finely, so that journals stay small.
constexpr Duration between_checks = milliseconds(200);
constexpr std::int64_t players_checked_so_often = 8;
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
    : lines_(lines), song_(settings.players.size()), heard_(settings.players.size()),
      hands_(parts_of(settings.players), filters_of(settings.midi), settings.players.front().config.controls), lamps_(settings.lamps),
      lamps_output_(settings.lamps.output), timecode_(settings.tempo_map)
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
    if (input.kind == InputKind::midi) lines_.heard.push(as_message(input));
    if (input.kind != InputKind::midi || input.data[0] != quarter_frame) return on(input);
    if (hands_.hear(input) == 0) return; // not an input for time
    timecode_source_ = input.source;
    ToHands out{*this, timecode_source_};
    timecode_.hear(input.at, as_message(input), out);
}

void Ensemble::on(const Input& input) noexcept
{
    last_input_ = input.at;
    stop_hearing_by(input);
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
    if (input.kind == InputKind::midi && bowed_.hear(source, as_message(input))) {
        pass_on(players, input.at, as_message(input));
    } else {
        if (players != 0 && hands_.asks_for_panic(input))
            for (std::size_t i = 0; i < inputs_at_most; ++i) release(i, input.at);
        give_all(players, input);
    }
    if (players != 0) follow_song(input);
}

void Ensemble::follow_song(const Input& input) noexcept
{
    switch (song_.hear(input)) {
    case SongMoved::no:
        break;
    case SongMoved::reached_a_sixteenth:
        remember_place();
        break;
    case SongMoved::went_back:
        if (song_.is_known()) return_to_place(input.at);
        break;
    }
}

void Ensemble::remember_place() noexcept
{
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        Snapshot now;
        seats_[i]->player.read(now);
        PlayerThen then{seats_[i]->strokes.at(last_input_, now), {}, now.muted, now.alternating, now.bypassed};
        if (now.technique_chosen) then.technique = now.chosen;
        song_.keep(i, then);
    }
    song_.keep_pedals(hands_.pedals());
}

// By commands and pedals such as a person gives, so that the journal has them and a replay does the same.
void Ensemble::return_to_place(Time at) noexcept
{
    for (Input pedal : song_.pedals(hands_.pedals())) {
        pedal.at = at;
        give_all(hands_.hear(pedal), pedal);
    }
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        const PlayerThen then = song_.then(i);
        Snapshot now;
        seats_[i]->player.read(now);
        const auto command = [&](Command which, std::uint8_t argument = 0) { give(i, command_input(at, which, argument)); };
        if (then.muted != now.muted) command(then.muted ? Command::mute_on : Command::mute_off);
        if (then.alternating != now.alternating) command(then.alternating ? Command::alternate_on : Command::alternate_off);
        if (then.bypassed != now.bypassed) command(then.bypassed ? Command::bypass_on : Command::bypass_off);
        if (then.technique && (!now.technique_chosen || now.chosen != *then.technique))
            command(Command::select_technique, static_cast<std::uint8_t>(*then.technique));
        if (!then.technique && now.technique_chosen) command(Command::read_technique);
        if (then.bow) give(i, bow_at_input(at, then.bow->place, then.bow->direction, then.bow->string));
    }
}

void Ensemble::on_again(Input input) noexcept
{
    last_input_ = input.at;
    const std::size_t player = input.data[3];
    if (input.data[4] != hearing_) {
        // Where one hearing follows another, the arm returns to what was before the first.
        const std::optional<PlayerSet> bypassed = hearing_ != 0 ? std::optional{bypassed_before_} : std::nullopt;
        end_hearing(input.at);
        begin_hearing(input.data[4]);
        bypassed_before_ = bypassed.value_or(bypassed_before_);
    }
    if (input.kind == InputKind::gap) {
        end_hearing(input.at);
        std::uint8_t heard = input.data[4];
        lines_.hearing.compare_exchange_strong(heard, 0);
        return;
    }
    if (player >= seats_.size()) return;
    input.data[3] = input.data[4] = 0;
    heard_.saw(player, input);
    give_as_it_is(player, input);
}

void Ensemble::begin_hearing(std::uint8_t number) noexcept
{
    hearing_ = number;
    bypassed_before_ = 0;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        Snapshot now;
        seats_[i]->player.read(now);
        if (now.bypassed) bypassed_before_ |= only(i);
    }
}

// Keys and pedals come up, and everything is as it was before.
void Ensemble::end_hearing(Time at) noexcept
{
    if (hearing_ == 0) return;
    hearing_ = 0;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        heard_.let_go(i, [&](const Message& end) { give_as_it_is(i, midi_input(at, source_again, end)); });
        give_as_it_is(i, {at, source_again, InputKind::port_lost, {}});
        give(i, command_input(at, (bypassed_before_ & only(i)) != 0 ? Command::bypass_on : Command::bypass_off));
    }
    for (Input pedal : hands_.pedals()) {
        pedal.at = at;
        give_all(hands_.hear(pedal), pedal);
    }
}

void Ensemble::stop_hearing_by(const Input& input) noexcept
{
    if (hearing_ == 0 || !stops_a_hearing(input)) return;
    std::uint8_t heard = hearing_;
    lines_.hearing.compare_exchange_strong(heard, 0);
    lines_.hearing_stopped_by.store(input.at.ns, std::memory_order_release);
    end_hearing(input.at);
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

// What all hear alike is kept once for all of them.
void Ensemble::give_all(PlayerSet players, const Input& input) noexcept
{
    std::array<std::optional<Input>, players_at_most> heard;
    PlayerSet alike = 0;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        if ((players & only(i)) == 0) continue;
        heard[i] = hands_.as_heard(input, i);
        if (heard[i] && heard[i]->data == input.data) alike |= only(i);
    }
    if (alike != 0) keep(input, alike);
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        if (!heard[i]) continue;
        if ((alike & only(i)) == 0) keep(*heard[i], only(i));
        apply(i, *heard[i]);
    }
    find_next();
}

void Ensemble::give(std::size_t player, const Input& input) noexcept { give_all(only(player), input); }

void Ensemble::give_as_it_is(std::size_t player, const Input& input) noexcept
{
    keep(input, only(player));
    apply(player, input);
    find_next();
}

void Ensemble::keep(const Input& input, PlayerSet players) noexcept
{
    lines_.take.push(input, players);
    lines_.journal.push(input, players);
}

void Ensemble::apply(std::size_t player, const Input& input) noexcept
{
    Seat& seat = *seats_[player];
    seat.player.on(input, seat.sink);
    settle(seat);
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
        if ((outputs >> output & 1U) != 0) send(output, item);
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
    send(seat.output, item);
}

PlayerSet Ensemble::everybody() const noexcept { return seats_.size() == players_at_most ? ~PlayerSet{0} : only(seats_.size()) - 1; }

void Ensemble::tell_take(Time now) noexcept
{
    to_tell_ = everybody();
    tell_take_between_notes(now);
}

void Ensemble::tell_take_between_notes(Time now) noexcept
{
    if (to_tell_ == 0) return;
    PlayerSet silent = 0;
    for (std::size_t i = 0; i < seats_.size(); ++i)
        if ((to_tell_ & only(i)) != 0 && !sounds(i)) silent |= only(i);
    if (silent == 0) return;
    to_tell_ &= ~silent;
    give_all(silent, command_input(now, Command::target_unknown));
}

bool Ensemble::sounds(std::size_t player) const noexcept
{
    Snapshot snapshot;
    seats_[player]->player.read(snapshot);
    return snapshot.sounding;
}

bool Ensemble::between_strokes(Time now) const noexcept
{
    if (hands_.any_key_down() || now - last_input_ < rest_) return false;
    for (std::size_t i = 0; i < seats_.size(); ++i)
        if (sounds(i)) return false;
    return true;
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

void Ensemble::send(std::size_t output, const OutItem& item) noexcept
{
    push(output, item);
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
    if (now < tell_journal_again_) return;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
        Seat& seat = *seats_[i];
        if (seat.sent.now().count == seat.told_to_journal) continue;
        seat.told_to_journal = seat.sent.now().count;
        lines_.journal.push(seat.sent.now(), static_cast<std::uint8_t>(i));
        const auto players = static_cast<std::int64_t>(seats_.size());
        tell_journal_again_ = now + Duration{between_checks.ns * (1 + players / players_checked_so_often)};
    }
}

void Ensemble::begin_record(Time now) noexcept
{
    keep({now, source_service, InputKind::configured, {}}, everybody());
    for (std::size_t i = 0; i < seats_.size(); ++i)
        lines_.journal.push(OutputCheck{now, 0, 0}, static_cast<std::uint8_t>(i)); // counts begin anew
}

void Ensemble::ToLines::bundle(Time at, std::span<const Message> messages) noexcept
{
    house_.seats_[player_]->sent.bundle(at, messages);
    assert(messages.size() <= bundle_limit);
    OutItem item{at, static_cast<std::uint8_t>(std::min(messages.size(), bundle_limit)), {}, {}, 0};
    std::copy_n(messages.begin(), item.count, item.messages.begin());
    if (item.count == 0) return;
    house_.send(output_, item);
    house_.lines_.take.push(item, only(player_));
}

void Ensemble::ToLines::curve(Time at, Controller controller, int value) noexcept
{
    house_.seats_[player_]->sent.curve(at, controller, value);
    const OutItem item{at, 0, {}, controller, value};
    house_.send(output_, item);
    house_.lines_.take.push(item, only(player_));
}

void Ensemble::ToLines::fact(const Fact& fact) noexcept
{
    house_.seats_[player_]->strokes.saw(fact);
    house_.lines_.take.push(fact, only(player_));
    house_.lines_.facts.push({player_, fact});
}

void Ensemble::ToLines::decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept
{
    house_.lines_.take.push(Decision{at, note, needs, direction, retake}, only(player_));
}

std::unique_ptr<Ensemble> ensemble_of(const PlayerConfig& player, Lines& lines)
{
    Settings settings;
    settings.players.emplace_back().config = player;
    return std::make_unique<Ensemble>(settings, lines);
}

std::unique_ptr<Ensemble> ensemble_of(const Settings& settings, Lines& lines) { return std::make_unique<Ensemble>(settings, lines); }

} // namespace bowarm
