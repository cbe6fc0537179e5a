// The tables of mappings/, either embedded in the binary or read from a folder given by --mappings.
#pragma once
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"

namespace charpie {

/// One file of mappings/: its path below that folder, with forward slashes, and its bytes.
struct TableFile {
  std::string_view path;
  std::string_view text;
};

/// The files packed at build time, sorted by path. The bytes live as long as the program.
const std::vector<TableFile>& embedded_tables();

/// A set of tables. Owns what it read from disk; views that it gives out live as long as it does.
class Tables {
 public:
  explicit Tables(const std::vector<TableFile>& files) : files_(files) {}
  /// Reads every .csv and .json below `folder`; Error::unreadable if the folder or a file cannot be read.
  static Result<Tables> from_folder(const std::string& folder);

  /// These tables, and every .csv and .json below a folder on disk as if it were `prefix` among them, in
  /// place of what was there. This must outlive the result. Error::unreadable.
  Result<Tables> with_folder(const std::string& prefix, const std::string& folder) const;

  const std::vector<TableFile>& files() const { return files_; }
  /// The bytes of one file, or nullptr when the set has none of that path.
  const std::string_view* find(std::string_view path) const;
  /// The files directly or deeper below `prefix` ("codes/"), in path order.
  std::vector<TableFile> below(std::string_view prefix) const;

 private:
  std::vector<TableFile> files_;
  std::vector<std::shared_ptr<const std::string>> owned_;
};

}  // namespace charpie
