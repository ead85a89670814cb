#include "target/curves.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

constexpr double longest_halving = 60; // so many halvings leave nothing
constexpr int bend_centre = 8192;

int rounded(double value) { return static_cast<int>(nearest(value)); }

Controller on(Channel channel, Controller controller)
{
    controller.channel = channel;
    return controller;
}

// One pole in closed form over a step of any length: half of what is left is gone in the half-time.
double smoothed(double from, double to, Duration step, Seconds half_time)
{
    const double halvings = to_seconds(step) / half_time;
    return halvings >= longest_halving ? to : to + (from - to) * power_of_two(-halvings);
}

// Halvings go by the whole time since the last look, so a smoothed curve wants to be looked at on every tick.
bool smooths(const CurveWay& way) { return way.smoothing > Seconds{0}; }

std::int64_t spacing_ns(const TargetSpec& spec, const CurveWay& way)
{
    return 1'000'000'000 / (way.rate_high > 0 ? way.rate_high : spec.rate_high);
}

} // namespace

// From the value that was in force when the person's controller came in.
double Curves::eased(const TargetSpec& spec, const CurveWay& way, Sent& sent, const BowState& state, double wanted) const noexcept
{
    if (way.quantity != BowQuantity::loudness || sent.value < 0 || state.at < picked_up_) return wanted;
    const double passed = to_seconds(state.at - picked_up_) / spec.pick_up;
    if (!(passed < 1)) return wanted;
    if (sent.at <= picked_up_) sent.before_pick_up = sent.exact;
    return between(sent.before_pick_up, wanted, smooth_rise(passed));
}

CurveValues Curves::first(const TargetSpec& spec, Channel channel, const BowState& state, Begins begins) noexcept
{
    CurveValues values;
    for (std::size_t i = 0; i < spec.curves.size(); ++i) {
        const CurveWay& way = spec.curves[i];
        Sent& sent = sent_[channel.get()][i];
        double exact = eased(spec, way, sent, state, wanted_value(way, state));
        if (begins == Begins::connected && smooths(way) && sent.value >= 0)
            exact = smoothed(sent.exact, exact, state.at - sent.at, way.smoothing);
        sent.exact = exact;
        sent.at = state.at;
        if (rounded(exact) == sent.value) continue;
        sent.value = rounded(exact);
        sent.value_at = state.at;
        values.push_back({on(channel, way.controller), sent.value});
    }
    return values;
}

CurveValues Curves::moved(const TargetSpec& spec, Channel channel, const BowState& state) noexcept
{
    CurveValues values;
    for (std::size_t i = 0; i < spec.curves.size(); ++i) {
        const CurveWay& way = spec.curves[i];
        Sent& sent = sent_[channel.get()][i];
        const bool due = sent.value < 0 || (state.at - sent.value_at).ns >= spacing_ns(spec, way);
        if (!due && !smooths(way)) continue;
        double exact = eased(spec, way, sent, state, wanted_value(way, state));
        if (smooths(way) && sent.value >= 0) exact = smoothed(sent.exact, exact, state.at - sent.at, way.smoothing);
        sent.exact = exact;
        sent.at = state.at;
        const int value = rounded(exact);
        if (sent.value >= 0) {
            const int change = value < sent.value ? sent.value - value : value - sent.value;
            if (change <= way.dead_band || !due) continue;
        }
        sent.value = value;
        sent.value_at = state.at;
        values.push_back({on(channel, way.controller), value});
    }
    return values;
}

CurveValues Curves::initial(const TargetSpec& spec, Channel channel) noexcept
{
    CurveValues values;
    for (std::size_t i = 0; i < spec.curves.size(); ++i) {
        const CurveWay& way = spec.curves[i];
        if (way.initial < 0) continue;
        Sent& sent = sent_[channel.get()][i];
        sent.value = way.initial;
        sent.exact = way.initial;
        values.push_back({on(channel, way.controller), way.initial});
    }
    return values;
}

bool Curves::has_bent(const TargetSpec& spec, Channel channel) const noexcept
{
    for (std::size_t i = 0; i < spec.curves.size(); ++i) {
        const int value = sent_[channel.get()][i].value;
        if (spec.curves[i].controller.kind == ControllerKind::pitch_bend && value >= 0 && value != bend_centre) return true;
    }
    return false;
}

} // namespace bowarm
