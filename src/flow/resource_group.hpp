// Resources that came apart, put together again: all of one visit as one Bundle of type collection, which is
// read as any other Bundle is.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>

#include "mapping/identify.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// Puts resources into a piece, one after the other. The piece knows where each came from.
class ResourceGroup {
 public:
  /// Starts a Bundle in `piece`, which must outlive the group. Line and column of the piece are the first
  /// resource's.
  explicit ResourceGroup(syntax::JsonPiece& piece);
  /// Appends a resource: `bytes` is its JSON as it came, `name` its "Type/id" (empty when it has no id).
  void add(std::string_view bytes, std::string_view name, std::string_view file, std::size_t line,
           std::size_t column);
  /// Closes the Bundle.
  void finish();
  bool empty() const { return piece_.parts.empty(); }

 private:
  syntax::JsonPiece& piece_;
};

/// "Type/id" of a resource; empty without an id.
std::string name_of(const syntax::Node& resource);

}  // namespace charpie::flow
