#include "take/decimal.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{

std::optional<long long> rounded(double value, int decimals)
{
    double scaled = value;
    for (int i = 0; i < decimals; ++i) scaled *= 10;
    if (!(scaled > -1e15 && scaled < 1e15)) return std::nullopt; // NaN too
    return nearest(scaled);
}

std::string decimal_text(double value, int decimals)
{
    const long long scaled = rounded(value, decimals).value_or(0);
    std::string digits = std::to_string(scaled < 0 ? -scaled : scaled);
    const auto places = static_cast<std::size_t>(decimals);
    if (digits.size() <= places) digits.insert(0, places + 1 - digits.size(), '0');
    std::string fraction = digits.substr(digits.size() - places);
    digits.resize(digits.size() - places);
    while (!fraction.empty() && fraction.back() == '0') fraction.pop_back();
    if (!fraction.empty()) digits += "." + fraction;
    return scaled < 0 ? "-" + digits : digits;
}

} // namespace bowarm
