// Plays one workload and prints how many inputs and wakes it took; instructions.sh counts what they cost.
#include "bench/workload.hpp"

#include <cstdio>
#include <cstring>

using namespace bowarm;
using namespace bowarm::test;

int main(int argc, char** argv)
{
    const bool random = argc > 1 && std::strcmp(argv[1], "random") == 0;
    const auto inputs = random ? random_playing(1, 6'000) : song();
    Player player{random ? random_config(1) : violin_config()};
    Counting sink;
    std::printf("%zu\n", run(player, inputs, sink));
}
