// Records that stand anywhere in an XML document, in any section and at any depth: before reading they are
// put where the template has them.
#pragma once
#include "base/arena.hpp"
#include "mapping/layout.hpp"
#include "syntax/xml.hpp"

namespace charpie::mapping {

/// Moves the elements that Layout::gathered names (the outermost of each) to the end of the way that
/// Layout::records and the element's name make, and takes out what stood on that way. Other entries of it
/// that say something become one element `otherEntries`, so that reading tells that they are there. New
/// elements live in the arena.
void gather(syntax::XmlNode& root, const Layout& layout, Arena& arena);

}  // namespace charpie::mapping
