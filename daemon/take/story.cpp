#include "take/story.hpp"

namespace bowarm
{
namespace
{

// A part belongs to a note that has begun; one without is kept under its stroke alone.
void tell_part(Story& story, const Fact& part)
{
    const auto note = story.notes.find(part.note);
    if (note != story.notes.end()) note->second.parts.push_back(part);
}

void tell_note(Story& story, const Fact& fact)
{
    NoteStory& note = story.notes[fact.note];
    const std::uint32_t before = note.began.stroke;
    if (before != no_number && before != fact.stroke) std::erase(story.strokes[before].notes, fact.note); // told again: it moved
    const Time onset = note.heard ? note.began.at : fact.at;
    note.began = fact;
    note.began.at = onset;
    note.heard = true;
    if (before == fact.stroke) return;
    if (fact.stroke != no_number) story.strokes[fact.stroke].notes.push_back(fact.note);
}

void tell_end(Story& story, const Fact& fact)
{
    const auto note = story.notes.find(fact.note);
    if (note != story.notes.end()) note->second.ended = fact.at;
}

} // namespace

Story story_of(const std::vector<Fact>& facts)
{
    Story story;
    for (const Fact& fact : facts) {
        switch (fact.kind) {
        case FactKind::note_began:
            tell_note(story, fact);
            break;
        case FactKind::part_ended:
            tell_part(story, fact);
            break;
        case FactKind::note_ended:
            tell_end(story, fact);
            break;
        case FactKind::stroke_began:
            story.strokes[fact.stroke].began = fact;
            break;
        case FactKind::stroke_ended:
            story.strokes[fact.stroke].ended = fact;
            break;
        case FactKind::warning:
            story.warnings.push_back(fact);
            break;
        case FactKind::repaired:
            ++story.repairs;
            break;
        case FactKind::unmended:
            ++story.unmended;
            break;
        case FactKind::bypassed:
        case FactKind::rejoined:
            break;
        }
    }
    return story;
}

} // namespace bowarm
