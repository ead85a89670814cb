#include "studio/reloading.hpp"

namespace bowarm
{
namespace
{

// One row a key; `differs` compares, `keep` puts the value of the first into the second.
struct Row {
    const char* key;
    bool (*differs)(const Settings&, const Settings&);
    void (*keep)(const Settings&, Settings&);
};

template <auto Of> Row row(const char* key)
{
    return {key, [](const Settings& now, const Settings& next) { return Of(now) != Of(next); },
            [](const Settings& now, Settings& next) { Of(next) = Of(now); }};
}

const Row rows[] = {row < [](auto& s) -> auto& {return s.midi.system;
} // namespace
> ("[midi] system"), row < [](auto& s) -> auto& { return s.midi.client; }
> ("[midi] client"), row < [](auto& s) -> auto& { return s.socket; }
> ("[status] socket"), row < [](auto& s) -> auto& { return s.token_file; }
> ("[status] token_file"), row < [](auto& s) -> auto& { return s.tcp_port; }
> ("[status] tcp_port"),
}; // namespace bowarm

} // namespace

std::vector<std::string> keys_for_restart(const Settings& now, const Settings& next)
{
    std::vector<std::string> keys;
    for (const Row& row : rows)
        if (row.differs(now, next)) keys.emplace_back(row.key);
    return keys;
}

Settings without_restart(Settings next, const Settings& now)
{
    for (const Row& row : rows) row.keep(now, next);
    return next;
}

} // namespace bowarm
