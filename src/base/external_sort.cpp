#include "base/external_sort.hpp"

#include <stdlib.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>
#include <queue>

namespace charpie {

namespace {

constexpr std::size_t head_bytes = 2 * sizeof(std::uint32_t);

SortedEntry entry_at(const char* at) {
  std::uint32_t lengths[2];
  std::memcpy(lengths, at, head_bytes);
  return {{at + head_bytes, lengths[0]}, {at + head_bytes + lengths[0], lengths[1]}};
}

// A file without a name; in TMPDIR, which std::tmpfile does not ask for: /tmp is memory on many machines.
// nullptr when it cannot be made.
std::FILE* unnamed_file() {
  const char* folder = std::getenv("TMPDIR");
  std::string path = std::string(folder == nullptr || *folder == '\0' ? "/tmp" : folder) + "/charpie-XXXXXX";
  const int descriptor = mkstemp(path.data());
  if (descriptor < 0) return nullptr;
  unlink(path.c_str());
  std::FILE* file = fdopen(descriptor, "w+b");
  if (file == nullptr) close(descriptor);
  return file;
}

Error unwritable() {
  return {Error::unwritable,
          "a temporary file cannot be written",
          {},
          0,
          0,
          "make room in the folder for temporary files (TMPDIR), or allow more memory"};
}
Error unreadable() {
  return {Error::unreadable, "a temporary file cannot be read back"};
}

}  // namespace

// Entries of one sorted file, one after the other.
class ExternalSort::Reader {
 public:
  explicit Reader(std::FILE* file) : file_(file) { std::rewind(file_); }
  // False at the end, or when the file is broken (then failed()).
  bool next() {
    std::uint32_t lengths[2];
    const auto got = std::fread(lengths, 1, head_bytes, file_);
    if (got != head_bytes) {
      failed_ = got != 0 || std::ferror(file_) != 0;
      return false;
    }
    buffer_.resize(std::size_t{lengths[0]} + lengths[1]);
    if (std::fread(buffer_.data(), 1, buffer_.size(), file_) != buffer_.size()) {
      failed_ = true;
      return false;
    }
    key_length_ = lengths[0];
    return true;
  }
  SortedEntry entry() const {
    return {std::string_view(buffer_).substr(0, key_length_), std::string_view(buffer_).substr(key_length_)};
  }
  bool failed() const { return failed_; }

 private:
  std::FILE* file_;
  std::string buffer_;
  std::size_t key_length_ = 0;
  bool failed_ = false;
};

// Sorted files taken together; of one key, the entry of the earlier file comes first.
class ExternalSort::Merge {
 public:
  explicit Merge(const std::vector<File>& files) : heads_(Later{&readers_}) {
    readers_.reserve(files.size());
    for (const auto& file : files) readers_.emplace_back(file.get());
  }

  Result<bool> next(SortedEntry& entry) {
    if (!started_) {
      started_ = true;
      for (std::size_t i = 0; i < readers_.size(); ++i) {
        if (!advance(i)) return unreadable();
      }
    } else if (!heads_.empty()) {
      const std::size_t last = heads_.top();
      heads_.pop();
      if (!advance(last)) return unreadable();
    }
    if (heads_.empty()) return false;
    entry = readers_[heads_.top()].entry();
    return true;
  }

 private:
  struct Later {
    const std::vector<Reader>* readers;
    bool operator()(std::size_t a, std::size_t b) const {
      const int order = (*readers)[a].entry().key.compare((*readers)[b].entry().key);
      return order != 0 ? order > 0 : a > b;
    }
  };
  bool advance(std::size_t i) {
    if (readers_[i].next()) heads_.push(i);
    return !readers_[i].failed();
  }

