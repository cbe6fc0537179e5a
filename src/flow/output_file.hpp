// Where bytes go: a file that appears whole or not at all, or a stream such as standard output.
#pragma once
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace charpie::flow {

/// One output. A regular file is written under a temporary name in the same folder, put to disk (fsync) and
/// renamed by finish(); without finish() nothing of it stays. Standard output, pipes and devices are written
/// to as they are.
class OutputFile {
 public:
  /// Empty or "-" is standard output. Symbolic links are followed, an existing file keeps its permissions.
  /// Error::unwritable when the folder does not take the file.
  static Result<std::unique_ptr<OutputFile>> open(const std::string& path) { return open(path, nullptr); }

  /// What lets a later run go on with the file if this one is killed (flow/journal.hpp).
  struct Kept {
    std::string run;         // tells runs apart that write the same file: part of the temporary name
    std::uint64_t from = 0;  // bytes to keep of what a killed run left; 0 starts anew
  };
  /// The same under a temporary name that a later run finds. Error::usage when less than `from` bytes were
  /// left.
  static Result<std::unique_ptr<OutputFile>> open(const std::string& path, const Kept& kept) {
    return open(path, &kept);
  }
  ~OutputFile();
  OutputFile(const OutputFile&) = delete;
  OutputFile& operator=(const OutputFile&) = delete;

  /// Writes all bytes. Error::unwritable when the disk is full or the like; nothing is written afterwards.
  /// A pipe whose reader has gone is no error: closed() turns true and the bytes are let go. (The program
  /// must ignore SIGPIPE.)
  Outcome write(std::string_view bytes);
  /// Whether the reader has gone, so that more work would be for nobody.
  bool closed() const { return closed_; }
  /// Lets go of the file as a killed run would: a later run may go on with it.
  void leave() { temporary_.clear(); }
  /// Puts the bytes to disk and says how many there are. Error::unwritable.
  Result<std::uint64_t> sync();
  /// Puts the bytes to disk and the file in its place. Error::unwritable; then nothing of it stays.
  Outcome finish();

 private:
  static Result<std::unique_ptr<OutputFile>> open(const std::string& path, const Kept* kept);
  OutputFile() = default;
  Error unwritable(int number) const;
  int descriptor_ = -1;
  bool owned_ = false;  // the descriptor is ours to close
  bool closed_ = false;
  std::string name_;       // for messages
  std::string target_;     // where the file goes in the end; empty for streams
  std::string temporary_;  // what it is called until then; empty when there is none (any more)
};

/// Whether an output of that path is a file of its own, not standard output, a pipe or a device.
bool is_file_output(const std::string& path);

/// Puts a folder's entries to disk, so that a rename in it survives a loss of power. Best effort.
void sync_folder(const std::string& folder);

}  // namespace charpie::flow
