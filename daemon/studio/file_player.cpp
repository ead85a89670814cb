#include "studio/file_player.hpp"

#include "take/performance.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr Source keyboard{0};

} // namespace

std::vector<Input> script_of(const StandardFile& song)
{
    std::vector<Input> inputs = inputs_of(song, keyboard);
    if (leaves_keys_down(inputs)) inputs.push_back({std::max(song.end, inputs.back().at), keyboard, InputKind::port_lost, {}});
    return inputs;
}

} // namespace bowarm
