#include "flow/resource_group.hpp"

#include <algorithm>

#include "base/escape.hpp"
#include "mapping/read.hpp"

namespace charpie::flow {

namespace {

// A base for the URLs of resources that came without one, so that relative references between them resolve
// (FHIR R4, bundle.html#references).
constexpr std::string_view base = mapping::Reader::no_server;

}  // namespace

ResourceGroup::ResourceGroup(syntax::JsonPiece& piece) : piece_(piece) {
  piece_.bytes.clear();
  piece_.parts.clear();
  piece_.error.reset();
  piece_.line = piece_.column = 1;
  piece_.bytes += R"({"resourceType":"Bundle","type":"collection","entry":[)";
}

void ResourceGroup::add(std::string_view bytes, std::string_view name, std::string_view file,
                        std::size_t line, std::size_t column) {
  if (empty()) {
    piece_.line = line;
    piece_.column = 1;
  } else {
    piece_.bytes += ',';
  }
  piece_.bytes += '{';
  if (!name.empty()) {
    piece_.bytes += R"("fullUrl":)";
    append_json_string(std::string(base) + std::string(name), piece_.bytes);
    piece_.bytes += ',';
  }
  piece_.bytes += R"("resource":)";
  const auto begin = piece_.bytes.size();
  piece_.parts.push_back({0, static_cast<std::uint32_t>(begin), line, column, std::string(file)});
  piece_.bytes += bytes;
  // Line ends stand between tokens only: a string cannot hold one (RFC 8259, section 7).
  std::replace_if(
      piece_.bytes.begin() + static_cast<std::ptrdiff_t>(begin), piece_.bytes.end(),
      [](char c) { return c == '\n' || c == '\r'; }, ' ');
  piece_.bytes += '}';
}

void ResourceGroup::finish() {
  piece_.bytes += "]}";
}

std::string name_of(const syntax::Node& resource) {
  const auto type = plain_text(resource.member("resourceType"));
  const auto id = plain_text(resource.member("id"));
  if (type.empty() || id.empty()) return {};
  return std::string(type) + "/" + std::string(id);
}

}  // namespace charpie::flow
