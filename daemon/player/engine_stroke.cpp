#include "player/engine.hpp"

#include "base/arithmetic.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr Seconds expected_least{0.12};
constexpr Seconds expected_most{12};
constexpr Seconds curve_step = to_seconds(curve_grid);
// When a stroke has outlived its expectation it is expected to go on for this share of what it has lasted.
constexpr double outlived_share = 0.5;
constexpr Seconds outlived_least{0.25};
constexpr Metres turning_room{0.02}; // kept for a turn at the end of the hair
constexpr Metres least_hair{0.004};
constexpr std::int64_t plan_every = 4;    // ticks
constexpr double worth_following = 0.004; // relative change of a planned value
// Hair without which a stroke does not begin in that direction.
constexpr HairFraction room_to_start{0.025};
constexpr HairFraction room_to_shake{0.2};
constexpr HairFraction room_to_throw{0.35};
constexpr HairFraction far_from_its_place{0.1};
constexpr HairFraction down_bows_place{0.2};
constexpr Duration struck_contact = milliseconds(25); // of the wood; common practice, no source
// Tremolo: a hand's unevenness, and what an accent adds to its first strokes.  Common practice, no source.
constexpr double unevenness = 0.06;
constexpr double accented_start = 1.2;
constexpr double shake_accent = 1.4;
constexpr Seconds thrown_length{0.5};
constexpr Seconds far_from_the_end{2.5}; // no beat is longer than this
constexpr double sure_of_the_beat = 0.5;
constexpr Seconds turns_apart{0.25}; // two changes of bow that nobody asked for
// Change of loudness between strokes: a new group where it jumps, else a crescendo or diminuendo.  Our own numbers.
constexpr double jump = 0.15;
constexpr double swelling = 0.04;
constexpr Duration fade_length = milliseconds(80);

double magnitude(double x) { return x < 0 ? -x : x; }

bool differs(double a, double b)
{
    const double d = a < b ? b - a : a - b;
    return d > worth_following * (a < b ? b : a);
}

bool differs(const Motion& a, const Motion& b)
{
    return differs(a.speed.value, b.speed.value) || differs(a.force.value, b.force.value) || differs(a.beta.value, b.beta.value);
}

// Strokes that are played at a place of their own, never brought back to the frog.
bool keeps_to_its_place(Technique t) { return is_off_string(t) || t == Technique::tremolo; }

// Of strokes in the order of their notes.
template <class Stroke> const Stroke* of_note(const std::vector<Stroke>& strokes, std::uint32_t note)
{
    const auto found = std::lower_bound(strokes.begin(), strokes.end(), note, [](const Stroke& s, std::uint32_t n) { return s.note < n; });
    return found != strokes.end() && found->note == note ? &*found : nullptr;
}

Motion magnitude(Motion m)
{
    if (m.speed < MetresPerSecond{0}) m.speed = -m.speed;
    return m;
}

} // namespace

ChoiceNeeds Engine::needs_for(Time at, const NoteMeaning& note, Midi7 pitch) const noexcept
{
    ChoiceNeeds n;
    n.first = bow_in_air_;
    n.last = last_direction_;
    n.place = bow_.place(at);
    n.gap = bow_in_air_ ? Seconds{0} : to_seconds(at - silent_since_);
    if (!sounding_.empty() || note.connection != Connection::separate) n.gap = Seconds{0};
    // A person who holds the keys has not rested, however short the technique makes the notes.
    if (ended_by_arm_ && !down_bows_ && note.gap < n.gap) n.gap = note.gap;
    n.expected = stroke_.expected;
    n.stays = keeps_to_its_place(note.technique);
    n.length_known = note.rhythm_known;
    n.speed = neutral().speed;
    n.slowest = planner_.slowest(loudness());
    n.loudness = loudness();
    n.accent = note.accent;
    n.preferred = preferred_place(config_.instrument, note.technique, phrase_.rate(), loudness(), note.accent);
    const bool separate = !keeps_to_its_place(note.technique) && n.gap > Seconds{0};
    const Weighed weighed = weigh(separate, loudness(), note.expected, stroke_.string, note.uneven && low_tune_.under_way());
    n.pitch = pitch;
    n.low = is_low(pitch);
    n.weighty = weighed.weighty;
    n.heavy_at_frog = weighed.heavy_at_frog;
    n.low_tune = weighed.low_tune;
    n.room_needed = note.technique == Technique::tremolo ? room_to_shake : room_to_start;
    if (note.technique == Technique::ricochet) n.room_needed = room_to_throw;
    n.beat = note.place;
    // A bar that was only guessed from the playing counts less than it says.
    if (n.beat.source == BeatSource::playing) n.beat.confidence *= n.beat.confidence;
    const double change = loudness().value - last_loudness_.value;
    n.fresh = !n.first && n.gap > Seconds{0} && magnitude(change) > jump;
    if (!n.fresh && !n.first && magnitude(change) > swelling) n.swell = change > 0 ? Swell::growing : Swell::fading;
    const StrokesAhead ahead = phrase_.strokes_ahead(at);
    n.strokes_ahead = ahead.count;
    n.ahead_confidence = ahead.confidence;
    if (begins_group(n)) n.figure = phrase_.bowed_last_time(at);
    n.since_last = to_seconds(at - stroke_.began);
    n.lift_after = config_.lift_after;
    n.short_after_long = note.short_after_long && !is_off_string(note.technique);
    n.same_bow = (same_bow_ && !bow_in_air_) || goes_on_in_bow(note, at);
    n.wish = direction_wish_;
    n.retake_wish = retake_wish_;
    // A bow that bounces or shakes is set down at its place where there is time.
    const HairFraction away = n.place < n.preferred ? n.preferred - n.place : n.place - n.preferred;
    if (note.technique_chosen && n.stays && away > far_from_its_place && n.gap >= retake_time(config_.instrument, away))
        n.retake_wish = true;
    if (down_bows_) {
        n.wish = Direction::down;
        n.retake_wish = true;
        n.heavy_at_frog = true;
        n.preferred = down_bows_place;
    }
    n.alternate = alternate_;
    n.automatic = amount_ > 0;
    return n;
}

