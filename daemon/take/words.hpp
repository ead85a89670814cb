// The words of string players for the codes of the core.
//   thread   any, pure.  Real-time safe: no, sentences are strings.
#pragma once

#include "bow/instrument.hpp"
#include "player/fact.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace bowarm
{

// "short", "accented-short"; of what was read from the playing.
std::string_view family_word(Family family) noexcept;

// Lower-case ASCII, for data and configuration: "detache", "col-legno-battuto".
std::string_view technique_word(Technique technique) noexcept;
std::optional<Technique> technique_of_word(std::string_view word) noexcept;

// "sul-ponticello", "ordinary", "sul-tasto".
std::string_view zone_word(ContactZone zone) noexcept;
std::string_view direction_word(Direction direction) noexcept;               // "down", "up"
std::optional<std::string_view> force_verdict_word(ForceVerdict v) noexcept; // "inside", "below", "above"; empty: not judged

// The pitch class of a key with sharps: "G", "F#".
std::string_view pitch_class_word(Midi7 key) noexcept;
// Pitch class and octave, middle C (key 60) as C4 (scientific pitch notation).
std::string key_word(std::uint8_t key);

// "hair-runs-out"; data, never changed once published.
std::string_view warning_word(Warning warning) noexcept;
// Why notes cannot be played together.
std::string_view unplayable_words(Unplayable why) noexcept;
// What is wrong, and what helps; the sentence is both.
std::string warning_reason(const Fact& warning);
std::string_view warning_remedy(Warning warning) noexcept;
std::string warning_sentence(const Fact& warning);

// Why a stroke goes the way it goes, as a player would say it.
std::string_view reason_words(Reason reason) noexcept;
// The same with the bar it speaks of; bar: of the stroke, 0 when unknown.
std::string reason_in_bar(Reason reason, std::int32_t bar);
// Who told bar and beat.
std::string_view beat_source_word(BeatSource source) noexcept;

} // namespace bowarm
