#include "player/wire.hpp"

#include "midi/controller_messages.hpp"
#include "target/selection.hpp"

namespace bowarm
{
namespace
{

// A value goes behind the bundles of its instant, which are known when logical time has moved on.
constexpr Duration moment{1};

bool carries(const Message& m, const Controller& c) noexcept
{
    if (m.channel() != c.channel) return false;
    switch (c.kind) {
    case ControllerKind::control_change:
    case ControllerKind::control_change_14:
        return m.kind() == MessageKind::control_change && m.first() == c.number;
    case ControllerKind::channel_pressure:
        return m.kind() == MessageKind::channel_pressure;
    case ControllerKind::pitch_bend:
        return m.kind() == MessageKind::pitch_bend;
    }
    return false;
}

int bytes_of(const Controller& c) noexcept
{
    return c.kind == ControllerKind::control_change_14 ? 6 : (c.kind == ControllerKind::channel_pressure ? 2 : 3);
}

// Switches, data entry and parameter numbers mean something by their order (MIDI 1.0 Detailed Specification 4.2.1).
constexpr bool continuous(int controller)
{
    const bool bank_or_data = controller == 0 || controller == 6 || controller == 32 || controller == 38;
    const bool is_switch = 64 <= controller && controller <= 69;
    const bool parameter_or_mode = (96 <= controller && controller <= 101) || controller >= 120;
    return !bank_or_data && !is_switch && !parameter_or_mode;
}

} // namespace

bool Wire::Value::same(const Value& other) const noexcept
{
    if (controller || other.controller) return controller == other.controller;
    const bool numbered = message.kind() == MessageKind::control_change || message.kind() == MessageKind::key_pressure;
    return message.bytes[0] == other.message.bytes[0] && (!numbered || message.bytes[1] == other.message.bytes[1]);
}

int Wire::Value::bytes() const noexcept { return controller ? bytes_of(*controller) : message.size; }

Wire::Wire(const TargetSpec& target, int players) : budget_(players), switches_(target), waiting_(bundles_at_most) {}

bool Wire::is_value(std::span<const Message> messages) const noexcept
{
    if (messages.size() != 1) return false;
    switch (messages[0].kind()) {
    case MessageKind::pitch_bend:
    case MessageKind::channel_pressure:
    case MessageKind::key_pressure:
        return true;
    case MessageKind::control_change:
        return continuous(messages[0].first().get()) && !switches_.controller(messages[0].first());
    default:
        return false;
    }
}

// False: no room for another.
bool Wire::keep(const Value& value) noexcept
{
    for (Value& old : values_) {
        if (!old.same(value)) continue;
        old = value; // in the old one's place
        return true;
    }
    return values_.push_back(value);
}

void Wire::bundle(Time at, std::span<const Message> messages, Sink& sink) noexcept
{
    saw(at);
    if (overflowed_) return;
    if (silences(messages)) make_void();
    if (is_value(messages) && keep({std::nullopt, 0, messages[0], at})) return;
    Bundle bundle;
    for (const Message& m : messages) bundle.push_back(m);
    complete(bundle);
    wait(bundle);
    send_bundles(at, sink);
}

void Wire::curve(Time at, Controller controller, int value) noexcept
{
    saw(at);
    // A target has at most twelve curves, but a channel for each technique: where all places are taken, the oldest gives way.
    const Value newest{controller, value, {}, at};
    if (keep(newest)) return;
    values_.erase_at(0);
    values_.push_back(newest);
}

// Values that wait are older than the bundle's own; a note that begins takes the others with it.
void Wire::complete(Bundle& bundle) noexcept
{
    std::size_t note = 0;
    while (note < bundle.size() && !(bundle[note].is_note_on() && !switches_.key(bundle[note].first()))) ++note;
    const bool begins = note < bundle.size();
    Bundle values;
    for (std::size_t i = 0; i < values_.size();) {
        const Value v = values_[i];
        bool stale = false;
        if (v.controller)
            for (const Message& m : bundle) stale = stale || carries(m, *v.controller);
        else
            for (const Message& m : bundle) stale = stale || v.same({std::nullopt, 0, m, {}});
        const bool goes_along = begins && v.controller && bundle.size() + values.size() + 2 <= bundle_limit;
        if (!stale && goes_along)
            for (const Message& m : curve_messages(*v.controller, v.value)) values.push_back(m);
        if (stale || goes_along)
            values_.erase_at(i);
        else
            ++i;
    }
    if (values.empty()) return;
    Bundle whole;
    for (std::size_t i = 0; i < note; ++i) whole.push_back(bundle[i]);
    for (const Message& m : values) whole.push_back(m);
    for (std::size_t i = note; i < bundle.size(); ++i) whole.push_back(bundle[i]);
    bundle = whole;
}

void Wire::wait(const Bundle& bundle) noexcept
{
    if (count_ == bundles_at_most) {
        overflowed_ = true;
        return;
    }
    waiting_[(first_ + count_++) % bundles_at_most] = bundle;
}

void Wire::make_void() noexcept
{
    values_.clear();
    for (std::size_t i = 0; i < count_; ++i) keep_ends(waiting_[(first_ + i) % bundles_at_most]);
}

void Wire::reset(Time at, Sink& sink) noexcept
{
    overflowed_ = false;
    values_.clear();
    count_ = 0;
    const KeysDown keys = keys_;
    for (std::size_t key = 0; key < KeysDown::count;) {
        Bundle ends;
        key = keys.add_ends(ends, key);
        if (!ends.empty()) bundle(at, messages(ends), sink);
    }
}

// Without note-offs of keys that are not down by then.
Bundle Wire::still_needed(const Bundle& bundle) const noexcept
{
    KeysDown then = keys_;
    Bundle needed;
    for (const Message& m : bundle)
        if (then.leaves(m)) needed.push_back(m);
    return needed;
}

Time Wire::next() const noexcept
{
    Time next = Time::never();
    if (count_ > 0)
        next = budget_.bundle_from(bowarm::bytes_of(messages(still_needed(waiting_[first_]))));
    else if (!values_.empty()) {
        const Time behind = values_[0].at + moment;
        next = budget_.value_from(values_[0].bytes());
        if (next < behind) next = behind;
    }
    return next < now_ ? now_ : next;
}

void Wire::wake(Time at, Sink& sink) noexcept
{
    saw(at);
    send_bundles(at, sink);
    while (count_ == 0 && !values_.empty() && values_[0].at < at && budget_.value_from(values_[0].bytes()) <= at) {
        const Value v = values_[0];
        values_.erase_at(0);
        budget_.value_left(at, v.bytes());
        if (v.controller)
            sink.curve(at, *v.controller, v.value);
        else
            sink.bundle(at, {&v.message, 1});
    }
}

void Wire::send_bundles(Time at, Sink& sink) noexcept
{
    while (count_ > 0) {
        const Bundle needed = still_needed(waiting_[first_]);
        const int bytes = bowarm::bytes_of(messages(needed));
        if (bytes > 0 && at < budget_.bundle_from(bytes)) return;
        first_ = (first_ + 1) % bundles_at_most;
        --count_;
        if (bytes == 0) continue;
        for (const Message& m : needed) keys_.leaves(m);
        budget_.bundle_left(at, bytes);
        sink.bundle(at, messages(needed));
    }
}

} // namespace bowarm
