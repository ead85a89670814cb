#include "studio/port_keeping.hpp"

#include <spdlog/spdlog.h>

namespace bowarm
{

std::string joined(const Names& names)
{
    std::string text;
    for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
    return text.empty() ? "nothing" : text;
}

Met met(const Names& wishes, const Names& offered)
{
    Met found;
    for (const std::string& wish : wishes) {
        for (const std::string& name : chosen(wish, offered))
            if (!holds(found.names, name)) found.names.push_back(name);
        const Names several = rivals(wish, offered);
        if (!several.empty()) found.unclear.push_back("\"" + wish + "\" may mean any of " + joined(several) + "; write more of the name");
    }
    return found;
}

void PortKeeping::say_once(const std::string& text, const std::string& detail)
{
    if (said.insert(text).second) spdlog::info("{}{}", text, detail);
}

} // namespace bowarm
