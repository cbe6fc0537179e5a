#include "base/tables.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>

namespace charpie {

Result<Tables> Tables::from_folder(const std::string& folder) {
  namespace fs = std::filesystem;
  std::error_code failure;
  Tables tables{{}};
  std::vector<std::string> paths;
  for (fs::recursive_directory_iterator at(folder, failure), end; !failure && at != end;
       at.increment(failure)) {
    const auto extension = at->path().extension();
    if (at->is_regular_file() && (extension == ".csv" || extension == ".json")) {
      paths.push_back(fs::relative(at->path(), folder).generic_string());
    }
  }
  if (failure) return Error{Error::unreadable, "the mappings folder cannot be read", folder};
  std::sort(paths.begin(), paths.end());
  for (const auto& path : paths) {
    std::ifstream in(fs::path(folder) / path, std::ios::binary);
    std::ostringstream bytes;
    bytes << in.rdbuf();
    if (!in) return Error{Error::unreadable, "the table cannot be read", path};
    tables.owned_.push_back(std::make_shared<const std::string>(path));
    const std::string_view kept_path = *tables.owned_.back();
    tables.owned_.push_back(std::make_shared<const std::string>(std::move(bytes).str()));
    tables.files_.push_back({kept_path, *tables.owned_.back()});
  }
  return tables;
}

Result<Tables> Tables::with_folder(const std::string& prefix, const std::string& folder) const {
  auto read = from_folder(folder);
  if (!read) return read.error();
  Tables tables = *this;
  std::erase_if(tables.files_, [&](const TableFile& file) { return file.path.starts_with(prefix + "/"); });
  for (const auto& file : read->files_) {
    tables.owned_.push_back(std::make_shared<const std::string>(prefix + "/" + std::string(file.path)));
    tables.files_.push_back({*tables.owned_.back(), file.text});
  }
  tables.owned_.insert(tables.owned_.end(), read->owned_.begin(), read->owned_.end());
  return tables;
}

const std::string_view* Tables::find(std::string_view path) const {
  for (const auto& file : files_) {
    if (file.path == path) return &file.text;
  }
  return nullptr;
}

std::vector<TableFile> Tables::below(std::string_view prefix) const {
  std::vector<TableFile> found;
  for (const auto& file : files_) {
    if (file.path.starts_with(prefix)) found.push_back(file);
  }
  return found;
}

}  // namespace charpie
