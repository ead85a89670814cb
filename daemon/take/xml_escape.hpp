// Text for the content and the attributes of XML and HTML elements.
//   source   W3C, Extensible Markup Language (XML) 1.0: what it cannot hold is left out
//   thread   any.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include <string>
#include <string_view>

namespace bowarm
{

std::string xml_text(std::string_view text);

} // namespace bowarm
