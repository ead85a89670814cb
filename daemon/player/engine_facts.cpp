#include "player/engine.hpp"

namespace bowarm
{
namespace
{

Reason reason_for(Term term)
{
    switch (term) {
    case Term::alternation:
        return Reason::alternates;
    case Term::strong_beat:
        return Reason::strong_beat;
    case Term::arrival:
    case Term::count_ahead:
        return Reason::strokes_to_bar;
    case Term::figure:
        return Reason::same_figure;
    case Term::doubled:
        return Reason::doubled;
    case Term::swell:
        return Reason::crescendo;
    case Term::final_note:
        return Reason::final_note;
    case Term::syncopation:
        return Reason::syncopation;
    case Term::pickup:
        return Reason::pickup;
    case Term::hair:
        return Reason::hair_left;
    case Term::place:
        return Reason::place_on_the_hair;
    case Term::accent:
        return Reason::accent;
    case Term::loud_start:
        return Reason::loud_start;
    case Term::soft_start:
        return Reason::soft_start;
    case Term::hook:
        return Reason::hooked;
    case Term::chord:
        return Reason::chord;
    case Term::retake_effort:
        return Reason::after_rest;
    case Term::retake_wish:
        return Reason::retake_wish;
    case Term::wish:
        return Reason::down_wish;
    case Term::same_bow:
        return Reason::same_bow_wish;
    case Term::alternate_wish:
        return Reason::alternate_wish;
    case Term::plan:
        return Reason::planned;
    case Term::count:
        break;
    }
    return Reason::none;
}

} // namespace

BarPlace Engine::bar_place(Time at) const noexcept
{
    const BeatPlace p = phrase_.place(at);
    // A guess from the playing is not told as a place before it is likelier right than wrong.
    const bool guess = p.source == BeatSource::playing && p.confidence < 0.5;
    return {guess ? 0 : p.bar, p.source, p.weight > 0 ? p.nearest : p.beat, p.confidence};
}

void Engine::tell(FactKind kind, Time at, std::uint32_t note, Sink& sink) noexcept
{
    if (kind == FactKind::repaired) ++counts_.repairs;
    if (kind == FactKind::unmended) ++counts_.unmended;
    Fact f;
    f.at = at;
    f.kind = kind;
    f.note = note;
    f.place = bar_place(at);
    sink.fact(f);
}

// What every fact about the present stroke or pluck says.
Fact Engine::about_stroke(FactKind kind, Time at) const noexcept
{
    Fact f;
    f.at = at;
    f.kind = kind;
    f.technique = stroke_.technique;
    f.direction = stroke_.direction;
    f.plucked = stroke_.plucked;
    f.stroke = stroke_.plucked ? no_number : stroke_.number;
    return f;
}

void Engine::tell_note_began(const Sounding& s, Time at, Technique technique, bool slurred, Sink& sink) noexcept
{
    Fact f = about_stroke(FactKind::note_began, at);
    f.technique = technique;
    f.pitch = s.pitch.get();
    f.velocity = s.velocity.get();
    f.string = s.string;
    const int stopped = stopped_at(s);
    if (stopped >= 0) f.stopped = static_cast<std::uint8_t>(stopped);
    if (stopped > 0) f.position = position_number(config_.instrument, hand_).value_or(no_place);
    f.slurred = slurred;
    f.muted = muted_;
    f.zone = zone_;
    f.read = stroke_.read;
    f.retake = !slurred && !stroke_.plucked && stroke_.retake;
    f.hooked = !slurred && !stroke_.plucked && stroke_.hooked;
    f.note = s.note;
    f.place = bar_place(at);
    sink.fact(f);
}

void Engine::tell_part_ended(const Sounding& s, Time at, Sink& sink) noexcept
{
    Fact f = about_stroke(FactKind::part_ended, at);
    f.pitch = s.pitch.get();
    f.string = s.string;
    f.note = s.note;
    f.began = s.part.began();
    f.hair_from = s.part.from();
    f.hair_to = bow_.place(at);
    f.motion = s.part.means(at, f.hair_to, config_.instrument.hair);
    sink.fact(f);
}

void Engine::tell_stroke_began(Time at, const Choice& choice, bool forced, Sink& sink) noexcept
{
    Fact f = about_stroke(FactKind::stroke_began, at);
    f.string = stroke_.string;
    f.retake = choice.retake;
    f.hooked = choice.hooked;
    f.forced = forced;
    f.clean = forced || stroke_.clean;
    f.began = at;
    f.hair_from = bow_.place(at);
    for (std::size_t i = 0; i < f.reasons.size(); ++i) f.reasons[i] = reason_for(choice.decided[i]);
    if (forced) f.reasons = {Reason::hair_ran_out, Reason::none, Reason::none};
    if (stroke_.number == 0 && f.reasons[0] == Reason::none) f.reasons[0] = Reason::first_stroke;
    for (Reason& r : f.reasons) {
        if (r == Reason::down_wish && stroke_.direction == Direction::up) r = Reason::up_wish;
        if (r == Reason::crescendo && needs_.swell == Swell::fading) r = Reason::diminuendo;
    }
    f.place = bar_place(at);
    counts_.reasons = f.reasons;
    counts_.stroke_bar = f.place.bar;
    sink.fact(f);
}

void Engine::tell_stroke_ended(Time at, Sink& sink) noexcept
{
    Fact f = about_stroke(FactKind::stroke_ended, at);
    f.string = stroke_.string;
    f.slurred = stroke_.slurred;
    f.began = stroke_.began;
    f.hair_from = stroke_.watch.from();
    f.hair_to = bow_.place(at);
    f.motion = stroke_.watch.means(at, f.hair_to, config_.instrument.hair);
    sink.fact(f);
}

void Engine::warn(Warning warning, Time at, double number, std::uint32_t note, Sink& sink, Unplayable why) noexcept
{
    Fact f = about_stroke(FactKind::warning, at);
    f.warning = warning;
    f.note = note;
    f.number = number;
    f.unplayable = why;
    f.place = bar_place(at);
    ++counts_.warnings;
    for (std::size_t i = counts_.last_warnings.size() - 1; i > 0; --i) counts_.last_warnings[i] = counts_.last_warnings[i - 1];
    counts_.last_warnings[0] = {at, warning, f.place, why};
    sink.fact(f);
}

} // namespace bowarm
