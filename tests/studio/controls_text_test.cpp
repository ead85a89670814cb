// What `bowarmd setup` writes into a configuration: what was asked for is there when the loader reads it, and every byte outside
// the lines it owns is as it was.
#include "studio/controls_text.hpp"
#include "studio/files.hpp"
#include "studio/toml_places.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <random>
#include <set>
#include <vector>

using namespace bowarm;
using namespace studio_test;

namespace
{

std::string changed(const std::string& text, const ControlsWish& wish)
{
    const ChangedText out = with_controls(text, wish);
    REQUIRE(std::holds_alternative<std::string>(out));
    return std::get<std::string>(out);
}

Settings loaded(const std::string& text)
{
    const Loaded out = load_configuration_text(shipped / "bowarm.toml", text, {});
    REQUIRE_MESSAGE(std::holds_alternative<Settings>(out), lines(problems_of(out)) << "\n" << text);
    return std::get<Settings>(out);
}

std::vector<std::string> lines_in(const std::string& text)
{
    std::vector<std::string> out;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = std::min(text.find('\n', at), text.size() - 1);
        out.push_back(text.substr(at, end + 1 - at));
        at = end + 1;
    }
    return out;
}

const ControlsWish some_wish{{{"loudness", "\"cc 2\""}, {"loudness_from", "120"}, {"loudness_to", "5"}},
                             {{"technique spiccato", Midi7::nearest(24)}, {"panic", Midi7::nearest(13)}, {"next up", Midi7::nearest(25)}},
                             {{"same bow", Midi7::nearest(66), Midi7::nearest(0), Midi7::nearest(63)}}};

} // namespace

TEST_CASE("the shipped configuration says after setup what was asked for, and all else as before")
{
    const std::string before = text_of_file(shipped / "bowarm.toml");
    const Settings settings = loaded(changed(before, some_wish));
    const Controls& c = settings.player.controls;
    CHECK(c.loudness.kind == PersonController::control_change);
    CHECK(c.loudness.number.get() == 2);
    CHECK(c.loudness.from.get() == 120);
    CHECK(c.loudness.to.get() == 5);
    CHECK(c.keys[24].kind == ActionKind::select_technique);
    CHECK(c.keys[24].technique == Technique::spiccato);
    CHECK(c.keys[15].kind == ActionKind::none); // where spiccato was
    CHECK(c.keys[13].kind == ActionKind::panic);
    CHECK(c.keys[21].kind == ActionKind::none); // where panic was; legato, which was on 13, has lost its key
    CHECK(c.keys[25].kind == ActionKind::next_up);
    CHECK(c.keys[12].technique == Technique::detache);
    REQUIRE(c.controllers.size() == 1);
    CHECK(c.controllers[0].number.get() == 66);
    CHECK(c.controllers[0].low.get() == 0);
    CHECK(c.controllers[0].high.get() == 63);
}

TEST_CASE("every comment of the shipped configuration stays, but for those on lines of a key that was taken")
{
    const std::string before = text_of_file(shipped / "bowarm.toml");
    const std::string after = changed(before, some_wish);
    for (const std::string& line : lines_in(before)) {
        const std::size_t comment = line.find('#');
        if (comment == std::string::npos || line.find("\"C#") != std::string::npos) continue;
        if (line.find("does = \"technique legato\"") != std::string::npos) continue;
        CAPTURE(line);
        CHECK(after.find(line.substr(comment)) != std::string::npos);
    }
}

TEST_CASE("asking for what holds already changes nothing")
{
    const std::string before = text_of_file(shipped / "bowarm.toml");
    CHECK(changed(before, {}) == before);
    CHECK(changed(before, {{{"loudness", "\"cc 11\""}, {"sustain", "\"same bow\""}}, {{"panic", Midi7::nearest(21)}}, {}}) == before);
}

