#include "syntax/xml_markup.hpp"

#include <algorithm>

namespace charpie::syntax {

namespace {

bool is_white(char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

Markup until(std::string_view text, std::size_t begin, std::size_t from, std::string_view closing,
             Markup::Kind kind) {
  const std::size_t found = from < text.size() ? text.find(closing, from) : std::string_view::npos;
  if (found == std::string_view::npos) return {Markup::cut, begin, text.size(), 0};
  return {kind, begin, found + closing.size(), 0};
}

}  // namespace

Markup next_markup(std::string_view text, std::size_t at) {
  const std::size_t begin = at < text.size() ? text.find('<', at) : std::string_view::npos;
  if (begin == std::string_view::npos) return {Markup::cut, text.size(), text.size(), 0};
  const std::string_view rest = text.substr(begin);
  if (rest.size() < 2) return {Markup::cut, begin, text.size(), 0};
  if (rest[1] == '?') return until(text, begin, begin + 2, "?>", Markup::other);
  if (rest[1] == '/') return until(text, begin, begin + 2, ">", Markup::end_tag);
  if (rest[1] == '!') {
    constexpr std::string_view comment = "<!--";
    constexpr std::string_view cdata = "<![CDATA[";
    if (rest.starts_with(comment)) return until(text, begin, begin + comment.size(), "-->", Markup::other);
    if (rest.starts_with(cdata)) return until(text, begin, begin + cdata.size(), "]]>", Markup::other);
    // More bytes may still make it one of the two.
    if (comment.starts_with(rest) || cdata.starts_with(rest)) return {Markup::cut, begin, text.size(), 0};
    return {Markup::declaration, begin, begin + 2, 0};
  }
  std::size_t values = 0;
  for (std::size_t i = begin + 1; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '>') return {text[i - 1] == '/' ? Markup::empty_tag : Markup::start_tag, begin, i + 1, values};
    if (c == '"' || c == '\'') {
      ++values;
      // Most values are a few characters long.
      for (++i; i < text.size() && text[i] != c;) ++i;
    }
  }
  return {Markup::cut, begin, text.size(), 0};
}

std::string_view tag_name(std::string_view tag) {
  tag.remove_prefix(std::min<std::size_t>(tag.size(), tag.starts_with("</") ? 2 : 1));
  std::size_t end = 0;
  while (end < tag.size() && tag[end] != '/' && tag[end] != '>' && !is_white(tag[end])) ++end;
  return tag.substr(0, end);
}

}  // namespace charpie::syntax
