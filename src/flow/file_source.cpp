#include "flow/file_source.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <system_error>

namespace charpie::flow {

namespace {

Error unreadable(const std::string& name, int number) {
  return {Error::unreadable, "cannot be read: " + std::generic_category().message(number), name, 0, 0, {}};
}

}  // namespace

Result<std::string> read_whole(const std::string& path) {
  auto source = FileSource::open(path);
  if (!source) return source.error();
  std::string text;
  char bytes[65536];
  while (true) {
    const auto count = (*source)->read(bytes, sizeof bytes);
    if (!count) return count.error();
    if (*count == 0) return text;
    text.append(bytes, *count);
  }
}

Result<std::vector<std::string>> files_in(const std::string& folder,
                                          std::span<const std::string_view> endings) {
  namespace fs = std::filesystem;
  std::vector<std::string> files;
  std::error_code failure;
  for (fs::directory_iterator at(folder, failure), end; !failure && at != end; at.increment(failure)) {
    const auto ending = at->path().extension().string();
    if (std::find(endings.begin(), endings.end(), ending) != endings.end())
      files.push_back(at->path().string());
  }
  if (failure) return unreadable(folder, failure.value());
  std::sort(files.begin(), files.end());
  return files;
}

std::string source_name(const std::string& path) {
  return path == "-" ? "(standard input)" : path;
}

Result<std::unique_ptr<FileSource>> FileSource::open(const std::string& path) {
  const std::string name = source_name(path);
  if (path == "-") return std::unique_ptr<FileSource>(new FileSource(STDIN_FILENO, name));
  const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) return unreadable(name, errno);
  std::unique_ptr<FileSource> source(new FileSource(descriptor, name));
  struct stat status {};
  if (::fstat(descriptor, &status) != 0) return unreadable(name, errno);
  if (S_ISDIR(status.st_mode)) return unreadable(name, EISDIR);
  return source;
}

FileSource::~FileSource() {
  if (descriptor_ != STDIN_FILENO) ::close(descriptor_);
}

Result<std::size_t> FileSource::read(char* to, std::size_t size) {
  while (true) {
    const auto count = ::read(descriptor_, to, size);
    if (count >= 0) return static_cast<std::size_t>(count);
    if (errno != EINTR) return unreadable(name_, errno);
  }
}

}  // namespace charpie::flow
