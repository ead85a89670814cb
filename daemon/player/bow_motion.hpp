// The moving bow: where it is on the hair and how it moves, at any moment of the present run.
//   A run begins with a stroke from rest and lasts through turns until the bow stands still again.
//   in       logical times that never run backwards; planned motions with speed as a magnitude
//   out      signed motion (down positive), place on the hair 0..1
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"
#include "stroke/stroke.hpp"

namespace bowarm
{

class BowMotion
{
public:
    explicit BowMotion(Metres hair) : hair_(hair) {}

    void set_down(HairFraction place) noexcept;
    void begin(Time now, Direction direction, const Attack& attack, const Motion& planned) noexcept;
    void begin_bounce(Time now, Direction direction, Duration contact, const Motion& planned) noexcept;
    void begin_throw(Time now, Direction direction, const BouncingBow& bow, Seconds first_interval, int contacts,
                     const Motion& planned) noexcept;
    void begin_shake(Time now, Direction direction, const ShakeManner& manner, const Motion& planned) noexcept;
    // A stretch in which the bow does nothing, but curves are due.
    void begin_still(Time now) noexcept;
    void turn(Time now, Duration length, Technique technique, const Motion& planned) noexcept;
    void pulse(Time now, const Motion& planned) noexcept;
    void follow(Time now, const Motion& planned) noexcept;
    void stop(Time now, Technique technique) noexcept;
    // Ends the run: the bow stays where it is.
    void rest(Time now) noexcept;

    bool running() const { return running_; }
    bool shaking() const { return shaking_; }
    // Starting, turning or stopping: the motion is on its way to what was planned.
    bool under_way(Time now) const noexcept { return !shaking_ && now < start_ + line_.end(); }
    // On its way from one steady motion to another: no start, turn or stop that ought to be heard.
    bool following() const { return following_; }
    Motion motion(Time now) const noexcept; // speed signed
    MetresPerSecond fastest_ahead(Time now) const noexcept;
    HairFraction place(Time now) const noexcept;
    Metres left(Time now, Direction direction) const noexcept;
    Direction shake_direction() const { return shake_.direction(); }
    bool shake_accented() const { return shaking_ && shake_.accented(); }

    Time next_tick() const { return start_ + curve_grid * tick_; }
    std::int64_t tick() const { return tick_; }
    void ticked() noexcept { ++tick_; }
    void pass_shake(Time now) noexcept;

private:
    void start_run(Time now) noexcept;

    Metres hair_;
    HairFraction from_{0.5};
    Time start_;
    std::int64_t tick_{0};
    bool running_{false};
    bool shaking_{false};
    bool following_{false};
    Direction direction_{Direction::down};
    Line line_;
    Shake shake_;
    Motion shake_planned_;
};

} // namespace bowarm
