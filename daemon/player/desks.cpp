#include "player/desks.hpp"

#include <algorithm>
#include <optional>

namespace bowarm
{
namespace
{

// Long enough for notes of one instant to meet, too short for anything else.
constexpr Duration an_instant{1};

// Says which desk it was; strokes of different desks get different numbers.
class FromDesk final : public Sink
{
public:
    FromDesk(Sink& to, std::size_t desk, std::size_t desks)
        : to_(to), desk_(static_cast<std::uint8_t>(desk)), desks_(static_cast<std::uint32_t>(desks))
    {
    }
    void bundle(Time at, std::span<const Message> messages) noexcept override { to_.bundle(at, messages); }
    void curve(Time at, Controller controller, int value) noexcept override { to_.curve(at, controller, value); }
    void fact(const Fact& fact) noexcept override
    {
        Fact of_desk = fact;
        of_desk.desk = desk_;
        if (fact.stroke != no_number) of_desk.stroke = fact.stroke * desks_ + desk_;
        to_.fact(of_desk);
    }
    void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept override
    {
        to_.decided(at, note, needs, direction, retake);
    }

private:
    Sink& to_;
    std::uint8_t desk_;
    std::uint32_t desks_;
};

PlayerConfig of_desk(const PlayerConfig& config, std::size_t desk)
{
    PlayerConfig c = config;
    if (config.desks == 1) return c;
    c.chord_hold = Seconds{0}; // the chord is awaited before it is shared
    c.delay = config.chord_hold < config.delay ? config.delay - config.chord_hold : Seconds{0};
    if (config.desk_channels) c.target.channel = Channel::of_status(static_cast<std::uint8_t>(config.target.channel.get() + desk));
    return c;
}

int interval(Midi7 a, Midi7 b) { return a.get() < b.get() ? b.get() - a.get() : a.get() - b.get(); }

// What may stand between the notes of a chord and be done before them.
bool may_go_before(const Input& input)
{
    const MessageKind kind = as_message(input).kind();
    return input.kind == InputKind::midi && kind != MessageKind::note_on && kind != MessageKind::note_off;
}

} // namespace

Desks::Desks(const PlayerConfig& config)
    : controls_(config.controls), chord_window_(config.chord_window), hold_(std::max(to_duration(config.chord_hold), an_instant)),
      own_channels_(config.desk_channels)
{
    const std::size_t desks = std::clamp<std::size_t>(config.desks, 1, desks_at_most);
    for (std::size_t d = 0; d < desks; ++d) engines_.push_back(std::make_unique<Engine>(of_desk(config, d)));
    desk_of_.fill(nobody);
}

void Desks::bow_by(const std::vector<PlannedStroke>& plan)
{
    for (auto& engine : engines_) engine->bow_by(plan);
}

void Desks::obey(const std::vector<WishedStroke>& wishes)
{
    for (auto& engine : engines_) engine->obey(wishes);
}

Desks::Concerns Desks::concerns(const Input& input) const noexcept
{
    const Message m = as_message(input);
    if (input.kind != InputKind::midi || m.size == 0 || !(m.is_note_on() || m.is_note_off())) return Concerns::all;
    if (controls_.channel && *controls_.channel != m.channel()) return Concerns::nobody;
    if (controls_.keys[m.first().get()].kind != ActionKind::none) return Concerns::all;
    return m.is_note_on() ? Concerns::key_down : Concerns::key_up;
}

// Silence, and news of the output.
bool Desks::cannot_wait(const Input& input) const noexcept
{
    if (input.kind == InputKind::command) {
        const auto command = static_cast<Command>(input.data[0]);
        return command == Command::panic || command == Command::target_unknown;
    }
    const Message m = as_message(input);
    return input.kind == InputKind::midi && m.is_note_on() && controls_.keys[m.first().get()].kind == ActionKind::panic;
}

void Desks::on(const Input& input, Sink& sink) noexcept
{
    if (alone()) {
        engines_[0]->on(input, sink);
        return;
    }
    Waiting next{input, notes_};
    if (input.kind == InputKind::midi && as_message(input).is_note_on()) ++notes_;
    if (!cannot_wait(input)) {
        if (waiting_.full()) release(input.at, sink);
        waiting_.push_back(next);
        return;
    }
    // Notes that have not begun never do; the rest of what waits is done first.
    for (Waiting& waited : waiting_) {
        waited.input.at = input.at;
        if (concerns(waited.input) != Concerns::key_down) apply(waited, sink);
    }
    waiting_.clear();
    apply(next, sink);
}

Time Desks::next_release() const noexcept { return waiting_.empty() ? Time::never() : waiting_[0].input.at + hold_; }

Time Desks::next_wake() const noexcept
{
    if (alone()) return engines_[0]->next_wake();
    Time next = next_release();
    for (const auto& engine : engines_) next = std::min(next, engine->next_wake());
    return next;
}

void Desks::wake(Sink& sink) noexcept
{
    if (alone()) {
        engines_[0]->wake(sink);
        return;
    }
    const Time due = next_wake();
    for (std::size_t d = 0; d < engines_.size(); ++d) {
        if (engines_[d]->next_wake() != due) continue;
        prepare(d);
        FromDesk from{sink, d, engines_.size()};
        engines_[d]->wake(from);
        return;
    }
    release(due, sink);
}

std::size_t Desks::through_chord() const noexcept
{
    std::size_t through = 1;
    for (std::size_t i = 1; i < waiting_.size(); ++i) {
        const Input& input = waiting_[i].input;
        if (to_seconds(input.at - waiting_[0].input.at) > chord_window_) break;
        if (concerns(input) == Concerns::key_down)
            through = i + 1;
        else if (!may_go_before(input))
            break;
    }
    return through;
}

void Desks::release(Time at, Sink& sink) noexcept
{
    const bool chord = concerns(waiting_[0].input) == Concerns::key_down;
    FixedVector<Waiting, chord_limit> notes;
    for (std::size_t left = chord ? through_chord() : 1; left > 0; --left) {
        Waiting next = waiting_[0];
        waiting_.erase_at(0);
        next.input.at = at;
        if (!chord || concerns(next.input) != Concerns::key_down || !notes.push_back(next)) apply(next, sink);
    }
    if (!notes.empty()) share(notes, sink);
}

// From the highest down; more notes than desks are double stops for some.
void Desks::share(FixedVector<Waiting, chord_limit>& notes, Sink& sink) noexcept
{
    if (notes.size() == 1) {
        apply(notes[0], sink);
        return;
    }
    const auto pitch = [](const Waiting& w) { return as_message(w.input).first(); };
    std::sort(notes.begin(), notes.end(), [&](const Waiting& a, const Waiting& b) { return pitch(b) < pitch(a); });
    begin_group(notes[0].input.at);
    std::size_t free = 0;
    for (std::size_t d = 0; d < engines_.size(); ++d) free += holds(d) ? 0 : 1;
    const bool beside_held = any_down() && free >= notes.size();
    const std::size_t parts = std::max(notes.size(), engines_.size());
    for (std::size_t i = 0; i < notes.size(); ++i) {
        if (beside_held || desk_for_key(pitch(notes[i])))
            apply(notes[i], sink);
        else
            tell(i * engines_.size() / parts, notes[i], sink);
    }
}

void Desks::begin_group(Time at) noexcept
{
    group_onset_ = at;
    in_group_ = {};
}

void Desks::apply(const Waiting& waiting, Sink& sink) noexcept
{
    const Midi7 pitch = as_message(waiting.input).first();
    switch (concerns(waiting.input)) {
    case Concerns::nobody:
        return;
    case Concerns::all:
        tell_all(waiting, sink);
        forget_keys(waiting.input);
        return;
    case Concerns::key_down: {
        const bool joins = any_down() && to_seconds(waiting.input.at - group_onset_) <= chord_window_;
        if (!joins) begin_group(waiting.input.at);
        tell(desk_for(pitch, joins), waiting, sink);
        return;
    }
    case Concerns::key_up: {
        const std::uint8_t desk = desk_of_[pitch.get()];
        if (desk == nobody) return;
        desk_of_[pitch.get()] = nobody;
        prepare(desk);
        FromDesk from{sink, desk, engines_.size()};
        engines_[desk]->on(waiting.input, from);
        if (!any_down()) forget_voices();
        return;
    }
    }
}

void Desks::tell(std::size_t desk, const Waiting& note, Sink& sink) noexcept
{
    const Midi7 pitch = as_message(note.input).first();
    desk_of_[pitch.get()] = static_cast<std::uint8_t>(desk);
    source_of_[pitch.get()] = note.input.source;
    voice_[desk] = pitch;
    in_group_[desk] = true;
    prepare(desk);
    engines_[desk]->count_from(note.note);
    FromDesk from{sink, desk, engines_.size()};
    engines_[desk]->on(note.input, from);
}

void Desks::tell_all(const Waiting& waiting, Sink& sink) noexcept
{
    for (std::size_t d = 0; d < engines_.size(); ++d) {
        prepare(d);
        engines_[d]->count_from(waiting.note);
        FromDesk from{sink, d, engines_.size()};
        engines_[d]->on(waiting.input, from);
    }
}

// On one channel the desks speak to one sampler: what one has selected holds for all, and the first that sounds sends the curves.
void Desks::prepare(std::size_t desk) noexcept
{
    if (!own_channels_) {
        std::size_t leader = 0;
        for (std::size_t d = engines_.size(); d > 0; --d)
            if (engines_[d - 1]->sounding()) leader = d - 1;
        if (last_ != desk) engines_[desk]->take_over(*engines_[last_]);
        engines_[desk]->lead(desk == leader);
    }
    last_ = desk;
}

bool Desks::holds(std::size_t desk) const noexcept { return std::find(desk_of_.begin(), desk_of_.end(), desk) != desk_of_.end(); }

bool Desks::any_down() const noexcept
{
    return std::any_of(desk_of_.begin(), desk_of_.end(), [](std::uint8_t desk) { return desk != nobody; });
}

// The desk that has to play it, since the key sounds there or may come back there: on one channel a key can sound once only, even where two
// notes are moved to it.
std::optional<std::size_t> Desks::desk_for_key(Midi7 pitch) const noexcept
{
    if (desk_of_[pitch.get()] != nobody) return desk_of_[pitch.get()];
    if (own_channels_) return std::nullopt;
    for (std::size_t d = 0; d < engines_.size(); ++d)
        if (engines_[d]->sounds_at(pitch)) return d;
    const auto key = engines_[0]->target_key(pitch);
    for (std::size_t held = 0; held < desk_of_.size(); ++held)
        if (desk_of_[held] != nobody && engines_[0]->target_key(Midi7::nearest(static_cast<int>(held))) == key) return desk_of_[held];
    return std::nullopt;
}

std::size_t Desks::desk_for(Midi7 pitch, bool joins) const noexcept
{
    if (const auto bound = desk_for_key(pitch)) return *bound;
    if (!any_down()) return 0;
    return joins ? free_desk(pitch) : nearest_voice(pitch);
}

// The first that is free and keeps the order, higher notes to earlier desks; else the first that is free.
std::size_t Desks::free_desk(Midi7 pitch) const noexcept
{
    std::size_t any = engines_.size();
    for (std::size_t d = 0; d < engines_.size(); ++d) {
        if (holds(d)) continue;
        if (any == engines_.size()) any = d;
        bool in_order = true;
        for (std::size_t key = 0; key < desk_of_.size(); ++key) {
            const std::uint8_t other = desk_of_[key];
            if (other != nobody) in_order = in_order && (other < d) == (pitch.get() < key);
        }
        if (in_order) return d;
    }
    return any < engines_.size() ? any : nearest_voice(pitch);
}

std::size_t Desks::nearest_voice(Midi7 pitch) const noexcept
{
    std::size_t best = 0;
    int least = 1'000;
    for (std::size_t d = 0; d < engines_.size(); ++d) {
        if (!voice_[d] || in_group_[d] || interval(*voice_[d], pitch) >= least) continue;
        least = interval(*voice_[d], pitch);
        best = d;
    }
    return best;
}

// Keys that went with their source, or in a panic.
void Desks::forget_keys(const Input& input) noexcept
{
    constexpr int first_mode_message = 120; // MIDI 1.0, channel mode; 121 and 122 end no notes
    const Message m = as_message(input);
    const bool mode = input.kind == InputKind::midi && m.kind() == MessageKind::control_change && m.first().get() >= first_mode_message &&
                      m.first().get() != 121 && m.first().get() != 122;
    const bool source_gone = mode || input.kind == InputKind::port_lost || input.kind == InputKind::gap;
    const bool all = cannot_wait(input);
    if (!all && !source_gone) return;
    for (std::size_t key = 0; key < desk_of_.size(); ++key)
        if (all || source_of_[key] == input.source) desk_of_[key] = nobody;
    if (!any_down()) forget_voices();
}

void Desks::forget_voices() noexcept { voice_ = {}; }

// The first desk that sounds stands for all; what is counted is counted together.
void Desks::read(Snapshot& snapshot) const noexcept
{
    std::size_t shown = 0;
    for (std::size_t d = engines_.size(); d > 0; --d)
        if (engines_[d - 1]->sounding()) shown = d - 1;
    engines_[shown]->read(snapshot);
    for (std::size_t d = 0; d < engines_.size(); ++d) {
        if (d == shown) continue;
        Snapshot other;
        engines_[d]->read(other);
        snapshot.at = std::max(snapshot.at, other.at);
        snapshot.sounding_notes = static_cast<std::uint8_t>(snapshot.sounding_notes + other.sounding_notes);
        snapshot.strokes += other.strokes;
        snapshot.notes += other.notes;
        snapshot.retakes += other.retakes;
        snapshot.forced_changes += other.forced_changes;
        snapshot.repairs += other.repairs;
        snapshot.unmended += other.unmended;
        snapshot.warnings += other.warnings;
    }
}

} // namespace bowarm
