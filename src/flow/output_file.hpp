// Where bytes go: a file that appears whole or not at all, or a stream such as standard output.
#pragma once
#include <memory>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace charpie::flow {

/// One output. A regular file is written under a temporary name in the same folder, put to disk (fsync) and
/// renamed by finish(); without finish() nothing of it stays. Standard output, pipes and devices are written to
/// as they are.
class OutputFile {
 public:
  /// Empty or "-" is standard output. Symbolic links are followed, an existing file keeps its permissions.
  /// Error::unwritable when the folder does not take the file.
  static Result<std::unique_ptr<OutputFile>> open(const std::string& path);
  ~OutputFile();
  OutputFile(const OutputFile&) = delete;
  OutputFile& operator=(const OutputFile&) = delete;

  /// Writes all bytes. Error::unwritable when the disk is full or the like; nothing is written afterwards.
  /// A pipe whose reader has gone is no error: closed() turns true and the bytes are let go. (The program must
  /// ignore SIGPIPE.)
  Outcome write(std::string_view bytes);
  /// Whether the reader has gone, so that more work would be for nobody.
  bool closed() const { return closed_; }
  /// Puts the bytes to disk and the file in its place. Error::unwritable; then nothing of it stays.
  Outcome finish();

 private:
  OutputFile() = default;
  Error unwritable(int number) const;
  int descriptor_ = -1;
  bool owned_ = false;       // the descriptor is ours to close
  bool closed_ = false;
  std::string name_;         // for messages
  std::string target_;       // where the file goes in the end; empty for streams
  std::string temporary_;    // what it is called until then; empty when there is none (any more)
};

/// Puts a folder's entries to disk, so that a rename in it survives a loss of power. Best effort.
void sync_folder(const std::string& folder);

}  // namespace charpie::flow
