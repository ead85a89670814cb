#include "bench/workload.hpp"

namespace bowarm::test
{

std::size_t run(Player& player, const std::vector<Input>& inputs, Sink& sink)
{
    std::size_t calls = 0;
    for (const Input& input : inputs) {
        while (player.next_wake() <= input.at && player.next_wake() != Time::never()) {
            player.wake(sink);
            ++calls;
        }
        player.on(input, sink);
        ++calls;
    }
    return calls;
}

std::vector<Input> song()
{
    std::vector<Input> inputs;
    for (int i = 0; i < 600; ++i) {
        const Time at = at_ms(i * 500);
        inputs.push_back(midi_input(at, Source{0}, note_on(Channel{}, Midi7::nearest(62 + i % 12), Midi7::nearest(70))));
        for (int k = 1; k < 10; ++k) {
            const Message loudness = control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(50 + (i + 3 * k) % 50));
            inputs.push_back(midi_input(at + milliseconds(45 * k), Source{0}, loudness));
        }
        inputs.push_back(midi_input(at + milliseconds(450), Source{0}, note_off(Channel{}, Midi7::nearest(62 + i % 12))));
    }
    return inputs;
}

} // namespace bowarm::test
