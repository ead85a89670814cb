#include "phrase/phrase.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

PhraseConfig config()
{
    PhraseConfig c{};
    c.chord_window = Seconds{0.03};
    c.limits = {Loudness{0.7}, Hertz{2.5}, Hertz{7.5}, Hertz{7}, Hertz{13}};
    return c;
}

Gesture key(std::int64_t ms, int pitch, int velocity = 80)
{
    Gesture g;
    g.at = Time{} + milliseconds(ms);
    g.pitch = Midi7::nearest(pitch);
    g.velocity = Midi7::nearest(velocity);
    return g;
}

} // namespace

TEST_CASE("how a note hangs together with what sounds")
{
    Phrase p(config());
    CHECK(p.key_down(key(0, 60), Loudness{0.5}, std::nullopt, true).first);
    CHECK((p.key_down(key(20, 64), Loudness{0.5}, std::nullopt, true).connection == Connection::chord));
    CHECK((p.key_down(key(200, 67), Loudness{0.5}, std::nullopt, true).connection == Connection::slurred));
    p.key_up(key(250, 60));
    p.key_up(key(250, 64));
    p.key_up(key(300, 67));
    const NoteMeaning separate = p.key_down(key(450, 69), Loudness{0.5}, std::nullopt, true);
    CHECK((separate.connection == Connection::separate));
    CHECK(separate.gap.value == doctest::Approx(0.15));
}

TEST_CASE("the rhythm just heard is what is expected")
{
    Phrase p(config());
    NoteMeaning last;
    for (int i = 0; i < 6; ++i) {
        last = p.key_down(key(i * 250, 60), Loudness{0.5}, std::nullopt, true);
        p.key_up(key(i * 250 + 200, 60));
    }
    CHECK(last.expected.value == doctest::Approx(0.25));
}

TEST_CASE("a line does not flicker between two techniques at the edge")
{
    Phrase p(config());
    // Held shares that wander about the edge: once short, it stays short.
    constexpr int held[] = {100, 100, 100, 118, 122, 116, 121, 118, 123, 117};
    int changes = 0;
    Technique before = Technique::detache;
    for (int i = 0; i < 10; ++i) {
        const NoteMeaning n = p.key_down(key(i * 220, 60), Loudness{0.5}, std::nullopt, true);
        p.key_up(key(i * 220 + held[i], 60));
        changes += n.technique != before;
        before = n.technique;
    }
    CHECK(changes == 1);
}

TEST_CASE("more keys than hands can hold are refused, not forgotten")
{
    Phrase p(config());
    for (int i = 0; i < static_cast<int>(Phrase::key_limit); ++i)
        CHECK(!p.key_down(key(i, 20 + i), Loudness{0.5}, std::nullopt, true).refused);
    CHECK(p.key_down(key(50, 100), Loudness{0.5}, std::nullopt, true).refused);
    CHECK(!p.key_up(key(60, 100)));
    CHECK(p.key_up(key(60, 20)));
}
