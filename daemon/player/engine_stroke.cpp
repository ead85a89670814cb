#include "player/engine.hpp"

#include "base/arithmetic.hpp"

namespace bowarm {
namespace {

constexpr Seconds expected_least{0.12};
constexpr Seconds expected_most{12};
// When a stroke has outlived its expectation it is expected to go on for this share of what it has lasted.
constexpr double outlived_share = 0.5;
constexpr Seconds outlived_least{0.25};
constexpr Metres turning_room{0.02};            // kept for a turn at the end of the hair
constexpr Metres least_hair{0.004};
constexpr std::int64_t plan_every = 4;          // ticks
constexpr double worth_following = 0.004;       // relative change of a planned value
// Hair without which a stroke does not begin in that direction.
constexpr HairFraction room_to_start{0.025};
constexpr HairFraction room_to_shake{0.2};
constexpr Duration fade_length = milliseconds(80);

bool differs(double a, double b)
{
    const double d = a < b ? b - a : a - b;
    return d > worth_following * (a < b ? b : a);
}

bool differs(const Motion& a, const Motion& b)
{
    return differs(a.speed.value, b.speed.value) || differs(a.force.value, b.force.value) || differs(a.beta.value, b.beta.value);
}

Motion magnitude(Motion m)
{
    if (m.speed < MetresPerSecond{0}) m.speed = -m.speed;
    return m;
}

} // namespace

Choice Engine::choose_bow(Time at, const NoteMeaning& note, std::uint8_t string) const noexcept
{
    ChoiceNeeds n;
    n.first = bow_in_air_;
    n.last = last_direction_;
    n.place = bow_.place(at);
    n.gap = bow_in_air_ ? Seconds{0} : to_seconds(at - silent_since_);
    if (!sounding_.empty() || note.connection != Connection::separate) n.gap = Seconds{0};
    n.expected = stroke_.expected;
    n.speed = planner_.ordinary(loudness(), string).speed;
    n.slowest = planner_.slowest(loudness());
    n.accent = note.accent;
    n.loudness = loudness();
    n.technique = note.technique;
    n.room_needed = note.technique == Technique::tremolo ? room_to_shake : room_to_start;
    n.beat = note.place;
    n.lift_after = config_.lift_after;
    n.same_bow = same_bow_ && !bow_in_air_;
    n.wish = direction_wish_;
    n.retake_wish = retake_wish_;
    n.automatic = amount_ > 0;
    return choose(config_.instrument, n);
}

void Engine::begin_stroke(Time at, const NoteMeaning& note, std::uint8_t string, Sink& sink) noexcept
{
    if (stroke_.active) end_stroke(at, sink);
    stroke_.expected = clamp(slur_length_ > note.expected ? slur_length_ : note.expected, expected_least, expected_most);
    const Choice choice = choose_bow(at, note, string);
    direction_wish_.reset();
    retake_wish_ = false;
    bow_.rest(at);
    if (choice.retake || bow_in_air_) bow_.set_down(choice.from);
    bow_in_air_ = false;

    stroke_.active = true;
    stroke_.plucked = false;
    stroke_.number = counts_.strokes++;
    stroke_.technique = note.technique;
    stroke_.direction = choice.direction;
    stroke_.began = at;
    stroke_.string = string;
    stroke_.accent = note.accent;
    stroke_.slurred = false;
    stroke_.retake = choice.retake;
    stroke_.hooked = choice.hooked;
    stroke_.revisable = false;
    revise_at_ = Time::never();
    turn_middle_ = Time::never();
    last_direction_ = choice.direction;

    const MotionPlan plan = plan_at(at, choice.direction, stroke_.expected);
    stroke_.planned = plan.motion;
    if (note.technique == Technique::tremolo)
        bow_.begin_shake(at, choice.direction, to_duration(Seconds{1 / config_.instrument.tremolo_rate.value}), plan.motion);
    else bow_.begin(at, note.technique, choice.direction, note.accent, plan.motion);
    stroke_.watch.begin(at, bow_.place(at));
    if (choice.retake) ++counts_.retakes;
    counts_.last_retake = choice.retake;
    tell_stroke_began(at, choice, false, sink);
    if (choice.retake_short > Seconds{0}) warn(Warning::retake_has_no_time, at, choice.retake_short.value, no_number, sink);
    if (!plan.loudness_reached) warn(Warning::loudness_out_of_reach, at, loudness().value, no_number, sink);
}

void Engine::end_stroke(Time at, Sink& sink) noexcept
{
    if (!stroke_.plucked) {
        tell_stroke_ended(at, sink);
        slur_length_ = stroke_.slurred ? to_seconds(at - stroke_.began) : Seconds{0};
    }
    stroke_.active = false;
    turn_middle_ = Time::never();
    revise_at_ = Time::never();
    bow_.rest(at);
}

// The last key is up: the bow slows to rest, and a turn that was under way comes to nothing.
void Engine::let_go(Time at) noexcept
{
    turn_middle_ = Time::never();
    revise_at_ = Time::never();
    silent_since_ = at;
    bow_.stop(at, stroke_.technique);
}

MotionPlan Engine::plan_at(Time at, Direction direction, Seconds remaining) const noexcept
{
    Demand d;
    d.loudness = loudness();
    d.contact_wish = contact_wish_;
    const Metres left = bow_.left(at, direction) - turning_room;
    d.hair_left = left < least_hair ? least_hair : left;
    d.remaining = remaining;
    d.place = bow_.place(at);
    d.string = stroke_.string;
    return planner_.plan(d);
}

Seconds Engine::remaining(Time at) const noexcept
{
    const Seconds lasted = to_seconds(at - stroke_.began);
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
    if (stroke_.active && !stroke_.plucked) {
        follow_plan(at, sink);
        see(at);
    }
    send_curves(at, sink);
}

void Engine::follow_plan(Time at, Sink& sink) noexcept
{
    const bool turning = turn_middle_ != Time::never();
    const bool bouncing = is_off_string(stroke_.technique);
    if (turning || bouncing) return;
    if (!bow_.shaking()) {
        const MetresPerSecond fastest = bow_.fastest_ahead(at);
        const Duration length = turn_length(stroke_.technique, loudness());
        const Metres needed = turn_distance(fastest, length) + fastest * to_seconds(curve_grid) * 2;
        if (bow_.left(at, stroke_.direction) <= needed) {
            begin_turn(at, sink);
            return;
        }
        if (bow_.under_way(at) && !loudness_moved_) return;
    }
    if (bow_.tick() % plan_every != 0) return;
    loudness_moved_ = false;
    const Motion wanted = plan_at(at, stroke_.direction, remaining(at)).motion;
    if (!differs(wanted, stroke_.planned)) return;
    stroke_.planned = wanted;
    bow_.follow(at, wanted);
}

void Engine::begin_turn(Time at, Sink& sink) noexcept
{
    const Duration length = turn_within(bow_.left(at, stroke_.direction), bow_.fastest_ahead(at), turn_length(stroke_.technique, loudness()));
    const Seconds lasted = to_seconds(at - stroke_.began);
    stroke_.expected = clamp(lasted, expected_least, expected_most);
    const Direction next = opposite(stroke_.direction);
    stroke_.planned = plan_at(at, next, stroke_.expected).motion;
    bow_.turn(at, length, stroke_.planned);
    turn_middle_ = at + Duration{length.ns / 2};
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
    if (sounding_.empty() || target_.spec().held_change == HeldChange::dip) return;
    Bundle bundle;
    const Voice voice = voice_of(stroke_.technique, at, sink);
    const bool again = target_.spec().held_change == HeldChange::new_note;
    if (again)
        for (const Sounding& s : sounding_) target_.add_note_off(bundle, s.channel, s.key);
    target_.add_switch(bundle, voice, stroke_.direction);
    if (again) {
        target_.add_first_values(bundle, voice, bow_state(at));
        for (const Sounding& s : sounding_) target_.add_note_on(bundle, s.channel, s.key, target_.spec().held_change_velocity);
    }
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
}

void Engine::see(Time at) noexcept
{
    if (is_off_string(stroke_.technique) && !bow_.under_way(at)) return;
    const Motion m = magnitude(bow_.motion(at));
    const bool judged = !is_off_string(stroke_.technique) && !bow_.shaking() && !bow_.under_way(at);
    stroke_.watch.see(m, planner_.limits(m.speed, m.beta, stroke_.string), judged);
    for (Sounding& s : sounding_) s.part.see(m, planner_.limits(m.speed, m.beta, s.string), judged);
}

BowState Engine::bow_state(Time at) const noexcept
{
    BowState state;
    state.loudness = loudness();
    if (fade_since_) {
        const double u = static_cast<double>((at - *fade_since_).ns) / static_cast<double>(fade_length.ns);
        state.loudness = state.loudness * (1 - smooth_rise(u));
    }
    state.amount = amount_;
    state.hair = bow_.place(at);
    state.direction = last_direction_;
    state.neutral = planner_.ordinary(loudness(), stroke_.string);
    // What is plucked or shaken has no single stroke to draw: its steady motion stands for it.
    const bool drawn = stroke_.active && !stroke_.plucked && !bow_.shaking();
    state.planned = drawn || bow_.shaking() ? stroke_.planned : state.neutral;
    state.now = drawn ? magnitude(bow_.motion(at)) : state.planned;
    return state;
}

void Engine::send_curves(Time at, Sink& sink) noexcept
{
    const std::int64_t spacing = 1'000'000'000 / target_.spec().rate_high;
    if ((at - last_sent_).ns < spacing) return;
    const auto values = target_.moved(sounding_.back().channel, bow_state(at));
    if (!values.empty()) last_sent_ = at;
    for (const CurveValue& v : values) sink.curve(at, v.controller, v.value);
}

} // namespace bowarm