  std::vector<Reader> readers_;
  std::priority_queue<std::size_t, std::vector<std::size_t>, Later> heads_;
  bool started_ = false;
};

ExternalSort::ExternalSort(std::size_t memory) : memory_(memory) {}
ExternalSort::~ExternalSort() = default;

Outcome ExternalSort::add(std::string_view key, std::string_view body) {
  const std::size_t size = head_bytes + key.size() + body.size();
  // A row of pointers doubles when it grows, and stands twice while it does; sorting needs less.
  if (!entries_.empty() && used_ + size + 3 * sizeof(const char*) * entries_.size() > memory_) {
    if (auto spilled = spill(); !spilled) return spilled;
  }
  if (size > room_) {
    room_ = std::max(std::min(chunk_bytes, memory_), size);
    chunks_.push_back(std::make_unique_for_overwrite<char[]>(room_));
    next_ = chunks_.back().get();
    used_ += room_;
  }
  const std::uint32_t lengths[2] = {static_cast<std::uint32_t>(key.size()),
                                    static_cast<std::uint32_t>(body.size())};
  std::memcpy(next_, lengths, head_bytes);
  if (!key.empty()) std::memcpy(next_ + head_bytes, key.data(), key.size());
  if (!body.empty()) std::memcpy(next_ + head_bytes + key.size(), body.data(), body.size());
  entries_.push_back(next_);
  next_ += size;
  room_ -= size;
  return std::monostate{};
}

void ExternalSort::sort() {
  std::stable_sort(entries_.begin(), entries_.end(),
                   [](const char* a, const char* b) { return entry_at(a).key < entry_at(b).key; });
}

void ExternalSort::forget_entries() {
  entries_.clear();
  chunks_.clear();
  next_ = nullptr;
  used_ = room_ = 0;
}

Outcome ExternalSort::write(std::FILE* file, const SortedEntry& entry) {
  const std::uint32_t lengths[2] = {static_cast<std::uint32_t>(entry.key.size()),
                                    static_cast<std::uint32_t>(entry.body.size())};
  if (std::fwrite(lengths, 1, head_bytes, file) != head_bytes ||
      std::fwrite(entry.key.data(), 1, entry.key.size(), file) != entry.key.size() ||
      std::fwrite(entry.body.data(), 1, entry.body.size(), file) != entry.body.size()) {
    return unwritable();
  }
  return std::monostate{};
}

Outcome ExternalSort::spill() {
  File file(unnamed_file());
  if (file == nullptr) return unwritable();
  sort();
  for (const char* at : entries_) {
    if (auto written = write(file.get(), entry_at(at)); !written) return written;
  }
  if (std::fflush(file.get()) != 0) return unwritable();
  files_.push_back(std::move(file));
  ++spills_;
  forget_entries();
  return files_.size() < most_files ? Outcome(std::monostate{}) : join_files();
}

Outcome ExternalSort::join_files() {
  File joined(unnamed_file());
  if (joined == nullptr) return unwritable();
  Merge merge(files_);
  SortedEntry entry;
  while (true) {
    const auto more = merge.next(entry);
    if (!more) return more.error();
    if (!*more) break;
    if (auto written = write(joined.get(), entry); !written) return written;
  }
  if (std::fflush(joined.get()) != 0) return unwritable();
  files_.clear();
  files_.push_back(std::move(joined));
  return std::monostate{};
}

Outcome ExternalSort::begin_taking() {
  taking_ = true;
  taken_ = 0;
  if (files_.empty()) {
    sort();
    return std::monostate{};
  }
  if (!entries_.empty()) {
    if (auto spilled = spill(); !spilled) return spilled;
  }
  merge_ = std::make_unique<Merge>(files_);
  return std::monostate{};
}

Result<bool> ExternalSort::next(SortedEntry& entry) {
  if (!taking_) {
    if (auto begun = begin_taking(); !begun) return begun.error();
  }
  if (merge_ != nullptr) {
    auto more = merge_->next(entry);
    if (!more || *more) return more;
  } else if (taken_ < entries_.size()) {
    entry = entry_at(entries_[taken_++]);
    return true;
  }
  merge_.reset();
  files_.clear();
  forget_entries();
  taking_ = false;
  return false;
}

Outcome ExternalSort::drain(const std::function<void(const SortedEntry&)>& take) {
  SortedEntry entry;
  while (true) {
    const auto more = next(entry);
    if (!more) return more.error();
    if (!*more) return std::monostate{};
    take(entry);
  }
}

}  // namespace charpie
