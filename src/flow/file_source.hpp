// Bytes from a file or from standard input.
#pragma once
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// A file that is read once from front to back. Closes what it opened.
class FileSource final : public syntax::ByteSource {
 public:
  /// "-" is standard input. Error::unreadable when the file cannot be opened, or is a folder.
  static Result<std::unique_ptr<FileSource>> open(const std::string& path);
  ~FileSource() override;
  FileSource(const FileSource&) = delete;
  FileSource& operator=(const FileSource&) = delete;

  Result<std::size_t> read(char* to, std::size_t size) override;

 private:
  FileSource(int descriptor, std::string name) : descriptor_(descriptor), name_(std::move(name)) {}
  int descriptor_;
  std::string name_;
};

/// All bytes of a file that is small enough to be held: a table, a list. Error::unreadable.
Result<std::string> read_whole(const std::string& path);

/// The files of a folder, not those of folders within, whose names end in one of `endings` (".csv"), by name.
/// Error::unreadable when the folder cannot be.
Result<std::vector<std::string>> files_in(const std::string& folder,
                                          std::span<const std::string_view> endings);

/// What messages call an input: its path, or "(standard input)".
std::string source_name(const std::string& path);

}  // namespace charpie::flow