void Engine::begin_stroke(Time at, const NoteMeaning& note, const Sounding& first, Sink& sink) noexcept
{
    if (stroke_.active) end_stroke(at, sink);
    const Seconds by_rhythm = slur_length_ > note.expected ? slur_length_ : note.expected;
    stroke_.expected = clamp(phrase_.usual_stroke(at).value_or(by_rhythm), expected_least, expected_most);
    stroke_.string = first.string;
    stroke_.end_known = false;
    if (foresees_) foresee_end(at, at);
    if (note.technique == Technique::ricochet) stroke_.expected = thrown_length;
    needs_ = needs_for(at, note, first.pitch);
    needs_.chord = 1 + foreseen_;
    settled_beforehand(first.note, needs_);
    const Choice choice = choose(config_.instrument, needs_);
    sink.decided(at, first.note, needs_, choice.direction, choice.retake);
    direction_wish_.reset();
    retake_wish_ = false;
    bow_.rest(at);
    if (choice.retake || bow_in_air_) bow_.set_down(choice.from);
    bow_in_air_ = false;

    stroke_.active = true;
    stroke_.plucked = false;
    stroke_.number = counts_.strokes++;
    stroke_.first_note = first.note;
    stroke_.technique = note.technique;
    stroke_.read = note.read;
    stroke_.direction = choice.direction;
    stroke_.began = at;
    phrase_.stroke_began(at, choice.direction, begins_group(needs_));
    last_loudness_ = loudness();
    stroke_.accent = note.accent;
    stroke_.slurred = false;
    stroke_.retake = choice.retake;
    stroke_.hooked = choice.hooked;
    stroke_.revisable = false;
    stroke_.thrown = 1;
    ended_by_arm_ = false;
    relaxed_since_.reset();
    second_of_pair_ = note.technique == Technique::hooked && needs_.same_bow;
    revise_at_ = Time::never();
    short_ends_at_ = end_of_short(note, at);
    turn_middle_ = Time::never();
    last_direction_ = choice.direction;

    const MotionPlan plan = plan_at(at, choice.direction, stroke_.expected);
    stroke_.planned = plan.motion;
    set_moving(at, note, first.key);
    stroke_.watch.begin(at, bow_.place(at));
    if (choice.retake) ++counts_.retakes;
    counts_.last_retake = choice.retake;
    tell_stroke_began(at, choice, false, sink);
    if (choice.retake_short > Seconds{0}) warn(Warning::retake_has_no_time, at, choice.retake_short.value, no_number, sink);
    if (!plan.loudness_reached || !plan.force_reached) warn(Warning::loudness_out_of_reach, at, loudness().value, no_number, sink);
}

// The plan and the wishes for the stroke that this note begins.
void Engine::settled_beforehand(std::uint32_t note, ChoiceNeeds& needs) const noexcept
{
    if (const PlannedStroke* plan = of_note(plan_, note)) {
        needs.planned = plan->direction;
        needs.planned_retake = plan->retake;
        needs.doubled = plan->doubled;
        needs.automatic = false;
    }
    if (const WishedStroke* wish = of_note(wishes_, note)) {
        needs.wish = wish->direction;
        needs.retake_wish = wish->retake;
        needs.same_bow = wish->same_bow && !bow_in_air_;
        needs.keep_on_string = wish->same_bow;
    }
}

