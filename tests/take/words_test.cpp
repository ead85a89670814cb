#include "take/words.hpp"

#include "take/decimal.hpp"

#include <cctype>
#include <doctest/doctest.h>
#include <limits>
#include <set>
#include <string>

using namespace bowarm;

TEST_CASE("the words of the techniques are the trade's, in both ways")
{
    const std::string_view words[technique_count] = {"detache",
                                                     "legato",
                                                     "portato",
                                                     "martele",
                                                     "marcato",
                                                     "staccato",
                                                     "spiccato",
                                                     "sautille",
                                                     "ricochet",
                                                     "hooked",
                                                     "tremolo",
                                                     "col-legno-battuto",
                                                     "col-legno-tratto",
                                                     "pizzicato",
                                                     "snap-pizzicato",
                                                     "harmonic",
                                                     "artificial-harmonic",
                                                     "flautando",
                                                     "left-hand-pizzicato"};
    for (int i = 0; i < technique_count; ++i) {
        CHECK(technique_word(static_cast<Technique>(i)) == words[i]);
        CHECK(technique_of_word(words[i]) == static_cast<Technique>(i));
    }
    CHECK(technique_word(Technique::col_legno_battuto) == "col-legno-battuto");
    CHECK(technique_word(Technique::snap_pizzicato) == "snap-pizzicato");
    CHECK(!technique_of_word("Detache"));
    CHECK(!technique_of_word(""));
}

TEST_CASE("every family that is read has its own word in lower case")
{
    std::set<std::string_view> words;
    for (int f = 0; f < family_count; ++f) {
        const std::string_view word = family_word(static_cast<Family>(f));
        CHECK(word.find_first_not_of("abcdefghijklmnopqrstuvwxyz-") == std::string_view::npos);
        words.insert(word);
    }
    CHECK(words.size() == static_cast<std::size_t>(family_count));
}

TEST_CASE("every warning has its own code in lower case with dashes and a sentence with a remedy")
{
    std::set<std::string_view> codes;
    for (auto w = Warning::hair_runs_out; w <= Warning::no_such_harmonic; w = static_cast<Warning>(static_cast<int>(w) + 1)) {
        Fact fact;
        fact.warning = w;
        fact.number = 0.25;
        const std::string sentence = warning_sentence(fact);
        CAPTURE(sentence);
        CHECK(codes.insert(warning_word(w)).second);
        for (const char c : warning_word(w)) CHECK((c == '-' || (std::islower(static_cast<unsigned char>(c)) != 0)));
        CHECK(warning_word(w) != warning_word(Warning::none));
        CHECK(sentence == warning_reason(fact) + "; " + std::string{warning_remedy(w)});
        CHECK(warning_remedy(w).size() > 10);
        CHECK((w == Warning::not_playable_together || warning_reason(fact).size() > 20)); // that one says why by the notes
    }
    CHECK(warning_word(Warning::hair_runs_out) == "hair-runs-out");
}

TEST_CASE("a warning says its number")
{
    Fact fact;
    fact.warning = Warning::off_string_too_fast;
    fact.number = 14.26;
    CHECK(warning_sentence(fact).find("14.3 notes a second") != std::string::npos);
}

TEST_CASE("every reason has words of its own")
{
    std::set<std::string_view> seen;
    for (auto r = Reason::first_stroke; r <= Reason::soft_start; r = static_cast<Reason>(static_cast<int>(r) + 1)) {
        CHECK(!reason_words(r).empty());
        CHECK(seen.insert(reason_words(r)).second);
    }
    CHECK(reason_words(Reason::none).empty());
    CHECK(reason_in_bar(Reason::pickup, 4) == "up-bow on the pickup before bar 5");
    CHECK(reason_in_bar(Reason::pickup, 0) == reason_words(Reason::pickup));
}

// Open strings of the family and scientific pitch notation: violin G3 D4 A4 E5, viola and cello from C, bass E1.
TEST_CASE("keys have their names")
{
    CHECK(key_word(55) == "G3");
    CHECK(key_word(60) == "C4");
    CHECK(key_word(28) == "E1");
    CHECK(key_word(0) == "C-1");
    CHECK(pitch_class_word(Midi7::nearest(76)) == "E");
    CHECK(pitch_class_word(Midi7::nearest(66)) == "F#");
}

TEST_CASE("decimals are plain and rounded away from zero at the half")
{
    CHECK(decimal_text(0.31, 4) == "0.31");
    CHECK(decimal_text(-0.00004, 4) == "0");
    CHECK(decimal_text(-2.5, 0) == "-3");
    CHECK(decimal_text(0.00005, 4) == "0.0001");
    CHECK(decimal_text(12.0, 3) == "12");
    CHECK(decimal_text(1e-7, 6) == "0");
    CHECK(!rounded(std::numeric_limits<double>::quiet_NaN(), 4));
    CHECK(!rounded(std::numeric_limits<double>::infinity(), 4));
}
