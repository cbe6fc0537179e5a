#include "flow/bulk_set.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <deque>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <set>

#include "base/digest.hpp"
#include "flow/file_source.hpp"
#include "flow/resource_group.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

namespace fs = std::filesystem;
using mapping::Lifetime;

namespace {

Error invalid(const std::string& file, std::size_t line, std::string message) {
  return {Error::invalid,
          std::move(message),
          file,
          line,
          0,
          "write the set anew; or take manifest.json away, and the resources are sorted to visits"};
}

}  // namespace

// The lines of the files of one type, one after the other, each with what it is.
class BulkSet::Lines {
 public:
  Lines(std::vector<std::string> files, const mapping::Mapping& mapping)
      : files_(std::move(files)), mapping_(&mapping) {}

  /// Goes on to the next resource. False at the end.
  Result<bool> advance() {
    arena_.reset();
    node_ = nullptr;
    while (true) {
      if (stream_ == nullptr) {
        if (next_ == files_.size()) return false;
        auto source = FileSource::open(files_[next_]);
        if (!source) return source.error();
        source_ = std::move(*source);
        stream_ = std::make_unique<syntax::JsonStream>(*source_);
        ++next_;
      }
      if (stream_->next(piece_)) break;
      stream_.reset();
    }
    if (piece_.error) return invalid(file(), piece_.error->line, piece_.error->message);
    auto tree = syntax::read_json(piece_.bytes, arena_, mapping_->names());
    if (!tree) return invalid(file(), piece_.line, tree.error().message);
    node_ = *tree;
    identity_ = mapping::identify(*mapping_, *node_);
    return true;
  }
  const syntax::Node* node() const { return node_; }  // nullptr at the end
  const mapping::Identity& identity() const { return identity_; }
  const syntax::JsonPiece& piece() const { return piece_; }
  const std::string& file() const { return files_[next_ - 1]; }

 private:
  std::vector<std::string> files_;
  const mapping::Mapping* mapping_;
  std::size_t next_ = 0;
  std::unique_ptr<FileSource> source_;
  std::unique_ptr<syntax::JsonStream> stream_;
  syntax::JsonPiece piece_;
  Arena arena_;
  const syntax::Node* node_ = nullptr;
  mapping::Identity identity_;
};

namespace {

struct Listed {
  std::string file, type, digest;
  std::uint64_t count = 0, bytes = 0;
};

Result<std::vector<Listed>> read_manifest(const std::string& folder) {
  const auto path = (fs::path(folder) / "manifest.json").string();
  const auto text = read_whole(path);
  if (!text) return text.error();
  const auto json = nlohmann::json::parse(*text, nullptr, false);
  std::vector<Listed> listed;
  try {
    for (const auto& one : json.at("files")) {
      listed.push_back({one.at("file"), one.at("type"), one.at("sha256"), one.at("count"), one.at("bytes")});
      if (fs::path(listed.back().file).has_parent_path())
        return invalid(path, 0, "names a file outside of its folder");
    }
  } catch (const nlohmann::json::exception&) {
    return invalid(path, 0,
                   "is no manifest of ours: each of its files has file, type, count, bytes and sha256");
  }
  return listed;
}

// Count, bytes and digest of a file as the manifest has them.
Outcome hold_against(const Listed& listed, const std::string& path) {
  auto source = FileSource::open(path);
  if (!source) return source.error();
  Sha256 digest;
  std::uint64_t bytes = 0, lines = 0;
  std::vector<char> chunk(256u << 10);
  while (true) {
    const auto count = (*source)->read(chunk.data(), chunk.size());
    if (!count) return count.error();
    if (*count == 0) break;
    const std::string_view got(chunk.data(), *count);
    digest.update(got);
    bytes += got.size();
    lines += static_cast<std::uint64_t>(std::count(got.begin(), got.end(), '\n'));
  }
  if (lines != listed.count) {
    return invalid(path, 0,
                   "holds " + std::to_string(lines) + " resources where the manifest says " +
                       std::to_string(listed.count));
  }
  if (bytes != listed.bytes || digest.hex() != listed.digest)
    return invalid(path, 0, "is not what the manifest says: its digest differs");
  return std::monostate{};
}

// Calls `take` for each text of a member "reference".
template <class Take>
void each_reference(const syntax::Node& node, const Take& take) {
  for (const auto* at = node.first; at != nullptr; at = at->next) {
    if (at->is_string() && at->name_text == "reference") take(at->text);
    if (at->first != nullptr) each_reference(*at, take);
  }
}

}  // namespace

bool BulkSet::is_one(const std::string& folder) {
  std::error_code ignored;
  return fs::is_regular_file(fs::path(folder) / "manifest.json", ignored);
}

BulkSet::BulkSet(const mapping::Mapping& mapping) : mapping_(&mapping) {}

BulkSet::~BulkSet() {
  for (const int one : descriptors_) ::close(one);
}

