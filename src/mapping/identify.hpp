// What an instance is, and which visit it belongs to, by its codes and its business identifier alone.
#pragma once
#include <cstdint>
#include <string_view>

#include "mapping/mapping.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

/// What a business identifier of ours says. Views into the instance.
struct Key {
  std::string_view system, record_key;  // of the visit; empty: there is no such identifier
  bool indexed = false;                 // an element of a list, at
  std::uint32_t index = 0;
};
/// The key of an instance of that template: "KEY#name.index", or "KEY" alone for the visit's own.
Key read_key(const Mapping& mapping, const Template& made_from, const syntax::Node& instance);

struct Identity {
  const Template* made_from = nullptr;  // by a code of ours, or by the type where that tells; else nullptr
  bool keyed = false;                   // the key is known
  Key key;
};
/// `instance` was read with the mapping's names(). Shapes of others (direction "in") are not recognised here.
Identity identify(const Mapping& mapping, const syntax::Node& instance);

/// The last two segments of a reference, "Type/id", without a version; empty for a URN, a fragment or a
/// search.
std::string_view target_name(std::string_view reference);

}  // namespace charpie::mapping
