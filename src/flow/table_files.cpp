#include "flow/table_files.hpp"

#include <algorithm>
#include <filesystem>

#include "flow/file_source.hpp"

namespace charpie::flow {

namespace fs = std::filesystem;

namespace {

Error refuse(std::string message, std::string file, std::string mend) {
  return {Error::usage, std::move(message), std::move(file), 0, 0, std::move(mend)};
}

std::string names_of(const mapping::Layout& layout) {
  std::string all;
  for (const auto& table : layout.tables) all += (all.empty() ? "" : ", ") + table.file;
  return all;
}

// What a file's name must end in to be one of the layout's tables.
std::vector<std::string_view> endings_of(const mapping::Layout& layout) {
  std::vector<std::string_view> endings;
  for (const auto& table : layout.tables) {
    const auto dot = table.file.rfind('.');
    endings.push_back(dot == std::string::npos ? std::string_view()
                                               : std::string_view(table.file).substr(dot));
  }
  return endings;
}

}  // namespace

Result<std::vector<std::string>> table_files(const std::vector<std::string>& paths,
                                             const mapping::Layout& layout) {
  std::error_code failure;
  const bool is_folder = paths.size() == 1 && fs::is_directory(paths.front(), failure);
  std::vector<std::string> named = paths;
  if (is_folder) {
    auto inside = files_in(paths.front(), endings_of(layout));
    if (!inside) return inside.error();
    named = std::move(*inside);
  }
  std::vector<std::string> files(layout.tables.size());
  for (const auto& path : named) {
    const auto name = fs::path(path).filename().string();
    const auto table = std::find_if(layout.tables.begin(), layout.tables.end(),
                                    [&](const auto& one) { return one.file == name; });
    if (table == layout.tables.end()) {
      if (auto there = FileSource::open(path); !there) return there.error();
      return refuse("is no table of the layout, which are " + names_of(layout), path,
                    is_folder ? "name the files that are to be read one by one, or add it to \"tables\""
                              : "leave it out, or add it to \"tables\"");
    }
    auto& file = files[static_cast<std::size_t>(table - layout.tables.begin())];
    if (!file.empty())
      return refuse("stands for a table that " + file + " is already", path, "name one of them");
    file = path;
  }
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (!files[i].empty()) continue;
    return refuse("a table of the layout is missing: " + layout.tables[i].file,
                  is_folder ? paths.front() : std::string{},
                  "add the file; with its header alone when it has no rows");
  }
  return files;
}

}  // namespace charpie::flow
