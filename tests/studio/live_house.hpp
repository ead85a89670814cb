// Players of a configuration in one engine, without threads and ports: what is played to it, what each output got.
#pragma once

#include "files.hpp"

#include "studio/live_engine.hpp"
#include "take/replayed.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <memory>
#include <string>
#include <vector>

namespace bowarm::test
{

inline Time at(std::int64_t ms) { return Time{} + milliseconds(ms); }
inline Channel channel(int counted_from_1) { return *Channel::from(counted_from_1 - 1); }
inline Midi7 n(int i) { return Midi7::nearest(i); }

inline Settings settings_from_text(const std::string& text)
{
    const studio_test::Folder folder;
    std::filesystem::create_directory_symlink(studio_test::shipped / "instruments", folder.path() / "instruments");
    std::filesystem::create_directory_symlink(studio_test::shipped / "targets", folder.path() / "targets");
    const Loaded loaded = load_configuration(folder.write("bowarm.toml", "version = 1\n" + text), {});
    if (!std::holds_alternative<Settings>(loaded)) FAIL(studio_test::lines(studio_test::problems_of(loaded)));
    return std::get<Settings>(loaded);
}

// Two violins, viola, cello and bass on two outputs, each on its channel.
inline const char* const quintet = R"(
[[output]]
name = "high"
[[output]]
name = "low"
marked = true
[[player]]
name = "violin 1"
channel = 1
target_channel = 1
[[player]]
name = "violin 2"
channel = 2
target_channel = 2
[[player]]
name = "viola"
instrument = "viola"
channel = 3
target_channel = 3
[[player]]
name = "cello"
instrument = "cello"
channel = 4
target_channel = 4
output = "low"
[[player]]
name = "bass"
instrument = "double-bass"
channel = 5
target_channel = 5
output = "low"
)";

// Lines whose first queues belong to the outputs in their order, and what each of them got.
struct House {
    explicit House(const Settings& settings) : engine(ensemble_of(settings, *lines), {}, *lines)
    {
        for (std::size_t i = 0; i < settings.midi.outputs.size(); ++i) {
            lines->outs[i].output.store(static_cast<std::uint8_t>(i));
            lines->outs[i].make_room();
            lines->outs[i].in_use.store(true);
        }
    }
    ~House()
    {
        delete lines->offered.exchange(nullptr);
        delete lines->retired.exchange(nullptr);
    }
    void play(std::int64_t ms, const Message& m, std::uint8_t source = 0)
    {
        lines->feeds[source].assign({source});
        lines->feeds[source].queue.push(midi_input(at(ms), Source{source}, m));
    }
    void run_to(std::int64_t ms)
    {
        for (; now < ms; now += 2) {
            engine.turn(at(now));
            collect();
        }
    }
    void collect()
    {
        TakeItem item;
        while (lines->take.pop(item)) ++kept;
        JournalItem record;
        while (lines->journal.pop(record)) {
            if (const auto* input = std::get_if<JournalInput>(&record))
                journal.inputs.push_back(*input);
            else
                journal.checks.push_back(std::get<JournalCheck>(record));
        }
        for (std::size_t i = 0; i < outs_at_most; ++i) {
            OutItem out;
            while (lines->outs[i].pop(out))
                for (std::size_t m = 0; m < out.count; ++m) sent[i].push_back(out.messages[m]);
        }
    }
    int left_on(std::size_t output)
    {
        std::map<std::pair<int, int>, int> held;
        for (const Message& m : sent[output]) {
            int& count = held[{m.channel().get(), m.first().get()}];
            if (m.is_note_on()) ++count;
            if (m.is_note_off()) --count;
        }
        int left = 0;
        for (const auto& [key, count] : held) left += std::max(count, 0);
        return left;
    }
    int ons(std::size_t output, int counted_from_1)
    {
        return static_cast<int>(std::count_if(sent[output].begin(), sent[output].end(),
                                              [&](const Message& m) { return m.is_note_on() && m.channel() == channel(counted_from_1); }));
    }

    std::unique_ptr<Lines> lines = std::make_unique<Lines>();
    LiveEngine engine;
    std::int64_t now{0};
    int kept{0};
    Journal journal;
    std::map<std::size_t, std::vector<Message>> sent;
};

} // namespace bowarm::test
