#include "status/events.hpp"

#include "status/json_text.hpp"
#include "status/methods.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <boost/json/array.hpp>

namespace bowarm
{
namespace json = boost::json;

namespace
{

json::object about(EventKind kind, const PlayerFact& told)
{
    const Fact& fact = told.fact;
    return {{"event", event_words[static_cast<std::size_t>(kind)]},
            {"player", told.player},
            {"at_ns", fact.at.ns},
            {"bar", fact.place.bar > 0 ? json::value(fact.place.bar) : json::value(nullptr)},
            {"beat", fact.place.bar > 0 ? json_number(fact.place.beat) : json::value(nullptr)}};
}

json::value number_or_null(std::uint32_t number) { return number == no_number ? json::value(nullptr) : json::value(number); }

Event note_event(const PlayerFact& told)
{
    const Fact& fact = told.fact;
    json::object fields = about(EventKind::note, told);
    fields["note"] = number_or_null(fact.note);
    fields["pitch"] = fact.pitch;
    fields["velocity"] = fact.velocity;
    fields["technique"] = technique_word(fact.technique);
    fields["slurred"] = fact.slurred;
    fields["plucked"] = fact.plucked;
    return {EventKind::note, std::move(fields)};
}

Event stroke_event(EventKind kind, const PlayerFact& told)
{
    const Fact& fact = told.fact;
    json::object fields = about(kind, told);
    fields["stroke"] = number_or_null(fact.stroke);
    fields["direction"] = direction_word(fact.direction);
    fields["technique"] = technique_word(fact.technique);
    fields["hair"] = json_number(fact.hair_from.value);
    fields["retake"] = fact.retake;
    fields["hooked"] = fact.hooked;
    fields["forced"] = fact.forced;
    json::array reasons;
    for (const Reason reason : fact.reasons)
        if (reason != Reason::none) reasons.emplace_back(reason_in_bar(reason, fact.place.bar));
    fields["reasons"] = std::move(reasons);
    return {kind, std::move(fields)};
}

Event warning_event(const PlayerFact& told)
{
    const Fact& fact = told.fact;
    json::object fields = about(EventKind::warning, told);
    fields["code"] = warning_word(fact.warning);
    fields["text"] = short_warning(fact.warning, fact.unplayable);
    fields["note"] = number_or_null(fact.note);
    return {EventKind::warning, std::move(fields)};
}

bool same(const PortState& a, const PortState& b)
{
    return a.role == b.role && a.name == b.name && a.state == b.state && a.connected == b.connected;
}

} // namespace

std::vector<Event> FactReader::read(const PlayerFact& told)
{
    const Fact& fact = told.fact;
    if (fact.kind == FactKind::note_began) return {note_event(told)};
    if (fact.kind == FactKind::warning) return {warning_event(told)};
    if (fact.kind != FactKind::stroke_began) return {};
    if (last_.size() <= told.player) last_.resize(told.player + 1);
    Last& last = last_[told.player];
    std::vector<Event> events{stroke_event(EventKind::stroke, told)};
    if (last.technique != fact.technique) events.push_back(stroke_event(EventKind::technique, told));
    if (last.direction && *last.direction != fact.direction) events.push_back(stroke_event(EventKind::bow_change, told));
    if (fact.retake) events.push_back(stroke_event(EventKind::retake, told));
    last = {fact.technique, fact.direction};
    return events;
}

std::vector<Event> StateReader::read(StatusSource& source)
{
    std::vector<Event> events;
    std::vector<PortState> ports = source.service().ports;
    TakeDesk* desk = source.takes();
    std::string take = desk == nullptr ? std::string{} : desk->running();
    if (begun_) {
        for (const PortState& port : ports) {
            if (std::ranges::any_of(ports_, [&](const PortState& before) { return same(before, port); })) continue;
            json::object fields = port_object(port);
            fields["event"] = "port";
            events.push_back({EventKind::port, std::move(fields)});
        }
        if (take != take_) {
            const bool begins = !take.empty();
            events.push_back(
                {EventKind::take, {{"event", "take"}, {"state", begins ? "begun" : "ended"}, {"name", utf8_text(begins ? take : take_)}}});
        }
    }
    begun_ = true;
    ports_ = std::move(ports);
    take_ = std::move(take);
    return events;
}

} // namespace bowarm
