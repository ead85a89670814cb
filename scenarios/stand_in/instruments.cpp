#include "instruments.hpp"

#include <algorithm>
#include <cmath>

namespace bowarm::stand_in
{
namespace
{

using Z = KilogramsPerSecond;

constexpr Instrument all[] = {
    {"violin", 103, {{{55, Z{0.36}}, {62, Z{0.22}}, {69, Z{0.18}}, {76, Z{0.18}}}}, 1.0},
    {"viola", 93, {{{48, Z{0.53}}, {55, Z{0.34}}, {62, Z{0.24}}, {69, Z{0.22}}}}, 0.8},
    {"cello", 88, {{{36, Z{1.47}}, {43, Z{0.98}}, {50, Z{0.62}}, {57, Z{0.54}}}}, 0.38},
    {"double-bass", 67, {{{28, Z{3.24}}, {33, Z{2.42}}, {38, Z{1.78}}, {43, Z{1.34}}}}, 0.24},
};

} // namespace

std::span<const Instrument> instruments() { return all; }

const Instrument* instrument_of(std::string_view name)
{
    const auto found = std::find_if(std::begin(all), std::end(all), [&](const Instrument& i) { return i.name == name; });
    return found == std::end(all) ? nullptr : &*found;
}

Hertz hertz(int key) { return Hertz{440 * std::exp2((key - 69) / 12.0)}; }

} // namespace bowarm::stand_in
