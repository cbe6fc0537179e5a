// Which file is which table of a layout whose visits stand in several CSV files.
#pragma once
#include <string>
#include <vector>

#include "base/result.hpp"
#include "mapping/layout.hpp"

namespace charpie::flow {

/// The paths of the layout's tables, in their order, out of one folder or of files that are named one by one;
/// the base name says which is which. Error::usage: a table that has no file, or two; a file of no table that
/// was named, or that has the ending of one and lies in the folder, so that none is passed over in silence.
/// Error::unreadable: the folder, or a path that is not there.
Result<std::vector<std::string>> table_files(const std::vector<std::string>& paths,
                                             const mapping::Layout& layout);

}  // namespace charpie::flow