// Starts the bow in the way of the stroke's technique.
void Engine::set_moving(Time at, const NoteMeaning& note, Midi7 pitch) noexcept
{
    stroke_.clean = true;
    switch (stroke_.technique) {
    case Technique::tremolo: {
        const bool measured = config_.tremolo_per_quarter > 0 && phrase_.quarter(at) > Seconds{0};
        const ShakeManner manner{to_duration(small_stroke(at)), measured ? 0.0 : unevenness, stroke_.number,
                                 note.accent >= accented_start ? shake_accent : 1.0};
        bow_.begin_shake(at, stroke_.direction, manner, stroke_.planned);
        break;
    }
    case Technique::spiccato:
    case Technique::sautille:
        bow_.begin_bounce(at, stroke_.direction, to_duration(contact_time(phrase_.rate())), stroke_.planned);
        break;
    case Technique::col_legno_battuto:
        bow_.begin_bounce(at, stroke_.direction, struck_contact, stroke_.planned);
        break;
    case Technique::ricochet:
        bow_.begin_throw(at, stroke_.direction, bouncing_bow(config_.instrument), thrown_interval, thrown_contacts, stroke_.planned);
        break;
    default: {
        const Attack attack = attack_for(at, pitch);
        stroke_.clean = attack.clean;
        bow_.begin(at, stroke_.direction, attack, stroke_.planned);
        break;
    }
    }
}

Attack Engine::attack_for(Time at, Midi7 pitch) const noexcept
{
    AttackNeeds n;
    n.technique = stroke_.technique;
    n.accent = stroke_.accent;
    n.loudness = loudness();
    n.planned = stroke_.planned;
    n.frequency = Hertz{key_frequency(pitch.get())};
    n.impedance = config_.instrument.strings[stroke_.string].impedance;
    n.friction = {config_.instrument.sticking_friction, config_.instrument.sliding_friction_at_slip};
    n.arm_limit = planner_.arm_limit(bow_.place(at));
    return plan_attack(n);
}

void Engine::end_stroke(Time at, Sink& sink) noexcept
{
    if (!stroke_.plucked) {
        tell_stroke_ended(at, sink);
        slur_length_ = stroke_.slurred ? to_seconds(at - stroke_.began) : Seconds{0};
    }
    stroke_.active = false;
    relaxed_since_.reset();
    turn_middle_ = Time::never();
    revise_at_ = short_ends_at_ = Time::never();
    bow_.rest(at);
}

// The last key is up: the bow slows to rest, and a turn that was under way comes to nothing.
void Engine::let_go(Time at) noexcept
{
    turn_middle_ = Time::never();
    revise_at_ = short_ends_at_ = Time::never();
    silent_since_ = hand_busy_until_ = at;
    bow_.stop(at, stroke_.technique);
}

MotionPlan Engine::plan_at(Time at, Direction direction, Seconds remaining) noexcept
{
    Demand d;
    d.loudness = loudness() * relaxed(at);
    const Touch touch = touch_of(stroke_.technique);
    d.contact_wish = touched_wish(touch, contact_wish_);
    const Metres left = bow_.left(at, direction) - turning_room;
    d.hair_left = left < least_hair ? least_hair : left;
    d.remaining = remaining;
    d.place = bow_.place(at);
    d.string = stroke_.string;
    const HairFraction length{neutral().speed * remaining / config_.instrument.hair};
    const HairFraction wanted = preferred_place(config_.instrument, stroke_.technique, phrase_.rate(), d.loudness, stroke_.accent);
    d.speed_share = drift(wanted, d.place, length, direction) * touch.speed;
    MotionPlan plan = config_.soften_when_out_of_reach ? planner_.plan_softened(d) : planner_.plan(d);
    if (config_.soften_when_out_of_reach) stroke_.reachable = plan.loudness;
    plan.motion.force = clamp(plan.motion.force * touch.force, config_.instrument.force_low, planner_.arm_limit(d.place));
    return plan;
}

Seconds Engine::remaining(Time at) const noexcept
{
    const Seconds lasted = to_seconds(at - stroke_.began);
    if (stroke_.end_known) return clamp(stroke_.expected - lasted, curve_step, expected_most);
    Seconds more = lasted * outlived_share;
    if (more < outlived_least) more = outlived_least;
    const Seconds due = stroke_.expected - lasted;
    return due < more ? more : due;
}