Result<std::unique_ptr<BulkSet>> BulkSet::open(const std::string& folder, const mapping::Mapping& mapping) {
  const auto listed = read_manifest(folder);
  if (!listed) return listed.error();
  std::unique_ptr<BulkSet> set(new BulkSet(mapping));
  // How long a type's resources live; what only keeps the books is not read.
  std::set<std::string, std::less<>> shared, kept_books;
  for (const auto& one : mapping.templates()) {
    if (one.bookkeeping)
      kept_books.insert(one.resource_type);
    else if (one.lifetime != Lifetime::visit)
      shared.insert(one.resource_type);
  }
  std::vector<std::pair<std::string, std::vector<std::string>>> types;
  for (const auto& one : *listed) {
    const auto path = (fs::path(folder) / one.file).string();
    if (auto held = hold_against(one, path); !held) return held.error();
    if (kept_books.contains(one.type)) continue;
    if (shared.contains(one.type)) {
      if (auto noted = set->note_shared(path); !noted) return noted.error();
      continue;
    }
    if (types.empty() || types.back().first != one.type) types.push_back({one.type, {}});
    types.back().second.push_back(path);
  }
  const auto& panel = mapping.templates()[mapping.visit_template() - 1].resource_type;
  for (auto& [type, files] : types) {
    if (type == panel) set->leading_ = set->of_visits_.size();
    set->of_visits_.push_back(std::make_unique<Lines>(std::move(files), mapping));
    if (auto first = set->of_visits_.back()->advance(); !first) return first.error();
  }
  return set;
}

// Where each resource of the file stands, so that every visit that shares it gets it.
Outcome BulkSet::note_shared(const std::string& path) {
  auto source = FileSource::open(path);
  if (!source) return source.error();
  const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) return Error{Error::unreadable, "cannot be read", path, 0, 0, {}};
  descriptors_.push_back(descriptor);
  syntax::JsonStream stream(**source);
  syntax::JsonPiece piece;
  while (stream.next(piece)) {
    if (piece.error) return invalid(path, piece.error->line, piece.error->message);
    arena_.reset();
    const auto tree = syntax::read_json(piece.bytes, arena_, mapping_->names());
    if (!tree) return invalid(path, piece.line, tree.error().message);
    shared_[name_of(**tree)] = {shared_files_.size(), piece.line, piece.offset, piece.bytes.size()};
  }
  shared_files_.push_back(path);
  return std::monostate{};
}

Result<bool> BulkSet::next_visit(syntax::JsonPiece& piece) {
  if (of_visits_.empty()) return false;
  Lines& leading = *of_visits_[leading_];
  if (leading.node() == nullptr) {
    for (const auto& one : of_visits_) {
      if (one->node() != nullptr)
        return invalid(one->file(), one->piece().line, "belongs to no visit that comes in its turn");
    }
    return false;
  }
  const auto& first = leading.identity();
  if (!first.keyed) return invalid(leading.file(), leading.piece().line, "has no identifier of ours");
  const std::string system(first.key.system), key(first.key.record_key);
  ResourceGroup group(piece);
  std::vector<std::string> wanted;  // of the shared, in the order of their mention
  std::set<std::string> known;
  const auto want = [&](std::string_view reference) {
    std::string name(mapping::target_name(reference));
    if (shared_.contains(name) && known.insert(name).second) wanted.push_back(std::move(name));
  };
  const auto take_from = [&](Lines& lines) -> Outcome {
    while (lines.node() != nullptr && lines.identity().keyed && lines.identity().key.record_key == key &&
           lines.identity().key.system == system) {
      group.add(lines.piece().bytes, name_of(*lines.node()), lines.file(), lines.piece().line,
                lines.piece().column);
      each_reference(*lines.node(), want);
      if (auto advanced = lines.advance(); !advanced) return advanced.error();
    }
    return std::monostate{};
  };
  if (auto taken = take_from(leading); !taken) return taken.error();
  for (std::size_t i = 0; i < of_visits_.size(); ++i) {
    if (i == leading_) continue;
    if (auto taken = take_from(*of_visits_[i]); !taken) return taken.error();
  }
  for (std::size_t i = 0; i < wanted.size(); ++i) {  // grows: what is shared may refer to what is shared
    const auto& place = shared_.find(wanted[i])->second;
    std::string bytes(place.size, '\0');
    std::size_t got = 0;
    while (got < bytes.size()) {
      const auto count = ::pread(descriptors_[place.file], bytes.data() + got, bytes.size() - got,
                                 static_cast<off_t>(place.offset + got));
      if (count < 0 && errno == EINTR) continue;
      if (count <= 0) return Error{Error::unreadable, "cannot be read", shared_files_[place.file], 0, 0, {}};
      got += static_cast<std::size_t>(count);
    }
    group.add(bytes, wanted[i], shared_files_[place.file], place.line, 1);
    arena_.reset();
    if (const auto tree = syntax::read_json(bytes, arena_, mapping_->names())) each_reference(**tree, want);
  }
  group.finish();
  return true;
}

Result<bool> BulkSet::fill(Batch& batch) {
  return fill_with(batch, [this](syntax::JsonPiece& piece) { return next_visit(piece); });
}

}  // namespace charpie::flow
