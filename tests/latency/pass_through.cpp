// The plainest pass-through there is: one RtMidi input whose callback sends on what it hears.
//   pass_through CLIENT   until standard input ends
#include <RtMidi.h>

#include <cstdio>

int main(int argc, char** argv)
{
    if (argc != 2) return 64;
    try {
        RtMidiIn in(RtMidi::UNIX_JACK, argv[1]);
        RtMidiOut out(RtMidi::UNIX_JACK, std::string{argv[1]} + "-out");
        in.ignoreTypes(false, false, false);
        in.setCallback([](double, std::vector<unsigned char>* bytes, void* to) { static_cast<RtMidiOut*>(to)->sendMessage(bytes); }, &out);
        in.openVirtualPort("in");
        out.openVirtualPort("out");
        std::puts("ready");
        std::fflush(stdout);
        while (std::getchar() != EOF) {
        }
    } catch (const RtMidiError& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 69;
    }
    return 0;
}
