#include "flow/resource_group.hpp"

#include <algorithm>

#include "base/escape.hpp"

namespace charpie::flow {

namespace {

// A base for the URLs of resources that came without one, so that relative references between them resolve
// (FHIR R4, bundle.html#references). The name is reserved to lead nowhere (RFC 6761, section 6.4), and it is
// never written.
constexpr std::string_view base = "https://set.invalid/";

std::string_view plain_text(const syntax::Node* node) {
  return node == nullptr ? std::string_view{} : node->text;
}

}  // namespace

ResourceGroup::ResourceGroup(syntax::JsonPiece& piece) : piece_(piece) {
  piece_.bytes.clear();
  piece_.origins.clear();
  piece_.error.reset();
  piece_.line = piece_.column = 1;
  append(R"({"resourceType":"Bundle","type":"collection","entry":[)");
}

void ResourceGroup::append(std::string_view text) {
  for (const char c : text) {
    if ((static_cast<unsigned char>(c) & 0xC0) != 0x80) ++characters_;
  }
  piece_.bytes += text;
}

void ResourceGroup::add(std::string_view bytes, std::string_view name, std::string_view file,
                        std::size_t line, std::size_t column) {
  if (empty()) {
    piece_.line = line;
    piece_.column = 1;
  } else {
    append(",");
  }
  append("{");
  if (!name.empty()) {
    std::string url(R"("fullUrl":)");
    append_json_string(std::string(base) + std::string(name), url);
    append(url + ",");
  }
  append(R"("resource":)");
  piece_.origins.push_back({characters_, std::string(file), line, column});
  const auto begin = piece_.bytes.size();
  append(bytes);
  // Line ends stand between tokens only: a string cannot hold one (RFC 8259, section 7).
  std::replace_if(
      piece_.bytes.begin() + static_cast<std::ptrdiff_t>(begin), piece_.bytes.end(),
      [](char c) { return c == '\n' || c == '\r'; }, ' ');
  append("}");
}

void ResourceGroup::finish() {
  append("]}");
}

std::string name_of(const syntax::Node& resource) {
  const auto type = plain_text(resource.member("resourceType"));
  const auto id = plain_text(resource.member("id"));
  if (type.empty() || id.empty()) return {};
  return std::string(type) + "/" + std::string(id);
}

std::string_view target_name(std::string_view reference) {
  if (reference.starts_with("urn:") || reference.starts_with('#') ||
      reference.find('?') != std::string_view::npos)
    return {};
  if (const auto history = reference.find("/_history/"); history != std::string_view::npos)
    reference = reference.substr(0, history);
  const auto slash = reference.rfind('/');
  if (slash == std::string_view::npos || slash == 0 || slash + 1 == reference.size()) return {};
  const auto before = reference.rfind('/', slash - 1);
  return before == std::string_view::npos ? reference : reference.substr(before + 1);
}

}  // namespace charpie::flow
