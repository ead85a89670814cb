#include "take/part/played_notes.hpp"

#include <algorithm>
#include <array>
#include <unordered_map>

namespace bowarm::part
{
namespace
{

struct Key {
    Time at;
    std::uint8_t pitch{0};
};

std::optional<Message> message_of(const Input& input)
{
    if (input.kind != InputKind::midi || input.data[7] != 3) return std::nullopt;
    return as_message(input);
}

// Every note-on in its order: the numbers that facts have.
std::vector<Key> keys_struck(const Recorder& take)
{
    std::vector<Key> keys;
    for (const Input& input : take.inputs()) {
        const auto message = message_of(input);
        if (message && message->is_note_on()) keys.push_back({input.at, message->bytes[1]});
    }
    return keys;
}

void place(PlayedNote& note, const BeatMap& beats)
{
    note.onset = beats.quarters_at(note.at);
    note.release = std::max(note.onset, beats.quarters_at(note.end));
    note.quarter = beats.quarter_at(note.at);
    for (Turn& turn : note.turns) turn.onset = beats.quarters_at(turn.at);
}

void order(std::vector<PlayedNote>& notes)
{
    std::stable_sort(notes.begin(), notes.end(), [](const PlayedNote& a, const PlayedNote& b) { return a.at < b.at; });
}

} // namespace

std::vector<PlayedNote> notes_of(const Recorder& take, const BeatMap& beats, std::uint8_t desk, Duration later)
{
    const std::vector<Key> keys = keys_struck(take);
    std::vector<PlayedNote> notes;
    std::unordered_map<std::uint32_t, std::size_t> by_number;
    struct Stroke {
        Direction direction;
        bool retake;
    };
    std::unordered_map<std::uint32_t, Stroke> strokes;
    std::vector<Fact> parts_ended; // at one moment: after these a forced stroke takes the notes on
    for (const Fact& f : take.facts()) {
        if (f.desk != desk && f.kind == FactKind::note_began) continue;
        if (f.kind == FactKind::stroke_began) strokes[f.stroke] = {f.direction, f.retake};
        const auto known = by_number.find(f.note);
        if (f.desk == desk && f.kind == FactKind::part_ended && known != by_number.end()) {
            if (!parts_ended.empty() && parts_ended.front().at != f.at) parts_ended.clear();
            parts_ended.push_back(f);
        }
        if (f.desk == desk && f.kind == FactKind::stroke_began && f.forced)
            for (const Fact& part : parts_ended)
                if (part.at == f.at) notes[by_number[part.note]].turns.push_back({f.at - later, 0, f.stroke, f.direction});
        if (f.kind == FactKind::note_ended && known != by_number.end()) notes[known->second].end = f.at - later;
        if (f.kind == FactKind::warning && known != by_number.end() && f.unplayable != Unplayable::no)
            notes[known->second].told.unplayable = f.unplayable;
        if (f.kind != FactKind::note_began) continue;
        if (known != by_number.end()) {
            // A note that sounds again under another is told as slurred: what it was at its beginning stays.
            if (!f.slurred || notes[known->second].told.slurred) notes[known->second].told = f;
            continue;
        }
        PlayedNote note;
        const bool key_known = f.note < keys.size() && keys[f.note].pitch == f.pitch;
        note.at = key_known ? keys[f.note].at : f.at - later;
        note.end = take.latest();
        note.told = f;
        by_number[f.note] = notes.size();
        notes.push_back(note);
    }
    for (PlayedNote& note : notes) {
        place(note, beats);
        const auto stroke = strokes.find(note.told.stroke);
        if (stroke == strokes.end()) continue;
        note.direction = stroke->second.direction;
        note.retake = stroke->second.retake;
    }
    order(notes);
    return notes;
}

std::vector<PlayedNote> notes_of_keys(const std::vector<Input>& inputs, const BeatMap& beats)
{
    std::vector<PlayedNote> notes;
    std::array<std::optional<std::size_t>, 128> down{};
    for (const Input& input : inputs) {
        const auto message = message_of(input);
        if (!message) continue;
        auto& key = down[message->bytes[1] & 0x7FU];
        if (message->is_note_on()) {
            PlayedNote note;
            note.at = note.end = input.at;
            note.told.note = static_cast<std::uint32_t>(notes.size());
            note.told.pitch = message->bytes[1];
            note.told.velocity = message->bytes[2];
            key = notes.size();
            notes.push_back(note);
        } else if (message->is_note_off() && key) {
            notes[*key].end = input.at;
            key.reset();
        }
    }
    for (PlayedNote& note : notes) place(note, beats);
    order(notes);
    return notes;
}

int desks_of(const Recorder& take)
{
    int desks = 1;
    for (const Fact& f : take.facts())
        if (f.kind == FactKind::note_began) desks = std::max(desks, f.desk + 1);
    return desks;
}

} // namespace bowarm::part
