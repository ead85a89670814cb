#include "player/engine.hpp"

#include "base/arithmetic.hpp"
#include "player/delays.hpp"

namespace bowarm
{
namespace
{

PhraseConfig phrase_config(const PlayerConfig& c)
{
    const Instrument& i = c.instrument;
    const ReadingLimits limits{i.spiccato_loudest, i.spiccato.low, i.spiccato.high, i.sautille.low, i.sautille.high};
    return {c.chord_window, c.tempo, {c.meter_beats, c.meter_unit}, limits};
}

Time earlier(Time a, Time b) { return b < a ? b : a; }

} // namespace

Engine::Engine(const PlayerConfig& config)
    : config_(config), hold_(delays_of(config).hold), foresees_(delays_of(config).foresees), hearing_(config.controls),
      phrase_(phrase_config(config)), planner_(config.instrument), target_(config.target), bow_(config.instrument.hair),
      vibrato_(config.vibrato)
{
}

void Engine::on(const Input& input, Sink& sink) noexcept
{
    now_ = input.at;
    const Gesture gesture = hearing_.hear(input);
    if (hold_ > Duration{0})
        wait(gesture, sink);
    else
        apply(gesture, sink);
}

Time Engine::next_wake() const noexcept
{
    const Time tick = bow_.running() ? bow_.next_tick() : Time::never();
    const Time of_notes = earlier(earlier(revise_at_, short_ends_at_), earlier(break_at_, next_end()));
    return earlier(earlier(tick, of_notes), earlier(next_rake(), next_release()));
}

void Engine::wake(Sink& sink) noexcept
{
    const Time at = next_wake();
    now_ = at;
    if (at == revise_at_) {
        revise(at, sink);
    } else if (at == short_ends_at_) {
        end_of_length(at, sink);
    } else if (at == next_rake()) {
        sound_due(at, sink);
    } else if (at == break_at_) {
        break_chord(at, sink);
    } else if (at == next_end()) {
        end_due(at, sink);
    } else if (bow_.running() && at == bow_.next_tick()) {
        bow_.ticked();
        tick(at, sink);
    } else {
        release_next(at, sink);
    }
}

// What the target is to have before anything has sounded.
void Engine::greet(Time at, Sink& sink) noexcept
{
    greeted_ = true;
    for (const Channel channel : target_.channels()) {
        Bundle bundle;
        target_.add_initial_values(bundle, channel);
        if (!bundle.empty()) sink.bundle(at, messages(bundle));
    }
}

bool Engine::sounds_at(Midi7 pitch) const noexcept
{
    const std::optional<Midi7> key = target_key(pitch);
    for (const Sounding& s : sounding_)
        if (s.key == key) return true;
    for (const Raked& r : raked_)
        if (target_key(r.pitch) == key) return true;
    for (const Rising& r : rising_)
        if (target_key(r.pitch) == key) return true;
    for (std::size_t i = 0; i < waiting_.size(); ++i)
        if (waiting_[i].kind == GestureKind::key_down && target_key(waiting_[i].pitch) == key) return true;
    for (const RawNote& r : raw_)
        if (r.pitch == pitch || r.pitch == key) return true;
    return false;
}

void Engine::lead(bool on) noexcept
{
    leads_ = on;
    target_.send_curves(on);
}

void Engine::apply(const Gesture& g, Sink& sink) noexcept
{
    if (!greeted_) greet(g.at, sink);
    switch (g.kind) {
    case GestureKind::none:
        break;
    case GestureKind::key_down:
        key_down(g, sink);
        break;
    case GestureKind::key_up:
        key_up(g, sink);
        break;
    case GestureKind::release_source:
        release_source(g.source, g.at, sink);
        break;
    case GestureKind::panic:
        panic(g.at, sink);
        break;
    case GestureKind::loudness:
        if (!person_loudness_) target_.pick_up(g.at);
        person_loudness_ = Loudness{g.value};
        if (bypass_) raw_loudness(g.at, sink);
        break;
    case GestureKind::contact_point:
        contact_wish_ = g.value;
        zone_ = zone_of(contact_wish_, zone_);
        break;
    case GestureKind::amount:
        amount_ = g.value;
        break;
    case GestureKind::same_bow:
        same_bow_ = g.on;
        break;
    case GestureKind::down_bows:
        down_bows_ = g.on;
        break;
    case GestureKind::mute:
        mute_moves_ = mute_moves_ || muted_ != g.on;
        muted_ = g.on;
        break;
    case GestureKind::alternate:
        alternate_ = g.on;
        break;
    case GestureKind::technique:
        phrase_.choose(g.technique);
        since_choice_ = 0;
        break;
    case GestureKind::read_technique:
        phrase_.read_again();
        break;
    case GestureKind::bypass:
        set_bypass(g.on, g.at, sink);
        break;
    case GestureKind::next_direction:
        direction_wish_ = g.direction;
        break;
    case GestureKind::next_retake:
        retake_wish_ = true;
        break;
    case GestureKind::string:
        wish_string(g.string, g.on);
        break;
    case GestureKind::open_strings:
        open_strings_ = g.on;
        break;
    case GestureKind::pass:
        pass_on(g, sink);
        break;
    case GestureKind::tempo:
    case GestureKind::meter:
    case GestureKind::tap_beat:
    case GestureKind::tap_bar:
    case GestureKind::clock:
    case GestureKind::clock_start:
    case GestureKind::clock_continue:
    case GestureKind::clock_stop:
    case GestureKind::song_position:
        phrase_.tell_time(g);
        break;
    case GestureKind::bow_at:
        stand_at(g, sink);
        break;
    case GestureKind::target_unknown:
        silence(g.at, false, sink);
        greet(g.at, sink);
        break;
    }
}

Loudness Engine::loudness() const noexcept { return person_loudness_ ? *person_loudness_ : velocity_loudness_; }

void Engine::set_bypass(bool on, Time at, Sink& sink) noexcept
{
    bypass_wanted_ = on;
    if (sounding_.empty() && raw_.empty()) apply_waiting_bypass(at, sink);
}

void Engine::apply_waiting_bypass(Time at, Sink& sink) noexcept
{
    if (bypass_ == bypass_wanted_) return;
    if (bow_.running()) {
        end_stroke(at, sink);
        bow_.rest(at);
    }
    bypass_ = bypass_wanted_;
    tell(bypass_ ? FactKind::bypassed : FactKind::rejoined, at, no_number, sink);
    if (!bypass_) {
        target_.forget_switch(); // the person may have pressed the target's own keyswitches
        return;
    }
    Bundle bundle;
    const Technique technique = phrase_.technique_chosen() ? phrase_.technique() : Technique::detache;
    target_.add_switch(bundle, target_.voice(technique, {Direction::down, Midi7::nearest(64), loudness()}));
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
    raw_loudness(at, sink);
}

void Engine::raw_key_down(const Gesture& g, Sink& sink) noexcept
{
    raw_key_up(g, sink);
    phrase_.key_up(g.pitch, g.at); // held from before the arm stepped out, and struck again: its release is the new one's
    if (!raw_.push_back({g.pitch, g.source})) {
        warn(Warning::too_many_notes, g.at, 0, g.note, sink);
        return;
    }
    Bundle bundle;
    target_.add_note_on(bundle, target_.channel(), g.pitch, g.velocity);
    speaks_ = Seconds{0}; // what the person has selected there is not known
    sink.bundle(g.at, messages(bundle));
}

bool Engine::raw_key_up(const Gesture& g, Sink& sink) noexcept
{
    for (std::size_t i = 0; i < raw_.size(); ++i) {
        if (raw_[i].pitch != g.pitch) continue;
        raw_.erase_at(i);
        Bundle bundle;
        target_.add_note_off(bundle, target_.channel(), g.pitch);
        sink.bundle(g.at, messages(bundle));
        return true;
    }
    return false;
}

// The person's loudness goes straight to the target's own loudness controllers.
void Engine::raw_loudness(Time at, Sink& sink) noexcept
{
    BowState state;
    state.at = at;
    state.loudness = loudness();
    state.amount = 0;
    state.neutral = state.now = state.planned = planner_.ordinary(loudness(), 0);
    for (const CurveValue& v : target_.settled(target_.channel(), state)) sink.curve(at, v.controller, v.value);
}

void Engine::pass_on(const Gesture& g, Sink& sink) noexcept
{
    if (vibrato_.hears(g.message)) {
        hear_vibrato(g.message, g.at, sink);
        return;
    }
    if (g.message.kind() == MessageKind::key_pressure) {
        bool sounds = false;
        for (const Sounding& s : sounding_) sounds = sounds || s.pitch == g.message.first();
        for (const RawNote& r : raw_) sounds = sounds || r.pitch == g.message.first();
        if (!sounds) return;
    }
    if (!leads_) return;
    Bundle bundle;
    target_.pass(bundle, g.message);
    if (!bundle.empty()) sink.bundle(g.at, messages(bundle));
}

// As if the last stroke had ended there.
void Engine::stand_at(const Gesture& g, Sink& sink) noexcept
{
    if (sounding() || !raked_.empty()) return;
    if (stroke_.active) end_stroke(g.at, sink);
    bow_.rest(g.at);
    bow_.set_down(HairFraction{g.value});
    bow_in_air_ = false;
    last_direction_ = g.direction;
    if (g.number < config_.instrument.strings.size()) stroke_.string = static_cast<std::uint8_t>(g.number);
}

void Engine::silence(Time at, bool sound_off, Sink& sink) noexcept
{
    raked_.clear();
    rising_.clear();
    break_at_ = Time::never();
    Bundle bundle;
    Gesture nothing;
    nothing.at = at;
    end_but(std::nullopt, nothing, bundle, sink);
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
    for (const RawNote& r : raw_) {
        Bundle off;
        target_.add_note_off(off, target_.channel(), r.pitch);
        sink.bundle(at, messages(off));
    }
    raw_.clear();
    for (const Channel channel : target_.channels()) {
        Bundle last;
        target_.add_silence(last, channel, sound_off);
        sink.bundle(at, messages(last));
    }
    target_.forget();
    if (stroke_.active) end_stroke(at, sink);
    bow_.rest(at);
    phrase_.forget_keys();
    revise_at_ = mend_at_ = short_ends_at_ = Time::never();
    vibrato_sent_.reset();
    silent_since_ = at;
}

void Engine::panic(Time at, Sink& sink) noexcept
{
    silence(at, true, sink);
    same_bow_ = false;
    down_bows_ = false;
    retake_wish_ = false;
    direction_wish_.reset();
    wished_string_.reset();
    open_strings_ = false;
}

void Engine::release_source(Source source, Time at, Sink& sink) noexcept
{
    for (std::size_t i = raw_.size(); i > 0; --i) {
        if (raw_[i - 1].source != source) continue;
        Gesture g;
        g.at = at;
        g.pitch = raw_[i - 1].pitch;
        raw_key_up(g, sink);
    }
    for (std::size_t i = phrase_.keys().size(); i > 0; --i) {
        if (phrase_.keys()[i - 1].source == source) phrase_.key_up(phrase_.keys()[i - 1].pitch, at);
    }
    for (Raked& r : raked_) r.let_go = r.let_go || r.source == source;
    for (std::size_t i = rising_.size(); i > 0; --i)
        if (rising_[i - 1].source == source) rising_.erase_at(i - 1);
    bool any = false;
    for (std::size_t i = sounding_.size(); i > 0; --i) {
        if (sounding_[i - 1].source != source) continue;
        end_note(i - 1, at, sink);
        any = true;
    }
    settle(at, sink);
    if (any && sounding_.empty() && stroke_.active) {
        if (stroke_.plucked)
            end_stroke(at, sink);
        else
            let_go(at);
    }
    if (sounding_.empty() && raw_.empty()) apply_waiting_bypass(at, sink);
}

void Engine::read(Snapshot& s) const noexcept
{
    s = counts_;
    s.at = now_;
    s.name = config_.name;
    s.instrument = config_.instrument.name;
    s.target = config_.target.name;
    s.bypassed = bypass_;
    s.alternating = alternate_;
    s.muted = muted_;
    s.zone = zone_;
    s.sounding = !sounding_.empty() || !raw_.empty();
    s.technique_chosen = phrase_.technique_chosen();
    if (!s.technique_chosen && stroke_.active) s.read = stroke_.read;
    s.chosen = phrase_.technique();
    s.technique = stroke_.active ? stroke_.technique : phrase_.technique();
    s.direction = bow_.shaking() ? bow_.shake_direction() : (stroke_.active ? stroke_.direction : last_direction_);
    s.hair = bow_.place(now_);
    s.loudness = loudness();
    s.amount = amount_;
    s.place = bar_place(now_);
    s.sounding_notes = static_cast<std::uint8_t>(sounding_.size() + raw_.size());
    if (!sounding_.empty()) {
        const Sounding& newest = sounding_.back();
        s.pitch = newest.pitch.get();
        const int stopped = stopped_at(newest);
        if (stopped >= 0) s.stopped = static_cast<std::uint8_t>(stopped);
        if (stopped > 0) s.position = position_number(config_.instrument, hand_).value_or(no_place);
    }
    s.on_string = stroke_.active && !stroke_.plucked && !(is_off_string(stroke_.technique) && !bow_.under_way(now_));
    if (!stroke_.active || stroke_.plucked) return;
    const BowState state = bow_state(now_);
    s.string = stroke_.string;
    s.string_key = config_.instrument.strings[stroke_.string].open_key.get();
    s.speed = state.now.speed;
    s.force = state.now.force;
    s.beta = state.now.beta;
    const ForceRange limits = planner_.limits(state.now.speed, state.now.beta, stroke_.string);
    s.force_low = limits.low;
    s.force_high = limits.high;
    s.hair_left = state.now.speed.value > 1e-3 ? bow_.left(now_, stroke_.direction) / state.now.speed : Seconds{0};
}

} // namespace bowarm