void Engine::tick(Time at, Sink& sink) noexcept
{
    bow_.pass_shake(at);
    if (at == turn_middle_) finish_turn(at, sink);
    if (sounding_.empty()) {
        if (bow_.under_way(at)) return;
        if (stroke_.active) end_stroke(at, sink);
        bow_.rest(at);
        return;
    }
    if (mend_at_ <= at) bring_back(at, sink);
    if (stroke_.active && !stroke_.plucked) {
        if (bow_.shaking()) judge_tremolo(at, sink);
        follow_plan(at, sink);
        if (sounding_.empty()) return;
    }
    const Motion motion = magnitude(bow_.motion(at));
    if (stroke_.active && !stroke_.plucked) see(at, motion);
    send_curves(at, motion, sink);
}

void Engine::follow_plan(Time at, Sink& sink) noexcept
{
    const bool turning = turn_middle_ != Time::never();
    if (stroke_.technique == Technique::ricochet) throw_contact(at, sink);
    if (turning || is_off_string(stroke_.technique)) return;
    if (foresees_) foresee_end(at, stroke_.began);
    if (!bow_.shaking()) {
        const MetresPerSecond fastest = bow_.fastest_ahead(at);
        const Duration length = turn_length(stroke_.technique, loudness());
        const Metres needed = turn_distance(fastest, length) + fastest * to_seconds(curve_grid) * 2;
        const Metres left = bow_.left(at, stroke_.direction);
        if (left <= needed || beat_to_turn_on(at, (left - needed) / fastest)) {
            begin_turn(at, sink);
            return;
        }
        // A start is played to its end: the hand's next move waits for it, or the string would not speak cleanly.
        if (bow_.under_way(at) && !bow_.following()) return;
    }
    if (bow_.tick() % plan_every != 0) return;
    const Motion wanted = plan_at(at, stroke_.direction, remaining(at)).motion;
    if (!differs(wanted, stroke_.planned)) return;
    stroke_.planned = wanted;
    bow_.follow(at, wanted);
}

// The hair will not last beyond the beat after the next: the change comes on the next beat, where it belongs.
bool Engine::beat_to_turn_on(Time at, Seconds lasts) const noexcept
{
    if (lasts > far_from_the_end || bow_.under_way(at)) return false;
    if (to_seconds(at - last_turn_) < turns_apart || to_seconds(at - stroke_.began) < turns_apart) return false;
    // A stroke that is expected to end before the hair does needs no change.
    const Seconds due = stroke_.expected - to_seconds(at - stroke_.began);
    if (due > Seconds{0} && due <= lasts) return false;
    const BeatPlace place = phrase_.place(at);
    // A guessed beat is no reason to change before the hair asks for it.
    if (!(place.beat_confidence >= sure_of_the_beat) || place.source == BeatSource::playing) return false;
    const double passed = place.beat - static_cast<double>(static_cast<std::int64_t>(place.beat));
    const Seconds to_beat = place.beat_length * (1 - passed);
    const Seconds half_turn = to_seconds(turn_length(stroke_.technique, loudness())) / 2;
    if (to_beat > half_turn + to_seconds(curve_grid) || to_beat < half_turn - to_seconds(curve_grid)) return false;
    return lasts < to_beat + place.beat_length;
}

// Techniques and places that live outside Schelleng's region on purpose, or leave the string.
bool Engine::bounds_of_its_own() const noexcept
{
    const Technique t = stroke_.technique;
    return is_off_string(t) || t == Technique::col_legno_tratto || t == Technique::flautando || zone_ != ContactZone::ordinary;
}

void Engine::begin_turn(Time at, Sink& sink) noexcept
{
    const Duration length =
        turn_within(bow_.left(at, stroke_.direction), bow_.fastest_ahead(at), turn_length(stroke_.technique, loudness()));
    const Seconds lasted = to_seconds(at - stroke_.began);
    stroke_.expected = clamp(lasted, expected_least, expected_most);
    const Direction next = opposite(stroke_.direction);
    stroke_.planned = plan_at(at, next, stroke_.expected).motion;
    bow_.turn(at, length, stroke_.technique, stroke_.planned);
    turn_middle_ = at + Duration{length.ns / 2};
    last_turn_ = at;
    turn_ends_ = at + length;
    warn(Warning::hair_runs_out, at, lasted.value, sounding_.back().note, sink);
}

