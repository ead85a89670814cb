#include "take/part/xml_reader.hpp"

#include <algorithm>
#include <charconv>
#include <cstdint>

namespace bowarm::part
{
namespace
{

constexpr std::size_t deepest = 64;
constexpr std::size_t attributes_at_most = 64;
constexpr std::size_t name_shown_at_most = 24;
constexpr std::uint32_t highest_character = 0x10FFFF;

bool is_space(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\n'; }
bool ends_name(char c) { return is_space(c) || c == '/' || c == '>' || c == '=' || c == '<' || c == '"' || c == '\''; }

std::string_view trimmed(std::string_view text)
{
    while (!text.empty() && is_space(text.front())) text.remove_prefix(1);
    while (!text.empty() && is_space(text.back())) text.remove_suffix(1);
    return text;
}

std::string tag_text(std::string_view before, std::string_view name, std::string_view after)
{
    std::string text{before};
    for (const char c : name.substr(0, name_shown_at_most)) text += c < ' ' || c > '~' ? '?' : c;
    return text.append(after);
}

void append_utf8(std::string& out, std::uint32_t c)
{
    const auto byte = [&](std::uint32_t value) { out += static_cast<char>(value); };
    if (c < 0x80) {
        byte(c);
    } else if (c < 0x800) {
        byte(0xC0 | c >> 6);
        byte(0x80 | (c & 0x3F));
    } else if (c < 0x10000) {
        byte(0xE0 | c >> 12);
        byte(0x80 | (c >> 6 & 0x3F));
        byte(0x80 | (c & 0x3F));
    } else {
        byte(0xF0 | c >> 18);
        byte(0x80 | (c >> 12 & 0x3F));
        byte(0x80 | (c >> 6 & 0x3F));
        byte(0x80 | (c & 0x3F));
    }
}

} // namespace

std::optional<std::string_view> XmlReader::attribute(std::string_view name) const
{
    for (const auto& [key, value] : attributes_)
        if (key == name) return value;
    return std::nullopt;
}

XmlPiece XmlReader::fail(std::string what)
{
    problem_ = {line_, std::move(what)};
    left_ = {};
    open_.clear();
    return XmlPiece::problem;
}

void XmlReader::pass(std::size_t count)
{
    line_ += static_cast<std::size_t>(std::count(left_.begin(), left_.begin() + static_cast<std::ptrdiff_t>(count), '\n'));
    left_.remove_prefix(count);
}

void XmlReader::skip_space()
{
    std::size_t count = 0;
    while (count < left_.size() && is_space(left_[count])) ++count;
    pass(count);
}

bool XmlReader::skip_past(std::string_view mark)
{
    const std::size_t at = left_.find(mark);
    if (at == std::string_view::npos) return false;
    pass(at + mark.size());
    return true;
}

// Up to its '>', over an internal subset in brackets and over quoted text.
bool XmlReader::skip_document_type()
{
    int brackets = 0;
    char quote = 0;
    for (std::size_t i = 0; i < left_.size(); ++i) {
        const char c = left_[i];
        if (quote != 0) {
            if (c == quote) quote = 0;
        } else if (c == '"' || c == '\'') {
            quote = c;
        } else if (c == '[') {
            ++brackets;
        } else if (c == ']') {
            --brackets;
        } else if (c == '>' && brackets <= 0) {
            pass(i + 1);
            return true;
        }
    }
    return false;
}

XmlPiece XmlReader::next()
{
    if (ends_at_once_) {
        ends_at_once_ = false;
        open_.pop_back();
        return XmlPiece::end;
    }
    while (!left_.empty()) {
        if (left_.front() != '<') {
            if (open_.empty()) {
                skip_space();
                if (!left_.empty() && left_.front() != '<') return fail("text outside of every element");
                continue;
            }
            return read_text();
        }
        const bool comment = left_.starts_with("<!--");
        if (comment || left_.starts_with("<?")) {
            if (!skip_past(comment ? "-->" : "?>")) return fail("something begins here that never ends");
            continue;
        }
        if (left_.starts_with("<![CDATA[")) return read_text();
        if (left_.starts_with("<!")) {
            if (had_root_ || !skip_document_type()) return fail("a declaration that cannot be read");
            continue;
        }
        return read_markup();
    }
    if (!open_.empty()) return fail(tag_text("the file ends inside <", open_.back(), ">"));
    return had_root_ ? XmlPiece::finished : fail("no XML in it");
}

XmlPiece XmlReader::read_markup() { return left_.starts_with("</") ? read_end() : read_start(); }

std::string_view XmlReader::read_name()
{
    std::size_t length = 0;
    while (length < left_.size() && !ends_name(left_[length])) ++length;
    const std::string_view name = left_.substr(0, length);
    pass(length);
    return name;
}

XmlPiece XmlReader::read_start()
{
    if (open_.empty() && had_root_) return fail("a second document begins here");
    pass(1);
    name_ = read_name();
    if (name_.empty()) return fail("a '<' that begins nothing");
    if (open_.size() >= deepest) return fail("elements are nested deeper than in any score");
    if (!read_attributes()) return fail(tag_text("<", name_, "> is not well formed"));
    had_root_ = true;
    open_.push_back(name_);
    return XmlPiece::start;
}

bool XmlReader::read_attributes()
{
    attributes_.clear();
    for (;;) {
        skip_space();
        if (left_.empty()) return false;
        if (left_.front() == '>') {
            pass(1);
            return true;
        }
        if (left_.starts_with("/>")) {
            pass(2);
            ends_at_once_ = true;
            return true;
        }
        if (!read_attribute()) return false;
    }
}

bool XmlReader::read_attribute()
{
    const std::string_view key = read_name();
    skip_space();
    if (key.empty() || left_.empty() || left_.front() != '=' || attributes_.size() >= attributes_at_most) return false;
    pass(1);
    skip_space();
    if (left_.empty() || (left_.front() != '"' && left_.front() != '\'')) return false;
    const std::size_t end = left_.find(left_.front(), 1);
    if (end == std::string_view::npos) return false;
    attributes_.emplace_back(key, left_.substr(1, end - 1));
    pass(end + 1);
    return true;
}

XmlPiece XmlReader::read_end()
{
    pass(2);
    name_ = read_name();
    skip_space();
    if (open_.empty() || open_.back() != name_) return fail(tag_text("</", name_, "> ends what is not open"));
    if (left_.empty() || left_.front() != '>') return fail("an end that is not well formed");
    pass(1);
    open_.pop_back();
    return XmlPiece::end;
}

XmlPiece XmlReader::read_text()
{
    constexpr std::string_view begin_data = "<![CDATA[", end_data = "]]>";
    text_.clear();
    if (left_.starts_with(begin_data)) {
        const std::size_t end = left_.find(end_data);
        if (end == std::string_view::npos) return fail("something begins here that never ends");
        text_ = trimmed(left_.substr(begin_data.size(), end - begin_data.size()));
        pass(end + end_data.size());
        return XmlPiece::text;
    }
    const std::size_t end = std::min(left_.find('<'), left_.size());
    if (!unescape(trimmed(left_.substr(0, end)))) return fail("an entity that XML does not know");
    pass(end);
    return XmlPiece::text;
}

bool XmlReader::unescape(std::string_view raw)
{
    while (!raw.empty()) {
        const std::size_t at = std::min(raw.find('&'), raw.size());
        text_ += raw.substr(0, at);
        raw.remove_prefix(at);
        if (raw.empty()) return true;
        const std::size_t end = raw.find(';');
        if (end == std::string_view::npos || !add_reference(raw.substr(1, end - 1))) return false;
        raw.remove_prefix(end + 1);
    }
    return true;
}

bool XmlReader::add_reference(std::string_view reference)
{
    constexpr std::pair<std::string_view, char> known[] = {{"amp", '&'}, {"lt", '<'}, {"gt", '>'}, {"quot", '"'}, {"apos", '\''}};
    for (const auto& [name, character] : known) {
        if (name != reference) continue;
        text_ += character;
        return true;
    }
    if (!reference.starts_with('#')) return false;
    reference.remove_prefix(1);
    const bool hexadecimal = reference.starts_with('x');
    if (hexadecimal) reference.remove_prefix(1);
    std::uint32_t character = 0;
    const auto [end, error] = std::from_chars(reference.data(), reference.data() + reference.size(), character, hexadecimal ? 16 : 10);
    const bool valid =
        error == std::errc{} && end == reference.data() + reference.size() && character > 0 && character <= highest_character;
    if (valid) append_utf8(text_, character);
    return valid;
}

} // namespace bowarm::part
