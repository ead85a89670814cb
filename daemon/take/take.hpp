// What was played and what was sent, gathered for the files that a composer keeps.
//   thread   one at a time (the take writer, or the caller of replay).  Real-time safe: no, it allocates.
//   Errors   files: std::system_error with the path; nothing half written is left behind.
#pragma once

#include "base/fixed_vector.hpp"
#include "hear/input.hpp"
#include "midi/controller_messages.hpp"
#include "midi/standard_file.hpp"
#include "player/player.hpp"
#include "target/fine.hpp"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

struct SentMessage {
    Time at;
    Message message;
};

// What was known when the bow of a stroke was chosen, and what was chosen.
struct Decision {
    Time at;
    std::uint32_t note{0};
    ChoiceNeeds needs;
    Direction direction{Direction::down};
    bool retake{false};
};

// Gathers a performance: every input, every message sent, every fact.
//   Everything written from it counts time from its origin, the logical time 0 unless said otherwise.
class Recorder final : public Sink
{
public:
    void begin_at(Time origin) { origin_ = origin; }
    Time origin() const { return origin_; }
    // The latest moment of anything in it, the origin when empty.
    Time latest() const { return inputs_.empty() && sent_.empty() && facts_.empty() ? origin_ : latest_; }

    void input(const Input& input);
    void bundle(Time at, std::span<const Message> messages) noexcept override;
    void curve(Time at, Controller controller, int value) noexcept override;
    void fact(const Fact& fact) noexcept override;
    void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept override;

    const std::vector<Input>& inputs() const { return inputs_; }
    const std::vector<SentMessage>& sent() const { return sent_; }
    const std::vector<Fact>& facts() const { return facts_; }
    const std::vector<Decision>& decisions() const { return decisions_; }
    bool empty() const { return inputs_.empty() && facts_.empty(); }
    // The origin stays.
    void clear();

private:
    void saw(Time at);

    Time origin_;
    Time latest_;
    FineHalves halves_;
    std::vector<Input> inputs_;
    std::vector<SentMessage> sent_;
    std::vector<Fact> facts_;
    std::vector<Decision> decisions_;
};

// What became of one line of a wishes file.
struct WishOutcome {
    std::size_t line{0};
    std::string wish;
    std::string refused; // why; empty: it was obeyed
};

// Live against hindsight (hindsight.hpp).
struct Regret {
    double cost{0};         // 0 or more
    std::size_t strokes{0}; // that go the other way
};

struct ReportHead {
    std::string_view instrument;
    std::string_view target;
    std::string_view mode;               // "live" or "hindsight"
    std::span<const StringData> strings; // for their names in the report
    std::optional<Regret> regret{};
    std::optional<std::span<const WishOutcome>> wishes{}; // empty: nothing was asked
    Duration later{0};                                    // the player acted so much later than the person played; not in the report
};
// Format "bowarm-report", version 1; one JSON text in UTF-8, LF at its end.
//   Of each note, beside what README.md tells: "string", the letter of the open string; "stopped", semitones above it, 0 open;
//   "position", of the hand as players count, null on an open string and where the thumb plays; "desk", from 1, where the notes are
//   shared.  A note of a broken chord has the onset at which it sounds.  Warning "not-playable-together" has the reason in its text.
//   Of each warning: "severity", note, careful or cannot; "reason" and "remedy" in words, "text" both in one (remarks.hpp).
std::string report_json(const Recorder& take, const ReportHead& head);
// The warnings alone, one a row; RFC 4180, a header first.
std::string report_csv(const Recorder& take, const ReportHead& head);
// The warnings alone, for people.
std::string report_plain(const Recorder& take, const ReportHead& head);

// Of several players in one file each is named.
struct NamedTake {
    std::string name; // empty: there is one player
    const Recorder& take;
    Duration earlier{0}; // by how much everything was sent too late
};

// A Standard MIDI File of what was sent: format 1, tempo and meter as heard, 960 ticks a quarter.
//   earlier: by how much everything was sent too late; what would fall before the origin stands at it.
std::vector<std::uint8_t> sent_as_midi_file(const Recorder& take, Duration earlier = {0});
// The same of what was played.
std::vector<std::uint8_t> played_as_midi_file(const Recorder& take);

// Both in one file: track "played", track "sent", and on the first one markers: "down", "up", "retake down" where strokes begin, and
// "warning: ..." with the report's sentence.
std::vector<std::uint8_t> take_as_midi_file(const Recorder& take);

// The same of one player or several, who have one origin; at least one.  Of several: a track for each by its name, of both
// "NAME played" and "NAME sent", and "NAME: " before each marker.
std::vector<std::uint8_t> sent_as_midi_file(std::span<const NamedTake> takes);
std::vector<std::uint8_t> played_as_midi_file(std::span<const NamedTake> takes);
std::vector<std::uint8_t> take_as_midi_file(std::span<const NamedTake> takes);

// Of a file with both, read back, the played tracks are left, so that it can be bowed again; any other file stays as it is.
void leave_what_was_played(StandardFile& file);

// What can be made again, as the thousand pages of a chart, need not wait for the disk.
enum class Settle : std::uint8_t { on_disk, by_itself };
inline constexpr unsigned owner_only = 0600;

// Whole or not at all: a temporary beside it, fsync unless it may settle by itself, rename.  Throws std::system_error.
//   mode: of a new file, less the umask; one that is there keeps its own.
void write_whole_file(const std::filesystem::path& path, std::span<const std::uint8_t> bytes, unsigned mode = 0666,
                      Settle settle = Settle::on_disk);

} // namespace bowarm
