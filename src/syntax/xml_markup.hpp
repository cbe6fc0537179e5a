// Finds tags in an XML text by their brackets alone, without judging them: to cut records out of a stream and
// to tell where an element stands.
#pragma once
#include <cstddef>
#include <string_view>

namespace charpie::syntax {

/// A stretch of an XML text between '<' and '>'.
struct Markup {
  enum Kind {
    start_tag,    // <a …>
    empty_tag,    // <a …/>
    end_tag,      // </a>
    declaration,  // <!DOCTYPE …> or another '<!' (where it ends is not looked for)
    other,        // comment, CDATA section, processing instruction
    cut           // the text ends before the markup does
  };
  Kind kind = cut;
  std::size_t begin = 0;   // of '<'; the text's size when there is no '<' any more
  std::size_t end = 0;     // one past '>'
  std::size_t values = 0;  // quoted values of a start tag: its attributes
};

/// The next markup at or after `at`. '>' in a quoted attribute value is passed over.
Markup next_markup(std::string_view text, std::size_t at);

/// The qualified name of a tag: "a:b" of `<a:b c="d">`. `tag` starts with '<'.
std::string_view tag_name(std::string_view tag);

}  // namespace charpie::syntax
