// Writers of takes and journals in a folder, and what is pushed to them.
#pragma once

#include "live_player.hpp"

#include "studio/journal_writer.hpp"
#include "studio/take_writer.hpp"

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

namespace bowarm::test
{

inline std::vector<std::filesystem::path> ending_with(const std::filesystem::path& folder, const std::string& begin, const std::string& end)
{
    std::vector<std::filesystem::path> found;
    for (const auto& entry : std::filesystem::directory_iterator{folder}) {
        const std::string name = entry.path().filename().string();
        if (name.starts_with(begin) && name.ends_with(end)) found.push_back(entry.path());
    }
    std::sort(found.begin(), found.end());
    return found;
}

inline Journal journal_in(const std::filesystem::path& path) { return read_journal(bytes_of_file(path)); }

inline Input key(std::int64_t ms, int pitch, bool down)
{
    const Midi7 p = Midi7::nearest(pitch);
    return midi_input(Time{ms * 1'000'000}, {0}, down ? note_on(Channel{}, p, Midi7::nearest(80)) : note_off(Channel{}, p));
}

inline void push_notes(Lines& lines, int from, int count)
{
    for (int n = from; n < from + count; ++n) {
        for (const Input& input : {key(100 * n, 60 + n % 12, true), key(100 * n + 50, 60 + n % 12, false)}) {
            lines.take.push(input);
            lines.journal.push(input);
        }
    }
}

inline JournalHead head_of_violin()
{
    packaged_violin();
    const Loaded loaded = load_configuration(BOWARM_SOURCE_DIR "/config/bowarm.toml", {});
    const auto& settings = std::get<Settings>(loaded);
    const auto text = [](const std::filesystem::path& path) {
        const auto bytes = bytes_of_file(path);
        return KeptText{path.string(), {bytes.begin(), bytes.end()}};
    };
    return {1'700'000'000, Time{-1}, "build", "0.1.0", {text(settings.file), text(settings.instrument_file), text(settings.target_file)}};
}

inline TakeWish wish_for(const std::filesystem::path& folder, Seconds silence = Seconds{0.2})
{
    TakeWish wish{folder, silence, false, {packaged_violin()}};
    wish.journal = head_of_violin();
    return wish;
}

template <class Inputs> std::size_t note_ons(const Inputs& inputs)
{
    return static_cast<std::size_t>(std::count_if(inputs.begin(), inputs.end(),
                                                  [](const Input& i) { return i.kind == InputKind::midi && as_message(i).is_note_on(); }));
}

} // namespace bowarm::test
