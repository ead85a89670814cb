// XML as it is written: elements by name, indented, everything else escaped.
//   thread   one at a time.  Real-time safe: no, it allocates.  Errors: none; the caller closes what it opens.
#pragma once

#include <cstdint>
#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace bowarm::part
{

class XmlText
{
public:
    using Attribute = std::pair<std::string_view, std::string_view>;

    void line(std::string_view raw);
    void open(std::string_view name, std::initializer_list<Attribute> attributes = {});
    void close();
    void empty(std::string_view name, std::initializer_list<Attribute> attributes = {});
    void text(std::string_view name, std::string_view value, std::initializer_list<Attribute> attributes = {});
    void number(std::string_view name, std::int64_t value) { text(name, std::to_string(value)); }

    std::string take() { return std::move(out_); }

private:
    void begin_tag(std::string_view name, std::initializer_list<Attribute> attributes);

    std::string out_;
    std::vector<std::string_view> open_; // names are literals
};

} // namespace bowarm::part
