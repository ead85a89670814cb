// The language of the wishes file: what it says is understood, and what is wrong is told with its place and a remedy.
#include "take/wishes.hpp"

#include "player/random_playing.hpp"

#include <doctest/doctest.h>
#include <string>

using namespace bowarm;

namespace
{

std::vector<Wish> read(std::string_view text)
{
    auto result = read_wishes(text);
    REQUIRE(std::holds_alternative<std::vector<Wish>>(result));
    return std::get<std::vector<Wish>>(result);
}

} // namespace

TEST_CASE("each wish is read as it stands, and written as it could stand")
{
    struct Row {
        const char* text;
        const char* written;
    };
    const Row rows[] = {
        {"12:3 up", "12:3 up"},
        {"20:1 retake", "20:1 retake"},
        {"20:1 down retake", "20:1 retake down"},
        {"30:2.5 up", "30:2.5 up"},
        {"note 57 down", "note 57 down"},
        {"note 0 up retake", "note 0 retake up"},
        {"14:1 same-bow", "14:1 same-bow"},
        {"\t 1:1.25   up # said by the leader\r", "1:1.25 up"},
        {"\xEF\xBB\xBF"
         "3:2 down",
         "3:2 down"}, // a byte order mark, as some editors write it
    };
    for (const Row& row : rows) {
        CAPTURE(row.text);
        const auto wishes = read(row.text);
        REQUIRE(wishes.size() == 1);
        CHECK(wish_text(wishes[0]) == row.written);
        CHECK(wish_text(read(wish_text(wishes[0]))[0]) == row.written);
    }
}

TEST_CASE("comments and empty lines mean nothing, and lines are counted with them")
{
    const auto wishes = read("# bowings of the second desk\n\n  \t\n12:3 up\r\n#\n12:4 down");
    REQUIRE(wishes.size() == 2);
    CHECK(wishes[0].line == 4);
    CHECK(wishes[1].line == 6);
    CHECK(read("").empty());
    CHECK(read("\n\n# nothing").empty());
}

TEST_CASE("what is wrong is told with line, column and remedy")
{
    struct Row {
        const char* text;
        std::size_t line, column;
        const char* what;
    };
    const Row rows[] = {
        {"12:3 up\nup", 2, 1, "'up' is no place"},
        {"12 up", 1, 1, "'12' is no place"},
        {"0:1 up", 1, 1, "no such bar"},
        {"x:1 up", 1, 1, "no such bar"},
        {"-1:1 up", 1, 1, "no such bar"},
        {"1.5:1 up", 1, 1, "no such bar"},
        {"99999999999:1 up", 1, 1, "no such bar"},
        {"12:0.5 up", 1, 4, "no such beat"},
        {"12: up", 1, 4, "no such beat"},
        {"12:3.2.1 up", 1, 4, "no such beat"},
        {"12:1e1 up", 1, 4, "no such beat"},
        {"12:nan up", 1, 4, "no such beat"},
        {"12:3", 1, 5, "no wish"},
        {"12:3 # up", 1, 5, "no wish"},
        {"12:3 upp", 1, 6, "'upp' is no wish"},
        {"12:3 up down", 1, 9, "two directions for one stroke"},
        {"12:3 up up", 1, 9, "two directions for one stroke"},
        {"12:3 retake retake", 1, 13, "'retake' is there twice"},
        {"12:3 same-bow up", 1, 15, "same-bow goes on as the stroke before does, without a retake"},
        {"12:3 retake same-bow", 1, 13, "same-bow goes on as the stroke before does, without a retake"},
        {"note", 1, 5, "no number after note"},
        {"note x up", 1, 6, "'x' is no number of a note"},
        {"note -1 up", 1, 6, "'-1' is no number of a note"},
        {"  \x1b[2J up", 1, 3, "'?[2J' is no place"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.text);
        const auto result = read_wishes(row.text);
        REQUIRE(std::holds_alternative<WishProblem>(result));
        const auto& problem = std::get<WishProblem>(result);
        CHECK(problem.line == row.line);
        CHECK(problem.column == row.column);
        CHECK(problem.what == row.what);
        CHECK(!problem.remedy.empty());
    }
}

TEST_CASE("any bytes are wishes or a problem inside the text, and what is read can be read again")
{
    test::Dice dice(3);
    const std::string pieces[] = {"12:3", "12:3 up", "note 57", "note", " ", "\n", "up", "down", "retake", "same-bow", "57", ":", ".", "#", "1", "\r"};
    int understood = 0;
    for (int i = 0; i < 50'000; ++i) {
        std::string text;
        const int length = dice.below(12);
        for (int k = 0; k < length; ++k) {
            if (dice.one_in(4))
                text += static_cast<char>(dice.below(256));
            else
                text += pieces[dice.below(static_cast<int>(std::size(pieces)))] + (dice.one_in(2) ? " " : "");
        }
        CAPTURE(text);
        const auto result = read_wishes(text);
        if (const auto* problem = std::get_if<WishProblem>(&result)) {
            CHECK((problem->line >= 1 && problem->column >= 1 && problem->column <= text.size() + 1));
            CHECK((!problem->what.empty() && !problem->remedy.empty()));
            for (const char c : problem->what) CHECK((c >= ' ' && c <= '~'));
            continue;
        }
        for (const Wish& wish : std::get<std::vector<Wish>>(result)) {
            ++understood;
            const auto again = read(wish_text(wish));
            REQUIRE(again.size() == 1);
            CHECK((again[0].note == wish.note && again[0].bar == wish.bar && again[0].direction == wish.direction));
            CHECK((again[0].retake == wish.retake && again[0].same_bow == wish.same_bow));
        }
    }
    CHECK(understood > 100);
}
