#include "studio/toml_reader.hpp"

#include <doctest/doctest.h>
#include <string>
#include <sys/resource.h>

using namespace bowarm;

namespace
{

// What children that have ended took of a core; other work on the machine does not count.
double seconds_of_children()
{
    rusage used{};
    ::getrusage(RUSAGE_CHILDREN, &used);
    const auto of = [](const timeval& time) { return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) * 1e-6; };
    return of(used.ru_utime) + of(used.ru_stime);
}

std::string problem_of(const std::string& text)
{
    const auto read = read_toml_text("f.toml", text);
    const auto* problem = std::get_if<Problem>(&read);
    return problem ? problem->line() : "";
}

std::string repeated(const std::string& part, int times)
{
    std::string out;
    for (int i = 0; i < times; ++i) out += part;
    return out;
}

std::string joined(std::initializer_list<std::string> parts)
{
    std::string out;
    for (const std::string& part : parts) out += part;
    return out;
}

} // namespace

// toml-test (toml-lang), invalid/table/duplicate-key-10: the library of Debian 12 dies of it by SIGSEGV.
TEST_CASE("a text that crashes the library is a problem, not a crash")
{
    CHECK(problem_of("a = []\n[[a.b]]\n").find("the TOML reader cannot take this file") != std::string::npos);
}

TEST_CASE("bytes that the library must not see are refused with their place")
{
    struct Row {
        const char* why;
        std::string text;
        const char* line;
    };
    using namespace std::string_literals;
    const Row rows[] = {
        {"NUL", "a = 1\nb\0"s, "f.toml:2:2: a NUL byte"},
        // RFC 3629: C0 AF is an overlong form, ED A0 80 a surrogate, F5 above U+10FFFF, E2 82 cut short.
        {"overlong", "a = 'x\xC0\xAF'\n", "f.toml:1:7: not UTF-8"},
        {"surrogate", "# \xED\xA0\x80\n", "f.toml:1:3: not UTF-8"},
        {"above the last letter", "# \xF5\x80\x80\x80\n", "f.toml:1:3: not UTF-8"},
        {"cut short", "a = '\xE2\x82", "f.toml:1:6: not UTF-8"},
        {"Latin-1 in a literal string", "name = 'd\xE9tach\xE9'\n", "f.toml:1:10: not UTF-8"},
        {"17 brackets", joined({"a = ", repeated("[", 17), repeated("]", 17)}), "f.toml:1:21: nested more than 16 deep"},
        {"20000 brackets", joined({"a = ", repeated("[", 20000)}), "nested more than 16 deep"},
        {"brackets after a string with an escaped quote", joined({"a = [\"\\\"\", ", repeated("[", 16)}), "nested more than 16 deep"},
        {"17 parts", joined({repeated("a.", 16), "a = 1\n"}), "a key of more than 16 parts"},
        {"17 quoted parts", joined({repeated("\"a\".", 16), "a = 1\n"}), "a key of more than 16 parts"},
        {"17 parts in a header", joined({"[", repeated("a.", 16), "a]\n"}), "a key of more than 16 parts"},
        {"too large", repeated("# 0123456789abcde\n", 16000), "f.toml: larger than 256 KiB"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const std::string line = problem_of(row.text);
        CAPTURE(line);
        CHECK(line.find(row.line) != std::string::npos);
    }
}

TEST_CASE("what only looks deep is read")
{
    CHECK(problem_of(joined({"a = \"", repeated("[", 100), "\"\n"})) == "");
    CHECK(problem_of(joined({"# ", repeated("[", 100), repeated("a.", 100), "\n"})) == "");
    CHECK(problem_of(joined({"a = '''\n", repeated("[", 100), "\n'''\n"})) == "");
    CHECK(problem_of(joined({"a = ", repeated("[", 16), repeated("]", 16), "\n"})) == "");
    CHECK(problem_of(joined({repeated("a.", 15), "a = 1\n"})) == "");
    CHECK(problem_of(repeated("a = 1.5\n[b]\n", 1)) == "");
    CHECK(problem_of(joined({"a = [", repeated("1.5, ", 100), "]\n"})) == "");
    CHECK(problem_of("") == "");
    CHECK(problem_of("\xEF\xBB\xBF"
                     "a = 1\n") == "");
    CHECK(problem_of("a = 'd\xC3\xA9tach\xC3\xA9'\r\n") == "");
}

TEST_CASE("values keep their kinds and places")
{
    const auto read = read_toml_text(
        "f.toml", "# first\nwhole = 3\n[t]\n  real = 1.5\nflag = true\nlist = [\"a\",\n \"b\"]\nday = 2026-01-01\n[[row]]\n[[row]]\n");
    REQUIRE(std::holds_alternative<TomlFile>(read));
    const auto& file = std::get<TomlFile>(read);
    const auto* whole = file.root.find("whole");
    REQUIRE(whole);
    CHECK(whole->kind == TomlKind::whole);
    CHECK(whole->whole == 3);
    CHECK(file.where(whole->place) == "f.toml:2:9");
    const auto* t = file.root.find("t");
    REQUIRE(t);
    REQUIRE(t->entries.size() == 4);
    CHECK(t->entries[0].first == "real"); // in the order of the lines
    CHECK(t->entries[3].first == "day");
    CHECK(t->find("real")->number == 1.5);
    CHECK(file.where(t->find("real")->place) == "f.toml:4:10");
    CHECK(file.line(4) == "real = 1.5");
    CHECK(t->find("flag")->flag);
    REQUIRE(t->find("list")->items.size() == 2);
    CHECK(file.where(t->find("list")->items[1].place) == "f.toml:7:2");
    CHECK(t->find("day")->kind == TomlKind::date);
    REQUIRE(file.root.find("row"));
    REQUIRE(file.root.find("row")->items.size() == 2);
    CHECK(file.where(file.root.find("row")->items[1].place) == "f.toml:10:1");
}

TEST_CASE("a text that keeps the library busy ends within the limit")
{
    // 240 KiB of one array's parts: long, but nothing a person would write.
    const double before = seconds_of_children();
    const std::string line = problem_of(joined({"a = [", repeated("[],", 80000), "]\n"}));
    CHECK(seconds_of_children() - before < 3.5); // of a core, which setrlimit(2) counts; the hard limit is a second behind the two
    CAPTURE(line);
    CHECK((line.empty() || line.find("cannot take this file") != std::string::npos));
}
