// Where something stands in a JSON instance: from bytes to a path in the manner of FHIRPath.
#pragma once
#include <cstddef>
#include <functional>
#include <string>
#include <string_view>

#include "syntax/tree.hpp"

namespace charpie::flow {

/// The path of the innermost value that covers the bytes [begin, end):
/// Bundle.entry[2].resource.valueQuantity.value. Begins with the root's resourceType, when it has one. The
/// `_` in front of a primitive's extensions is left out, as in FHIRPath. Empty when no value covers them.
std::string instance_path(const syntax::Node& root, std::size_t begin, std::size_t end);

/// Calls `use(path, leaf)` for every string, number, boolean and null below `root`, in document order.
void visit_leaves(const syntax::Node& root,
                  const std::function<void(const std::string& path, const syntax::Node& leaf)>& use);

}  // namespace charpie::flow
