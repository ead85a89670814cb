#include "world/houses.hpp"

namespace bowarm::world
{
namespace
{

const char* const inputs = R"(version = 1
[[input]]
name = "keys"
virtual = false
connect = ["keyboard", "pads"]
[[input]]
name = "box"
virtual = false
connect = ["pedals"]
role = "controllers"
[[input]]
name = "desk"
connect = ["sequencer"]
[[output]]
name = "high"
connect = ["sampler one"]
)";

constexpr int next_player_key = 15; // D#0

const char* const second_output = R"([[output]]
name = "low"
marked = true
connect = ["sampler two"]
)";

const char* const keys = R"([[controls.key]]
key = 12
does = "technique detache"
[[controls.key]]
key = 14
does = "technique staccato"
[[controls.key]]
key = 17
does = "technique tremolo"
[[controls.key]]
key = 19
does = "read technique"
[[controls.key]]
key = 20
does = "bypass"
[[controls.key]]
key = 21
does = "panic"
[[controls.key]]
key = 22
does = "take"
)";

std::string one(const std::string& rest) { return inputs + std::string{"[player]\nname = \"solo\"\n"} + rest; }

std::string quintet()
{
    std::string text = std::string{inputs} + second_output;
    const char* const instruments[] = {"violin", "violin", "viola", "cello", "double-bass"};
    for (int i = 0; i < 5; ++i)
        text += "[[player]]\nname = \"desk " + std::to_string(i) + "\"\ninstrument = \"" + instruments[i] +
                "\"\nchannel = " + std::to_string(i + 1) + "\ntarget_channel = " + std::to_string(i + 1) +
                (i > 2 ? "\noutput = \"low\"\n" : "\n");
    return text;
}

std::string under_hands()
{
    return std::string{inputs} + second_output + R"([[player]]
name = "left"
instrument = "cello"
target = "keyswitch-demo"
under_hands = true
target_channel = 1
[[player]]
name = "right"
target = "controller-ranges"
under_hands = true
target_channel = 2
output = "low"
[lamps]
output = "low"
channel = 16
hair_left = "cc 20"
down = "note C1"
up = "note C#1"
warning = "note D1"
[[controls.key]]
key = "D#0"
does = "next player"
)";
}

std::string text_of(int number)
{
    switch (number) {
    case 0:
        return one("target = \"general-midi\"\n");
    case 1:
        return one("target = \"keyswitch-demo\"\ndelay_s = 0.12\n[take]\nkeep_at_most = 5\n");
    case 2:
        return one(
            "target = \"held-keyswitches\"\nchord_hold_s = 0.02\nout_of_range = \"octave\"\n[take]\nsilence_s = 5\n[time]\ntempo = 100\n");
    case 3:
        return {
            one("instrument = \"cello\"\ntarget = \"program-changes\"\ndesks = 3\ndesk_channels = true\n[controls]\nsustain = \"pass\"\n")};
    case 4:
        return quintet();
    default:
        return under_hands();
    }
}

} // namespace

House house_of(int number) { return {text_of(number) + keys, number < 4}; }
bool is_for_the_hands(int house, int key) { return house == 5 && key == next_player_key; }

} // namespace bowarm::world
