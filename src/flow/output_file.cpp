#include "flow/output_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <filesystem>
#include <system_error>

namespace charpie::flow {

namespace fs = std::filesystem;

Error OutputFile::unwritable(int number) const {
  const bool full = number == ENOSPC || number == EDQUOT || number == EFBIG;
  const bool whole = !target_.empty();
  return {Error::unwritable,
          "cannot be written: " + std::generic_category().message(number),
          name_,
          0,
          0,
          full    ? whole ? "make room and run again; nothing was left behind" : "make room and run again"
          : whole ? "nothing was left behind"
                  : ""};
}

Result<std::unique_ptr<OutputFile>> OutputFile::open(const std::string& path, const Kept* kept) {
  std::unique_ptr<OutputFile> file(new OutputFile);
  if (path.empty() || path == "-") {
    file->descriptor_ = STDOUT_FILENO;
    file->name_ = "(standard output)";
    return file;
  }
  file->name_ = path;
  std::error_code failure;
  // A link is kept, and what it leads to is replaced.
  const fs::path target = fs::weakly_canonical(path, failure);
  if (failure) return file->unwritable(failure.value());
  struct stat status {};
  const bool there = ::stat(target.c_str(), &status) == 0;
  if (there && S_ISDIR(status.st_mode)) return file->unwritable(EISDIR);
  file->owned_ = true;
  if (there && !S_ISREG(status.st_mode)) {  // a device or a named pipe must never be renamed over
    file->descriptor_ = ::open(target.c_str(), O_WRONLY | O_CLOEXEC);
    if (file->descriptor_ < 0) return file->unwritable(errno);
    return file;
  }
  file->target_ = target.string();
  const fs::path temporary =
      target.parent_path() / ("." + target.filename().string() + "." +
                              (kept == nullptr ? std::to_string(::getpid()) : kept->run) + ".part");
  const int fresh = kept == nullptr ? O_CREAT | O_EXCL : kept->from == 0 ? O_CREAT | O_TRUNC : 0;
  file->descriptor_ = ::open(temporary.c_str(), O_WRONLY | O_CLOEXEC | fresh, 0666);
  if (kept != nullptr && kept->from != 0) {
    const auto from = static_cast<off_t>(kept->from);
    struct stat left {};
    if (file->descriptor_ < 0 || ::fstat(file->descriptor_, &left) != 0 || left.st_size < from) {
      return Error{Error::usage,
                   "what the killed run wrote is gone",
                   path,
                   0,
                   0,
                   "run it again without --resume: it starts anew"};
    }
    if (::ftruncate(file->descriptor_, from) != 0 || ::lseek(file->descriptor_, from, SEEK_SET) < 0)
      return file->unwritable(errno);
  }
  if (file->descriptor_ < 0) return file->unwritable(errno);
  file->temporary_ = temporary.string();
  if (there && ::fchmod(file->descriptor_, status.st_mode & 07777) != 0) return file->unwritable(errno);
  return file;
}

OutputFile::~OutputFile() {
  if (owned_ && descriptor_ >= 0) ::close(descriptor_);
  if (!temporary_.empty()) ::unlink(temporary_.c_str());
}

Outcome OutputFile::write(std::string_view bytes) {
  while (!bytes.empty() && !closed_) {
    const auto count = ::write(descriptor_, bytes.data(), bytes.size());
    if (count >= 0) {
      bytes.remove_prefix(static_cast<std::size_t>(count));
    } else if (errno == EPIPE) {
      closed_ = true;
    } else if (errno != EINTR) {
      return unwritable(errno);
    }
  }
  return std::monostate{};
}

Result<std::uint64_t> OutputFile::sync() {
  if (target_.empty()) return std::uint64_t{0};
  if (::fdatasync(descriptor_) != 0) return unwritable(errno);
  const auto offset = ::lseek(descriptor_, 0, SEEK_CUR);
  if (offset < 0) return unwritable(errno);
  return static_cast<std::uint64_t>(offset);
}

bool is_file_output(const std::string& path) {
  if (path.empty() || path == "-") return false;
  struct stat status {};
  return ::stat(path.c_str(), &status) != 0 || S_ISREG(status.st_mode) || S_ISDIR(status.st_mode);
}

Outcome OutputFile::finish() {
  if (target_.empty()) return std::monostate{};
  if (::fsync(descriptor_) != 0) return unwritable(errno);
  const int closing = ::close(descriptor_);
  descriptor_ = -1;
  if (closing != 0) return unwritable(errno);
  if (::rename(temporary_.c_str(), target_.c_str()) != 0) return unwritable(errno);
  temporary_.clear();
  sync_folder(fs::path(target_).parent_path().string());
  return std::monostate{};
}

void sync_folder(const std::string& folder) {
  const int descriptor = ::open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  ::fsync(descriptor);
  ::close(descriptor);
}

}  // namespace charpie::flow
