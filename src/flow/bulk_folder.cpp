#include "flow/bulk_folder.hpp"

#include <algorithm>
#include <cstring>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <system_error>

#include "flow/file_source.hpp"

namespace charpie::flow {

namespace fs = std::filesystem;

// A name-based UUID is a hash already.
std::size_t BulkFolder::UuidHash::operator()(const Uuid& uuid) const {
  std::size_t hash;
  std::memcpy(&hash, uuid.bytes.data(), sizeof hash);
  return hash;
}

Result<std::unique_ptr<BulkFolder>> BulkFolder::open(const std::string& path, std::uint64_t split,
                                                     const nlohmann::json& mark) {
  auto opened = OutputFolder::open(path, !mark.is_null());
  if (!opened) return opened.error();
  std::unique_ptr<BulkFolder> folder(new BulkFolder(std::move(*opened), split));
  if (mark.is_null()) return folder;
  if (auto gone_on = folder->go_on(mark); !gone_on) return gone_on.error();
  return folder;
}

// The files as they were at the mark; which shared resources they hold is read from them.
Outcome BulkFolder::go_on(const nlohmann::json& mark) {
  for (const auto& one : mark.at("whole")) {
    listed_.push_back({one.at("file"), one.at("type"), one.at("count"), one.at("bytes"), one.at("sha256"),
                       one.at("shared")});
    Sha256 digest;
    const auto& last = listed_.back();
    if (auto read = read_again(folder_.file(last.file), last.shared, digest); !read) return read;
  }
  for (const auto& one : mark.at("open")) {
    auto& file = files_[one.at("type")];
    file.name = one.at("file");
    file.number = one.at("number");
    file.shared = one.at("shared");
    if (file.name.empty()) continue;
    file.count = one.at("count");
    file.bytes = one.at("bytes");
    const auto part = folder_.file("." + file.name + ".bulk.part");
    // It may have become whole after the mark.
    std::error_code not_whole;
    fs::rename(folder_.file(file.name), part, not_whole);
    auto opened = OutputFile::open(folder_.file(file.name), kept(file.bytes));
    if (!opened) return opened.error();
    file.file = std::move(*opened);
    if (auto read = read_again(part, file.shared, file.digest); !read) return read;
  }
  // What was begun after the mark.
  std::error_code failure;
  for (const auto& entry : fs::directory_iterator(folder_.file(""), failure)) {
    const auto name = entry.path().filename().string();
    const bool known =
        std::any_of(listed_.begin(), listed_.end(), [&](const Listed& one) { return one.file == name; }) ||
        std::any_of(files_.begin(), files_.end(),
                    [&](const auto& one) { return "." + one.second.name + ".bulk.part" == name; });
    if (!known) fs::remove(entry.path(), failure);
  }
  return std::monostate{};
}

// Digests a file that was written before, and notes the ids of shared resources:
// {"resourceType":…,"id":"UUID"…
Outcome BulkFolder::read_again(const std::string& path, bool shared, Sha256& digest) {
  auto source = FileSource::open(path);
  if (!source) return source.error();
  constexpr std::string_view before = R"("id":")";
  std::vector<char> chunk(256u << 10);
  std::string line;
  while (true) {
    const auto count = (*source)->read(chunk.data(), chunk.size());
    if (!count) return count.error();
    if (*count == 0) return std::monostate{};
    const std::string_view got(chunk.data(), *count);
    digest.update(got);
    for (std::size_t at = 0; shared && at < got.size();) {
      const auto end = std::min(got.find('\n', at), got.size());
      if (line.size() < 256) line += got.substr(at, end - at);
      if (end != got.size()) {
        const auto id = line.find(before);
        if (id != std::string::npos) {
          if (const auto uuid =
                  parse_uuid(std::string_view(line).substr(id + before.size(), uuid_text_length)))
            shared_.insert(*uuid);
        }
        line.clear();
      }
      at = end + 1;
    }
  }
}

Result<nlohmann::json> BulkFolder::mark() {
  nlohmann::json mark = {{"whole", nlohmann::json::array()}, {"open", nlohmann::json::array()}};
  for (const auto& one : listed_) {
    mark["whole"].push_back({{"file", one.file},
                             {"type", one.type},
                             {"count", one.count},
                             {"bytes", one.bytes},
                             {"sha256", one.digest},
                             {"shared", one.shared}});
  }
  for (auto& [type, file] : files_) {
    if (file.file != nullptr) {
      if (auto synced = file.file->sync(); !synced) return synced.error();
    }
    mark["open"].push_back({{"type", type},
                            {"file", file.file == nullptr ? "" : file.name},
                            {"number", file.number},
                            {"count", file.count},
                            {"bytes", file.bytes},
                            {"shared", file.shared}});
  }
  return mark;
}

void BulkFolder::leave() {
  for (auto& [type, file] : files_) {
    if (file.file != nullptr) file.file->leave();
  }
  folder_.leave();
}

Outcome BulkFolder::place(const Batch& batch) {
  for (const auto& resource : batch.resources) {
    if (resource.shared && !shared_.insert(resource.uuid).second) continue;
    auto at = files_.find(resource.type);
    if (at == files_.end()) at = files_.emplace(resource.type, TypeFile{}).first;
    auto& file = at->second;
    file.shared = resource.shared;
    const auto size = resource.end - resource.begin + 1;
    if (split_ != 0 && file.file != nullptr && file.bytes + file.waiting.size() + size > split_) {
      if (auto closed = close(at->first, file); !closed) return closed;
    }
    if (file.file == nullptr) {
      // Type.ndjson; Type.1.ndjson, Type.2.ndjson, … when files are split.
      file.name = at->first + (split_ == 0 ? "" : "." + std::to_string(++file.number)) + ".ndjson";
      auto opened = OutputFile::open(folder_.file(file.name), kept());
      if (!opened) return opened.error();
      file.file = std::move(*opened);
    }
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
  if (file.waiting.empty()) return std::monostate{};
  file.digest.update(file.waiting);
  file.bytes += file.waiting.size();
  auto written = file.file->write(file.waiting);
  file.waiting.clear();
  return written;
}

Outcome BulkFolder::close(const std::string& type, TypeFile& file) {
  if (auto written = write(file); !written) return written;
  if (auto finished = file.file->finish(); !finished) return finished;
  listed_.push_back({file.name, type, file.count, file.bytes, file.digest.hex(), file.shared});
  file.file.reset();
  file.count = file.bytes = 0;
  return std::monostate{};
}

Outcome BulkFolder::finish(std::uint64_t records, const std::string& mapping_digest) {
  nlohmann::ordered_json manifest = {
      {"records", records}, {"mapping", mapping_digest}, {"files", nlohmann::ordered_json::array()}};
  for (auto& [type, file] : files_) {
    if (file.file == nullptr) continue;
    if (auto closed = close(type, file); !closed) return closed;
  }
  std::stable_sort(listed_.begin(), listed_.end(),
                   [](const Listed& a, const Listed& b) { return a.type < b.type; });
  for (const auto& one : listed_) {
    manifest["files"].push_back({{"file", one.file},
                                 {"type", one.type},
                                 {"count", one.count},
                                 {"bytes", one.bytes},
                                 {"sha256", one.digest}});
  }
  auto listing = OutputFile::open(folder_.file("manifest.json"));
  if (!listing) return listing.error();
  if (auto written = (*listing)->write(manifest.dump(2) + "\n"); !written) return written;
  if (auto finished = (*listing)->finish(); !finished) return finished;
  return folder_.finish();
}

}  // namespace charpie::flow