// The bow stands still for a moment: here one stroke ends and the next begins.
void Engine::finish_turn(Time at, Sink& sink) noexcept
{
    turn_middle_ = Time::never();
    for (const Sounding& s : sounding_) tell_part_ended(s, at, sink);
    tell_stroke_ended(at, sink);
    stroke_.number = counts_.strokes++;
    stroke_.direction = opposite(stroke_.direction);
    stroke_.began = at;
    last_direction_ = stroke_.direction;
    ++counts_.forced_changes;
    stroke_.watch.begin(at, bow_.place(at));
    for (Sounding& s : sounding_) s.part.begin(at, bow_.place(at));
    Choice forced;
    forced.direction = stroke_.direction;
    forced.from = bow_.place(at);
    tell_stroke_began(at, forced, true, sink);
    // The players of a section change one after the other, which is heard as no change at all.
    if (sounding_.empty() || target_.spec().section || target_.spec().held_change == HeldChange::dip) return;
    Bundle bundle;
    const Voice voice = voice_of(stroke_.technique, sounding_.back().velocity, at, sink);
    const bool again = target_.spec().held_change == HeldChange::new_note;
    if (again)
        for (const Sounding& s : sounding_) target_.add_note_off(bundle, s.channel, s.key);
    target_.add_switch(bundle, voice);
    if (again) {
        target_.add_first_values(bundle, voice.channel, bow_state(at), Begins::anew);
        will_speak(voice, target_.spec().held_change_velocity, std::nullopt);
        for (Sounding& s : sounding_) {
            s.channel = voice.channel;
            target_.add_note_on(bundle, s.channel, s.key, target_.spec().held_change_velocity);
        }
    }
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
}

void Engine::see(Time at) noexcept { see(at, magnitude(bow_.motion(at))); }

void Engine::see(Time at, const Motion& m) noexcept
{
    if (is_off_string(stroke_.technique) && !bow_.under_way(at)) return;
    const bool judged = !bounds_of_its_own() && !bow_.shaking() && !bow_.under_way(at);
    const ForceRange limits = planner_.limits(m.speed, m.beta, stroke_.string);
    stroke_.watch.see(m, limits, judged);
    for (Sounding& s : sounding_) s.part.see(m, s.string == stroke_.string ? limits : planner_.limits(m.speed, m.beta, s.string), judged);
}

const Motion& Engine::neutral() const noexcept
{
    if (neutral_for_ != loudness() || neutral_string_ != stroke_.string) {
        neutral_for_ = loudness();
        neutral_string_ = stroke_.string;
        neutral_ = planner_.ordinary(neutral_for_, neutral_string_);
    }
    return neutral_;
}

BowState Engine::bow_state(Time at) const noexcept { return bow_state(at, magnitude(bow_.motion(at))); }

BowState Engine::bow_state(Time at, const Motion& motion) const noexcept
{
    BowState state;
    state.at = at;
    state.loudness = loudness();
    if (config_.soften_when_out_of_reach && stroke_.active && stroke_.reachable < state.loudness) state.loudness = stroke_.reachable;
    if (fade_since_) {
        const double u = static_cast<double>((at - *fade_since_).ns) / static_cast<double>(fade_length.ns);
        state.loudness = state.loudness * (1 - smooth_rise(u));
    }
    // Where the target has no such sound of its own, it is made softer as the technique is.
    if (stroke_.active && target_.sounds_as(stroke_.technique) != stroke_.technique)
        state.loudness = state.loudness * touch_of(stroke_.technique).loudness;
    state.loudness = state.loudness * relaxed(at);
    state.amount = amount_;
    state.hair = bow_.place(at);
    state.direction = last_direction_;
    state.neutral = neutral();
    // What is plucked or shaken has no single stroke to draw: its steady motion stands for it.
    const bool drawn = stroke_.active && !stroke_.plucked && !bow_.shaking();
    state.planned = drawn || bow_.shaking() ? stroke_.planned : state.neutral;
    state.now = drawn ? motion : state.planned;
    if (drawn && bow_.following()) state.planned = state.now;
    if (target_.spec().section && drawn && at < turn_ends_) state.now = state.planned = stroke_.planned;
    if (bow_.shake_accented() && stroke_.accent >= accented_start)
        state.now = {state.now.speed * shake_accent, state.now.force * shake_accent, state.now.beta};
    return state;
}

// Every channel that sounds has its own.
void Engine::send_curves(Time at, const Motion& motion, Sink& sink) noexcept
{
    const BowState state = bow_state(at, motion);
    for (std::size_t i = 0; i < sounding_.size(); ++i) {
        const Channel channel = sounding_[i].channel;
        bool done = false;
        for (std::size_t j = 0; j < i; ++j) done = done || sounding_[j].channel == channel;
        if (done) continue;
        for (const CurveValue& v : target_.moved(channel, state)) sink.curve(at, v.controller, v.value);
    }
    send_vibrato(at, sink);
}

} // namespace bowarm
