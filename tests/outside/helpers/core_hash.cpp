// Plays seeded performances through the core and prints a hash of every byte and fact that comes out.
#include "player/random_playing.hpp"

#include <cstdio>
#include <cstring>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

class Hash final : public Sink
{
public:
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        add(at.ns);
        for (const Message& m : messages) add(m.bytes[0] << 16 | m.bytes[1] << 8 | m.bytes[2]);
    }
    void curve(Time at, Controller c, int value) noexcept override
    {
        add(at.ns);
        add(c.number.get() << 16 | value);
    }
    void fact(const Fact& f) noexcept override
    {
        add(f.at.ns);
        for (const double d : {f.hair_from.value, f.hair_to.value, f.motion.speed.value, f.motion.force.value, f.motion.beta.value}) {
            std::int64_t bits = 0;
            std::memcpy(&bits, &d, sizeof bits);
            add(bits);
        }
    }
    std::uint64_t value{14695981039346656037ULL}; // FNV-1a, 64 bits

private:
    void add(std::int64_t n)
    {
        for (int i = 0; i < 8; ++i) value = (value ^ static_cast<std::uint8_t>(n >> (8 * i))) * 1099511628211ULL;
    }
};

} // namespace

int main()
{
    Hash hash;
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        Player player{random_config(seed)};
        for (const Input& input : random_playing(seed, 300)) {
            advance(player, input.at, hash);
            player.on(input, hash);
        }
    }
    std::printf("%016llx\n", static_cast<unsigned long long>(hash.value));
}
