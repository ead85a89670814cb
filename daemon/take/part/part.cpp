#include "take/part/part.hpp"

#include "player/delays.hpp"
#include "take/part/beat_map.hpp"
#include "take/part/bow_marks.hpp"
#include "take/part/clefs.hpp"
#include "take/part/cues.hpp"
#include "take/part/dynamics.hpp"
#include "take/part/folding.hpp"
#include "take/part/key_sections.hpp"
#include "take/part/page.hpp"
#include "take/part/played_notes.hpp"
#include "take/part/rhythm.hpp"
#include "take/part/spelling.hpp"
#include "take/part/turns.hpp"

#include <algorithm>
#include <cstring>

namespace bowarm
{
namespace
{

using namespace part;

Ticks ticks_up(double quarters) { return static_cast<Ticks>(quarters * static_cast<double>(ticks_a_quarter)) + 1; }

Ticks end_of(const std::vector<PlayedNote>& notes)
{
    double last = 0;
    for (const PlayedNote& note : notes) last = std::max(last, note.onset + 0.05);
    return ticks_up(last);
}

// How long each pitch class sounds in each bar, in quarters; a note counts where it begins.
std::vector<PitchClasses> pitch_classes(const std::vector<Voice>& voices, const std::vector<Bar>& bars)
{
    std::vector<PitchClasses> sounding(bars.size());
    for (const Voice& voice : voices) {
        std::size_t bar = 0;
        for (const PlayedNote& note : voice.notes) {
            while (bar + 1 < bars.size() && static_cast<double>(bars[bar].end()) <= note.onset * static_cast<double>(ticks_a_quarter))
                ++bar;
            sounding[bar][note.told.pitch % 12] += note.release - note.onset;
        }
    }
    return sounding;
}

std::vector<KeyFrom> guessed_keys(const std::vector<Voice>& voices, const std::vector<Bar>& bars)
{
    const std::vector<PitchClasses> sounding = pitch_classes(voices, bars);
    PitchClasses all{};
    for (const PitchClasses& bar : sounding)
        for (std::size_t i = 0; i < 12; ++i) all[i] += bar[i];
    return key_sections(sounding, key_of(all));
}

// Each at the bar that begins nearest; before the first one its own signature.
std::vector<KeyFrom> told_keys(const std::vector<PartOptions::Key>& told, const BeatMap& beats, const std::vector<Bar>& bars)
{
    std::vector<KeyFrom> keys;
    for (const PartOptions::Key& key : told) {
        const double at = beats.quarters_at(key.at) * static_cast<double>(ticks_a_quarter);
        std::size_t bar = 0;
        const auto middle_of = [&](std::size_t i) { return bars[i].begin + bars[i].length / 2; };
        while (bar < bars.size() && static_cast<double>(middle_of(bar)) < at) ++bar;
        if (bar == bars.size()) break;
        if (!keys.empty() && keys.back().bar == bar) keys.pop_back();
        if (keys.empty() || !(keys.back().key == key.key)) keys.push_back({keys.empty() ? 0 : bar, key.key});
    }
    return keys;
}

std::string instrument_name(const Instrument& instrument)
{
    std::string name{instrument.name.data(), ::strnlen(instrument.name.data(), instrument.name.size())};
    std::replace(name.begin(), name.end(), '-', ' ');
    if (!name.empty() && name[0] >= 'a' && name[0] <= 'z') name[0] = static_cast<char>(name[0] - 'a' + 'A');
    return name.empty() ? "Strings" : name;
}

void read(Voice& voice, const std::vector<Bar>& bars)
{
    Rhythm rhythm = rhythm_of(voice.notes, bars);
    voice.tuplets = std::move(rhythm.tuplets);
    voice.segments = parted_at_turns(folded(std::move(rhythm.segments), voice.notes), voice.notes, bars, voice.tuplets);
}

std::vector<std::vector<int>> written_keys(const Voice& voice, const std::vector<Bar>& bars, int octave)
{
    std::vector<std::vector<int>> keys(bars.size());
    std::size_t bar = 0;
    for (const Segment& segment : voice.segments) {
        while (bar + 1 < bars.size() && bars[bar].end() <= segment.begin) ++bar;
        for (const Head& head : segment.heads) keys[bar].push_back(voice.notes[head.played].told.pitch + octave);
    }
    return keys;
}

std::vector<std::string> words_at_the_head(const BeatMap& beats)
{
    std::vector<std::string> words;
    if (beats.beats_from() == BeatsFrom::playing) words.emplace_back("beats estimated from the playing");
    if (beats.meter_assumed()) words.emplace_back("metre assumed");
    return words;
}

void leave_out_what_is_later(Page& page)
{
    const double end = static_cast<double>(page.bars.back().end()) / static_cast<double>(ticks_a_quarter);
    for (Voice& voice : page.voices) std::erase_if(voice.notes, [&](const PlayedNote& note) { return note.onset >= end; });
    page.words.emplace_back("only the first " + std::to_string(page.bars.size()) + " bars");
}

// Of each desk, with its notes alone.
void add_voices(Page& page, const PlayersPart& part, const BeatMap& beats)
{
    const std::string name = part.name.empty() ? instrument_name(part.player.instrument) : part.name;
    const int desks = desks_of(part.take);
    for (int desk = 0; desk < desks; ++desk) {
        Voice voice;
        voice.notes = notes_of(part.take, beats, static_cast<std::uint8_t>(desk), delays_of(part.player).hold);
        voice.name = desks == 1 ? name : name + ", desk " + std::to_string(desk + 1);
        voice.octave = sounds_an_octave_lower(part.player.instrument) ? 12 : 0;
        page.voices.push_back(std::move(voice));
    }
}

void write_out(Voice& voice, const PlayersPart& part, const BeatMap& beats, const std::vector<Bar>& bars)
{
    read(voice, bars);
    voice.marks = marks_of(voice.segments, voice.notes);
    voice.dynamics = dynamics_of(part.take, part.player.controls, beats, voice.segments, voice.notes);
    voice.clefs = clefs_of(part.player.instrument, written_keys(voice, bars, voice.octave));
}

} // namespace

std::string score_xml(std::span<const PlayersPart> players, const PartOptions& options)
{
    const PlayersPart& first = players.front();
    const BeatMap beats(first.take, first.player, delays_of(first.player).hold);
    Page page;
    page.title = options.title;
    page.first_bar = options.first_bar;
    page.rehearsal = options.rehearsal;
    page.tempos = beats.tempo_marks();
    page.words = words_at_the_head(beats);
    std::vector<const PlayersPart*> of; // of each voice
    for (const PlayersPart& part : players) {
        add_voices(page, part, beats);
        of.resize(page.voices.size(), &part);
    }
    Ticks end = 1;
    for (const Voice& voice : page.voices) end = std::max(end, end_of(voice.notes));
    page.bars = beats.bars_until(end);
    if (page.bars.back().end() < end) leave_out_what_is_later(page);
    page.keys = options.keys.empty() ? guessed_keys(page.voices, page.bars) : told_keys(options.keys, beats, page.bars);
    for (std::size_t i = 0; i < page.voices.size(); ++i) write_out(page.voices[i], *of[i], beats, page.bars);
    if (options.cue) {
        page.cue_name = options.cue->name;
        page.cue.notes = notes_of_keys(options.cue->played, beats);
        read(page.cue, page.bars);
    }
    return page_xml(page);
}

std::string part_xml(const Recorder& take, const PlayerConfig& player, const PartOptions& options)
{
    const PlayersPart one[] = {{take, player, {}}};
    return score_xml(one, options);
}

} // namespace bowarm
