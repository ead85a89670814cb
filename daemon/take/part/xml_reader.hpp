// XML as other people's programs write it, one piece after the other.
//   What a score needs and no more: elements, attributes, text, the five entities and numbers of characters.  A document type is passed
//   over and nothing that it declares is expanded or fetched.
//   in       UTF-8; nesting of at most 64 elements
//   out      a start, an end or text; views into the document, but for text, which is put together
//   source   XML 1.0 (W3C)
//   thread   one at a time.  Real-time safe: no, it allocates; never more than the document's size.
//   Errors   an XmlProblem with the line; after one nothing more is read.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace bowarm::part
{

struct XmlProblem {
    std::size_t line{1};
    std::string what;
};

enum class XmlPiece { start, end, text, finished, problem };

class XmlReader
{
public:
    explicit XmlReader(std::string_view document) : left_(document) {}

    XmlPiece next();
    std::string_view name() const { return name_; }   // of the element that starts or ends
    const std::string& text() const { return text_; } // as meant, spaces at both ends removed
    std::optional<std::string_view> attribute(std::string_view name) const;
    std::size_t line() const { return line_; }
    const XmlProblem& problem() const { return problem_; }

private:
    XmlPiece fail(std::string what);
    XmlPiece read_markup();
    XmlPiece read_start();
    XmlPiece read_end();
    XmlPiece read_text();
    bool skip_past(std::string_view mark);
    bool skip_document_type();
    bool read_attributes();
    bool read_attribute();
    bool unescape(std::string_view raw);
    bool add_reference(std::string_view reference);
    std::string_view read_name();
    void skip_space();
    void pass(std::size_t count);

    std::string_view left_;
    std::size_t line_{1};
    std::vector<std::string_view> open_;
    std::vector<std::pair<std::string_view, std::string_view>> attributes_;
    std::string_view name_;
    std::string text_;
    bool ends_at_once_{false}; // <name/>
    bool had_root_{false};
    XmlProblem problem_;
};

} // namespace bowarm::part
