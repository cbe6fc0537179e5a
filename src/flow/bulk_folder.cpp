#include "flow/bulk_folder.hpp"

#include <unistd.h>

#include <cstring>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <system_error>

namespace charpie::flow {

namespace fs = std::filesystem;

namespace {

Error unwritable(const std::string& folder, const std::error_code& why) {
  return {Error::unwritable, "cannot be written: " + why.message(), folder, 0, 0, "nothing was left behind"};
}

}  // namespace

// A name-based UUID is a hash already.
std::size_t BulkFolder::UuidHash::operator()(const Uuid& uuid) const {
  std::size_t hash;
  std::memcpy(&hash, uuid.bytes.data(), sizeof hash);
  return hash;
}

Result<std::unique_ptr<BulkFolder>> BulkFolder::open(const std::string& path) {
  std::unique_ptr<BulkFolder> folder(new BulkFolder);
  std::error_code failure;
  if (path.empty() || path == "-") {
    return Error{Error::usage, "--pack bulk writes several files", {}, 0, 0, "name a folder with -o"};
  }
  const fs::path target = fs::weakly_canonical(path, failure);
  if (failure) return unwritable(path, failure);
  if (fs::exists(target, failure) && (!fs::is_directory(target, failure) || !fs::is_empty(target, failure))) {
    return Error{Error::usage, "there is something of that name already", path, 0, 0, "name a new or an empty folder"};
  }
  folder->target_ = target.string();
  folder->temporary_ =
      (target.parent_path() / ("." + target.filename().string() + "." + std::to_string(::getpid()) + ".part")).string();
  fs::create_directory(folder->temporary_, failure);
  if (failure) {
    folder->temporary_.clear();
    return unwritable(path, failure);
  }
  return folder;
}

BulkFolder::~BulkFolder() {
  files_.clear();
  std::error_code ignored;
  if (!temporary_.empty()) fs::remove_all(temporary_, ignored);
}

Outcome BulkFolder::place(const Batch& batch) {
  for (const auto& resource : batch.resources) {
    if (resource.shared && !shared_.insert(resource.uuid).second) continue;
    auto at = files_.find(resource.type);
    if (at == files_.end()) {
      const std::string name(resource.type);
      auto file = OutputFile::open((fs::path(temporary_) / (name + ".ndjson")).string());
      if (!file) return file.error();
      at = files_.emplace(name, TypeFile{}).first;
      at->second.file = std::move(*file);
    }
    auto& file = at->second;
    file.waiting.append(batch.out, resource.begin, resource.end - resource.begin);
    file.waiting += '\n';
    ++file.count;
  }
  for (auto& [type, file] : files_) {
    if (auto written = write(file); !written) return written;
  }
  return std::monostate{};
}

Outcome BulkFolder::write(TypeFile& file) {
  file.digest.update(file.waiting);
  file.bytes += file.waiting.size();
  auto written = file.file->write(file.waiting);
  file.waiting.clear();
  return written;
}

Outcome BulkFolder::finish(std::uint64_t records, const std::string& mapping_digest) {
  nlohmann::ordered_json manifest = {{"records", records}, {"mapping", mapping_digest}, {"files", nlohmann::ordered_json::array()}};
  for (auto& [type, file] : files_) {
    if (auto finished = file.file->finish(); !finished) return finished;
    manifest["files"].push_back({{"file", type + ".ndjson"},
                                 {"type", type},
                                 {"count", file.count},
                                 {"bytes", file.bytes},
                                 {"sha256", file.digest.hex()}});
  }
  auto listing = OutputFile::open((fs::path(temporary_) / "manifest.json").string());
  if (!listing) return listing.error();
  if (auto written = (*listing)->write(manifest.dump(2) + "\n"); !written) return written;
  if (auto finished = (*listing)->finish(); !finished) return finished;
  std::error_code failure;
  fs::rename(temporary_, target_, failure);
  if (failure) return unwritable(target_, failure);
  temporary_.clear();
  sync_folder(fs::path(target_).parent_path().string());
  return std::monostate{};
}

}  // namespace charpie::flow
