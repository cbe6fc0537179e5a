#include "flow/output_folder.hpp"

#include <filesystem>
#include <system_error>
#include <utility>

#include "flow/output_file.hpp"

namespace charpie::flow {

namespace fs = std::filesystem;

namespace {

Error unwritable(const std::string& folder, const std::error_code& why) {
  return {Error::unwritable, "cannot be written: " + why.message(), folder, 0, 0, "nothing was left behind"};
}

}  // namespace

Result<OutputFolder> OutputFolder::open(const std::string& path, bool keeps) {
  std::error_code failure;
  if (path.empty() || path == "-")
    return Error{Error::usage, "the output is several files", {}, 0, 0, "name a folder with -o"};
  const fs::path target = fs::weakly_canonical(path, failure);
  if (failure) return unwritable(path, failure);
  if (fs::exists(target, failure) && (!fs::is_directory(target, failure) || !fs::is_empty(target, failure))) {
    return Error{
        Error::usage, "there is something of that name already", path, 0, 0, "name a new or an empty folder"};
  }
  OutputFolder folder(target.string(),
                      (target.parent_path() / ("." + target.filename().string() + ".part")).string());
  if (keeps) return folder;
  fs::remove_all(folder.temporary_, failure);  // what a killed run left
  fs::create_directory(folder.temporary_, failure);
  if (failure) {
    folder.leave();
    return unwritable(path, failure);
  }
  return folder;
}

OutputFolder::OutputFolder(OutputFolder&& other) noexcept
    : target_(std::move(other.target_)), temporary_(std::exchange(other.temporary_, {})) {}

OutputFolder::~OutputFolder() {
  std::error_code ignored;
  if (!temporary_.empty()) fs::remove_all(temporary_, ignored);
}

std::string OutputFolder::file(const std::string& name) const {
  return (fs::path(temporary_) / name).string();
}

Outcome OutputFolder::finish() {
  std::error_code failure;
  fs::rename(temporary_, target_, failure);
  if (failure) return unwritable(target_, failure);
  temporary_.clear();
  sync_folder(fs::path(target_).parent_path().string());
  return std::monostate{};
}

}  // namespace charpie::flow
