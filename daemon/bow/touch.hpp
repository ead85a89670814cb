// What a technique changes in the steady motion that its loudness asks for.
//   in       the technique, or a wish for the contact point (0 at the fingerboard, 0.5 ordinary, 1 at the bridge)
//   out      factors and bounds for the planner; the named zone
//   source   flautando: a light, quick bow over the fingerboard; col legno tratto: the wood hardly grips, so it is very soft;
//            a harmonic speaks with a quicker bow, a little nearer to the bridge (orchestration handbooks, from memory).  The
//            numbers are our own.
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"

namespace bowarm
{

struct Touch {
    double nearest{1};  // to the bridge that the wish for the contact point may go
    double shift{0};    // of that wish
    double speed{1};    // of the bow, over the planned
    double force{1};    // over the planned
    double loudness{1}; // of what sounds, over the wanted: where the technique is softer by nature
};

constexpr Touch touch_of(Technique technique)
{
    switch (technique) {
    case Technique::flautando:
        return {.nearest = 0.08, .speed = 1.25, .force = 0.4, .loudness = 0.75};
    case Technique::col_legno_tratto:
        return {.speed = 0.8, .force = 0.3, .loudness = 0.35};
    case Technique::col_legno_battuto:
        return {.loudness = 0.6};
    case Technique::harmonic:
    case Technique::artificial_harmonic:
        return {.shift = 0.12, .speed = 1.15};
    default:
        return {};
    }
}

constexpr double touched_wish(const Touch& touch, double wish)
{
    const double shifted = wish + touch.shift;
    const double most = touch.nearest < 1 ? touch.nearest : 1.0;
    return shifted < most ? shifted : most;
}

// The zone is entered at the outer number and left at the inner one, so that a foot at the edge does not flicker.
inline constexpr double ponticello_from = 0.8, ponticello_to = 0.7;
inline constexpr double tasto_from = 0.12, tasto_to = 0.22;

constexpr ContactZone zone_of(double wish, ContactZone before)
{
    if (wish >= (before == ContactZone::sul_ponticello ? ponticello_to : ponticello_from)) return ContactZone::sul_ponticello;
    if (wish <= (before == ContactZone::sul_tasto ? tasto_to : tasto_from)) return ContactZone::sul_tasto;
    return ContactZone::ordinary;
}

} // namespace bowarm
