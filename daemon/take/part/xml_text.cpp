#include "take/part/xml_text.hpp"

#include "take/xml_escape.hpp"

namespace bowarm::part
{

void XmlText::line(std::string_view raw)
{
    out_ += raw;
    out_ += '\n';
}

void XmlText::open(std::string_view name, std::initializer_list<Attribute> attributes)
{
    begin_tag(name, attributes);
    out_ += ">\n";
    open_.push_back(name);
}

void XmlText::close()
{
    const std::string_view name = open_.back();
    open_.pop_back();
    out_.append(open_.size(), ' ');
    out_.append("</").append(name).append(">\n");
}

void XmlText::empty(std::string_view name, std::initializer_list<Attribute> attributes)
{
    begin_tag(name, attributes);
    out_ += "/>\n";
}

void XmlText::text(std::string_view name, std::string_view value, std::initializer_list<Attribute> attributes)
{
    begin_tag(name, attributes);
    out_ += '>';
    out_ += xml_text(value);
    out_.append("</").append(name).append(">\n");
}

void XmlText::begin_tag(std::string_view name, std::initializer_list<Attribute> attributes)
{
    out_.append(open_.size(), ' ');
    out_.append("<").append(name);
    for (const auto& [key, value] : attributes) {
        out_.append(" ").append(key).append("=\"");
        out_.append(xml_text(value)) += '"';
    }
}

} // namespace bowarm::part
