// Any bytes as a configuration, through the reader as the product has it: a child process reads first, so that the library's crashes
// are refusals; then the text is changed as `bowarmd setup` does.
//   A text that crashes the library leaves an artifact behind, from the child; only the program's own exit code is a finding.
//   Slow, for every input makes a process; `configuration` tries what stands behind the library much faster.
#include "fuzz.hpp"

#include "studio/controls_text.hpp"
#include "studio/keyswitches_text.hpp"
#include "studio/toml_places.hpp"
#include "studio/toml_reader.hpp"

using namespace bowarm;
using fuzz::require;

namespace
{

void check_places(const std::string& text)
{
    const auto inside = [&](const TextSpan& span) { return span.begin <= span.end && span.end <= text.size(); };
    for (const TablePlace& table : places_in(text)) {
        require(inside(table.header), "a header is inside the text");
        for (const EntryPlace& entry : table.entries)
            require(inside(entry.lines) && inside(entry.value) && entry.value.end <= entry.lines.end, "an entry is inside its lines");
    }
    require(TextChanges{text}.applied() == text, "no change changes nothing");
}

void check_changes(const std::string& text)
{
    ControlsWish wish;
    wish.values = {{"loudness", "7"}, {"loudness_from", "3"}};
    wish.keys = {{"panic", Midi7::nearest(21)}};
    wish.controllers = {{"same bow", Midi7::nearest(66), Midi7::nearest(64), Midi7::nearest(127)}};
    if (const auto changed = with_controls(text, wish); const auto* done = std::get_if<std::string>(&changed)) check_places(*done);
    check_places(with_keyswitches(text, "mine", {{Technique::detache, Midi7::nearest(1), Midi7::nearest(2)}}));
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    const std::string text{fuzz::text_of({data, size})};
    check_places(text);
    const TomlRead read = read_toml_text("f.toml", text);
    if (const auto* problem = std::get_if<Problem>(&read)) {
        require(!problem->what.empty() && problem->line().find('\n') == std::string::npos, "a refusal is one line");
        return 0;
    }
    check_changes(text);
    return 0;
}
