#include "base/arithmetic.hpp"
#include "target/curves.hpp"

namespace bowarm
{
namespace
{

constexpr double ratio_at_most = 2;

double quantity(BowQuantity q, const Motion& m, const BowState& s)
{
    switch (q) {
    case BowQuantity::loudness:
        return s.loudness.value;
    case BowQuantity::speed:
        return m.speed.value;
    case BowQuantity::force:
        return m.force.value;
    case BowQuantity::contact_point:
        return m.beta.value;
    case BowQuantity::direction:
        return s.direction == Direction::down ? 1.0 : 0.0;
    case BowQuantity::hair:
        return s.hair.value;
    }
    return 0;
}

bool is_motion(BowQuantity q) { return q == BowQuantity::speed || q == BowQuantity::force || q == BowQuantity::contact_point; }

double ratio_of(double now, double usual) { return usual > 0 ? now / usual : 1; }

// What a mixed-in quantity is heard by, over what belongs to the wanted loudness.  A bow that slows and moves to the bridge is
// as loud as before: of the speed, what counts is the string's amplitude, speed over beta, against the steady motion's.
double ratio(BowQuantity q, const BowState& s)
{
    if (q != BowQuantity::speed) return ratio_of(quantity(q, s.now, s), quantity(q, s.neutral, s));
    const double now = s.now.beta.value > 0 ? s.now.speed.value / s.now.beta.value : 0;
    const double planned = s.planned.beta.value > 0 ? s.planned.speed.value / s.planned.beta.value : 0;
    return ratio_of(now, planned);
}

double through_points(const FixedVector<CurvePoint, 8>& points, double q)
{
    if (q <= points[0].at) return points[0].value;
    for (std::size_t i = 1; i < points.size(); ++i) {
        const CurvePoint& a = points[i - 1];
        const CurvePoint& b = points[i];
        if (q <= b.at) return between(a.value, b.value, (q - a.at) / (b.at - a.at));
    }
    return points.back().value;
}

// Of the way from the first value to the last, 0..1.
double place_of(const CurveWay& way, double q)
{
    if (!way.points.empty()) {
        const int first = way.points[0].value;
        const int last = way.points.back().value;
        return first == last ? 1 : (through_points(way.points, q) - first) / (last - first);
    }
    double place = (q - way.from) / (way.to - way.from);
    place = place < 0 ? 0 : (place > 1 ? 1 : place);
    return way.exponent != 1 && place > 0 ? power(place, way.exponent) : place;
}

} // namespace

double wanted_value(const CurveWay& way, const BowState& s) noexcept
{
    double q = quantity(way.quantity, s.now, s);
    if (is_motion(way.quantity)) q = between(quantity(way.quantity, s.neutral, s), q, s.amount);
    double place = place_of(way, q);
    for (const Mixed& m : way.mixed) {
        const double r = ratio(m.quantity, s);
        place *= 1 + m.depth * s.amount * ((r < ratio_at_most ? r : ratio_at_most) - 1);
    }
    place = place > 1 ? 1 : place;
    if (way.points.empty()) return between(way.low, way.high, place);
    return between(way.points[0].value, way.points.back().value, place);
}

} // namespace bowarm
