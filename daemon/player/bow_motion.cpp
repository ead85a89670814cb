#include "player/bow_motion.hpp"

namespace bowarm
{
namespace
{

Motion signed_by(Direction d, const Motion& m) { return {m.speed * sign(d), m.force, m.beta}; }

MetresPerSecond magnitude(MetresPerSecond v) { return v < MetresPerSecond{0} ? -v : v; }

} // namespace

void BowMotion::set_down(HairFraction place) noexcept
{
    running_ = false;
    from_ = place;
}

void BowMotion::start_run(Time now) noexcept
{
    if (running_) rest(now);
    start_ = now;
    tick_ = 1;
    running_ = true;
    shaking_ = false;
    following_ = false;
}

void BowMotion::begin(Time now, Direction direction, const Attack& attack, const Motion& planned) noexcept
{
    start_run(now);
    direction_ = direction;
    start(line_, attack, signed_by(direction, planned));
}

void BowMotion::begin_bounce(Time now, Direction direction, Duration contact, const Motion& planned) noexcept
{
    start_run(now);
    direction_ = direction;
    bounce(line_, contact, signed_by(direction, planned));
}

void BowMotion::begin_throw(Time now, Direction direction, const BouncingBow& bow, Seconds first_interval, int contacts,
                            const Motion& planned) noexcept
{
    start_run(now);
    direction_ = direction;
    throw_bow(line_, bow, first_interval, contacts, signed_by(direction, planned));
}

void BowMotion::begin_shake(Time now, Direction direction, const ShakeManner& manner, const Motion& planned) noexcept
{
    start_run(now);
    shaking_ = true;
    direction_ = direction;
    shake_planned_ = planned;
    shake_.begin(manner, direction, planned.speed);
}

void BowMotion::begin_still(Time now) noexcept
{
    start_run(now);
    line_.begin({});
}

void BowMotion::turn(Time now, Duration length, Technique technique, const Motion& planned) noexcept
{
    direction_ = opposite(direction_);
    following_ = false;
    bowarm::turn(line_, now - start_, length, technique, signed_by(direction_, planned));
}

void BowMotion::pulse(Time now, const Motion& planned) noexcept
{
    following_ = false;
    bowarm::pulse(line_, now - start_, signed_by(direction_, planned));
}

void BowMotion::follow(Time now, const Motion& planned) noexcept
{
    if (shaking_) {
        shake_planned_ = planned;
        shake_.aim(planned.speed);
    } else {
        following_ = true;
        bowarm::follow(line_, now - start_, signed_by(direction_, planned));
    }
}

void BowMotion::stop(Time now, Technique technique) noexcept
{
    if (shaking_) {
        rest(now);
        running_ = true;
        start_ = now;
        tick_ = 1;
        line_.begin({});
        return;
    }
    following_ = false;
    const Direction moving = motion(now).speed < MetresPerSecond{0} ? Direction::up : Direction::down;
    bowarm::stop(line_, now - start_, technique, left(now, moving));
}

void BowMotion::rest(Time now) noexcept
{
    from_ = place(now);
    running_ = false;
    shaking_ = false;
}

Motion BowMotion::motion(Time now) const noexcept
{
    if (!running_) return {};
    if (shaking_) return {shake_.speed(now - start_), shake_planned_.force, shake_planned_.beta};
    return line_.at(now - start_);
}

MetresPerSecond BowMotion::fastest_ahead(Time now) const noexcept
{
    const MetresPerSecond a = magnitude(motion(now).speed);
    const MetresPerSecond b = magnitude(line_.last().speed);
    return a < b ? b : a;
}

HairFraction BowMotion::place(Time now) const noexcept
{
    if (!running_) return from_;
    const Metres moved = shaking_ ? shake_.travelled(now - start_) : line_.travelled(now - start_);
    return HairFraction{from_.value + moved / hair_};
}

Metres BowMotion::left(Time now, Direction direction) const noexcept
{
    const HairFraction here = place(now);
    return (direction == Direction::down ? HairFraction{1} - here : here) * hair_;
}

void BowMotion::pass_shake(Time now) noexcept
{
    if (shaking_) shake_.pass(now - start_);
}

} // namespace bowarm