TEST_CASE("two keys may change places")
{
    const std::string text =
        "version = 1\n[[controls.key]]\nkey = \"C0\"\ndoes = \"panic\"\n[[controls.key]]\nkey = 13 # here\ndoes = \"bypass\"\n";
    CHECK(changed(text, {{}, {{"panic", Midi7::nearest(13)}, {"bypass", Midi7::nearest(12)}}, {}}) ==
          "version = 1\n[[controls.key]]\nkey = \"C#0\"\ndoes = \"panic\"\n[[controls.key]]\nkey = \"C0\" # here\ndoes = \"bypass\"\n");
}

TEST_CASE("odd places are found")
{
    struct Row {
        const char* why;
        const char* before;
        const char* after;
    };
    constexpr Row rows[] = {
        {"no [controls] yet", "version = 1", "version = 1\n\n[controls]\nloudness = \"cc 2\"\n"},
        {"an empty one", "version = 1\n[controls]\n# mine\n[take]\nkeep = false\n",
         "version = 1\n[controls]\nloudness = \"cc 2\"\n# mine\n[take]\nkeep = false\n"},
        {"blanks, quotes and a comment with an equals sign",
         "version = 1\n[ 'controls' ] # loudness = 3\n  \"loudness\" =\t'cc 1' # x = \"y\"\n",
         "version = 1\n[ 'controls' ] # loudness = 3\n  \"loudness\" =\t\"cc 2\" # x = \"y\"\n"},
        {"lines that end as elsewhere", "version = 1\r\n[controls]\r\namount = \"none\"\r\n[log]\r\n",
         "version = 1\r\n[controls]\r\namount = \"none\"\r\nloudness = \"cc 2\"\r\n[log]\r\n"},
        {"a list over lines with a bracket, a quote and a false header in it",
         "version = 1\n[output]\nconnect = [ # ]\n  \"[controls]\", '\"',\n]\n[controls]\nloudness = \"none\"\n",
         "version = 1\n[output]\nconnect = [ # ]\n  \"[controls]\", '\"',\n]\n[controls]\nloudness = \"cc 2\"\n"},
        {"a text over lines that looks like a section",
         "version = 1\n[take]\nfolder = \"\"\"\n[controls]\nloudness = 1\"\"\"\n[controls]\nloudness = \"cc 1\"\n",
         "version = 1\n[take]\nfolder = \"\"\"\n[controls]\nloudness = 1\"\"\"\n[controls]\nloudness = \"cc 2\"\n"},
        {"tables of keys without a [controls] before them", "version = 1\n[[controls.key]]\nkey = 12\ndoes = \"panic\"\n",
         "version = 1\n[controls]\nloudness = \"cc 2\"\n\n[[controls.key]]\nkey = 12\ndoes = \"panic\"\n"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const std::string after = changed(row.before, {{{"loudness", "\"cc 2\""}}, {}, {}});
        CHECK(after == row.after);
        const bool loads = after.find("\"\"\"") == std::string::npos; // a folder's name stands on one line
        if (loads) CHECK(loaded(after).player.controls.loudness.number.get() == 2);
    }
}

TEST_CASE("forms that are not edited here are said to be so, with their line")
{
    for (const char* text : {"version = 1\ncontrols.loudness = \"cc 1\"\n", "version = 1\ncontrols = {loudness = \"cc 1\"}\n"}) {
        const ChangedText out = with_controls(text, some_wish);
        REQUIRE(std::holds_alternative<Problem>(out));
        CHECK(std::get<Problem>(out).where == "line 2");
    }
}

// Random files of sections, comments, blank lines and keys, and random wishes.
TEST_CASE("outside the lines it owns setup changes no byte, whatever the file looks like")
{
    std::mt19937 chance{7};
    const auto draw = [&](int n) { return static_cast<int>(chance() % static_cast<unsigned>(n)); };
    const char* const actions[] = {"technique legato", "technique staccato", "panic", "bypass", "next up", "retake"};
    const char* const fillers[] = {"", "# loudness = \"cc 3\"", "   # [controls]", "# key = \"C0\"", "\t"};
    for (int round = 0; round < 2000; ++round) {
        const std::string end = draw(4) == 0 ? "\r\n" : "\n";
        std::vector<std::string> before; // lines; those that setup may touch are marked
        std::vector<bool> owned;
        const auto line = [&](const std::string& text, bool own = false) {
            before.push_back(text + end);
            owned.push_back(own);
        };
        const auto filler = [&] {
            while (draw(3) == 0) line(fillers[draw(5)]);
        };
        ControlsWish wish;
        std::set<int> used;
        std::set<std::string> wished;
        const auto free_key = [&] {
            int key = draw(40);
            while (!used.insert(key).second) key = draw(40);
            return key;
        };
        const int new_loudness = 1 + draw(5);
        const bool loudness = draw(2) == 0;
        if (loudness) wish.values.emplace_back("loudness", "\"cc " + std::to_string(new_loudness) + "\"");
        for (const char* action : actions)
            if (draw(2) == 0) {
                wish.keys.push_back({action, Midi7::nearest(free_key())});
                wished.insert(action);
            }
        std::set<int> wish_keys;
        for (const KeyWish& key : wish.keys) wish_keys.insert(key.key.get());

        line("version = 1");
        filler();
        if (draw(2) == 0) {
            line("[take]");
            filler();
            line("keep = false # loudness = \"cc 9\"");
        }
        filler();
        if (draw(3) != 0) {
            line("[controls]");
            filler();
            if (draw(2) == 0) line("loudness = \"cc 20\"", loudness);
            filler();
            line("sustain = \"pass\"   # mine");
        }
        std::set<int> old_keys;
        for (const char* action : actions) {
            filler();
            if (draw(2) == 0) continue;
            int key = draw(40);
            while (!old_keys.insert(key).second) key = draw(40);
            const bool own = wished.count(action) != 0 || wish_keys.count(key) != 0;
            line("[[controls.key]]", own);
            line("key = " + (draw(2) == 0 ? std::to_string(key) : toml_text(key_word(static_cast<std::uint8_t>(key)))), own);
            line(std::string{"does = \""} + action + "\"", own);
        }
        filler();
        if (draw(2) == 0) {
            line("[log]");
            line("level = \"error\"");
            filler();
        }
        std::string text;
        for (const std::string& l : before) text += l;
        CAPTURE(text);

        const std::string after = changed(text, wish);
        // What nobody owns is there, in its order, byte for byte.
        std::size_t at = 0;
        bool kept = true;
        for (std::size_t i = 0; i < before.size() && kept; ++i) {
            const bool blank = before[i] == end; // one may go with a table that was taken away
            if (owned[i] || blank) continue;
            const std::size_t found = after.find(before[i], at);
            kept = found != std::string::npos;
            at = kept ? found + before[i].size() : at;
        }
        CHECK(kept);
        // Nothing is added but lines that were asked for.
        std::multiset<std::string> rest;
        for (const std::string& l : lines_in(after)) rest.insert(l);
        for (std::size_t i = 0; i < before.size(); ++i)
            if (const auto found = rest.find(before[i]); found != rest.end()) rest.erase(found);
        for (const std::string& l : rest) {
            const bool asked = l == end || l.starts_with("[controls]") || l.starts_with("[[controls.key]]") || l.starts_with("key = \"") ||
                               l.starts_with("does = \"") || l.starts_with("loudness = \"cc ");
            CHECK_MESSAGE(asked, l);
        }
        if (round % 20 != 0) continue; // the loader reads in a child process, which takes its time
        const Controls controls = loaded(after).player.controls;
        if (loudness) CHECK(controls.loudness.number.get() == new_loudness);
        for (const KeyWish& key : wish.keys) {
            const Action& action = controls.keys[key.key.get()];
            CHECK(action.kind != ActionKind::none);
            if (key.does == "technique staccato") CHECK(action.technique == Technique::staccato);
            if (key.does == "panic") CHECK(action.kind == ActionKind::panic);
        }
    }
}
