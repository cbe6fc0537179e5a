#include "rules/sorted_notes.hpp"

#include <stdlib.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>
#include <queue>

namespace charpie::rules {

namespace {

constexpr std::size_t head_bytes = 2 * sizeof(std::uint32_t);

Entry entry_at(const char* at) {
  std::uint32_t lengths[2];
  std::memcpy(lengths, at, head_bytes);
  return {{at + head_bytes, lengths[0]}, {at + head_bytes + lengths[0], lengths[1]}};
}

// A file without a name, so that it goes away with the program, however that ends; in TMPDIR, which std::tmpfile does
// not ask for (POSIX.1-2017, 8.3: TMPDIR): /tmp is memory on many machines. nullptr when it cannot be made.
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

Error unwritable() { return {Error::unwritable, "a temporary file cannot be written", {}, 0, 0, "make room in the folder for temporary files (TMPDIR), or allow more memory"}; }
Error unreadable() { return {Error::unreadable, "a temporary file cannot be read back"}; }

}  // namespace

// Entries of one sorted file, one after the other.
class SortedNotes::Reader {
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
  Entry entry() const { return {std::string_view(buffer_).substr(0, key_length_), std::string_view(buffer_).substr(key_length_)}; }
  bool failed() const { return failed_; }

 private:
  std::FILE* file_;
  std::string buffer_;
  std::size_t key_length_ = 0;
  bool failed_ = false;
};

SortedNotes::SortedNotes(std::size_t memory) : memory_(memory) {}
SortedNotes::~SortedNotes() = default;

Outcome SortedNotes::add(std::string_view key, std::string_view body) {
  const std::size_t size = head_bytes + key.size() + body.size();
  // A row of pointers doubles when it grows: count it twice.
  if (!entries_.empty() && used_ + size + 2 * sizeof(const char*) * entries_.size() > memory_) {
    if (auto spilled = spill(); !spilled) return spilled;
  }
  if (size > room_) {
    room_ = std::max(std::min(chunk_bytes, memory_), size);
    chunks_.push_back(std::make_unique<char[]>(room_));
    next_ = chunks_.back().get();
    used_ += room_;
  }
  const std::uint32_t lengths[2] = {static_cast<std::uint32_t>(key.size()), static_cast<std::uint32_t>(body.size())};
  std::memcpy(next_, lengths, head_bytes);
  std::memcpy(next_ + head_bytes, key.data(), key.size());
  if (!body.empty()) std::memcpy(next_ + head_bytes + key.size(), body.data(), body.size());
  entries_.push_back(next_);
  next_ += size;
  room_ -= size;
  return std::monostate{};
}

void SortedNotes::sort() {
  std::sort(entries_.begin(), entries_.end(), [](const char* a, const char* b) { return entry_at(a).key < entry_at(b).key; });
}

Outcome SortedNotes::write(std::FILE* file, const Entry& entry) {
  const std::uint32_t lengths[2] = {static_cast<std::uint32_t>(entry.key.size()), static_cast<std::uint32_t>(entry.body.size())};
  if (std::fwrite(lengths, 1, head_bytes, file) != head_bytes || std::fwrite(entry.key.data(), 1, entry.key.size(), file) != entry.key.size() ||
      std::fwrite(entry.body.data(), 1, entry.body.size(), file) != entry.body.size()) {
    return unwritable();
  }
  return std::monostate{};
}

Outcome SortedNotes::spill() {
  File file(unnamed_file());
  if (file == nullptr) return unwritable();
  sort();
  for (const char* at : entries_) {
    if (auto written = write(file.get(), entry_at(at)); !written) return written;
  }
  if (std::fflush(file.get()) != 0) return unwritable();
  files_.push_back(std::move(file));
  ++spills_;
  entries_.clear();
  chunks_.clear();
  used_ = room_ = 0;
  if (files_.size() < most_files) return std::monostate{};
  File joined(unnamed_file());
  if (joined == nullptr) return unwritable();
  auto merged = merge(files_, [&](const Entry& entry) { return write(joined.get(), entry); });
  if (!merged) return merged;
  if (std::fflush(joined.get()) != 0) return unwritable();
  files_.clear();
  files_.push_back(std::move(joined));
  return std::monostate{};
}

Outcome SortedNotes::merge(std::vector<File>& files, const std::function<Outcome(const Entry&)>& take) {
  std::vector<Reader> readers;
  for (auto& file : files) readers.emplace_back(file.get());
  const auto later = [&](std::size_t a, std::size_t b) { return readers[a].entry().key > readers[b].entry().key; };
  std::priority_queue<std::size_t, std::vector<std::size_t>, decltype(later)> heads(later);
  for (std::size_t i = 0; i < readers.size(); ++i) {
    if (readers[i].next()) heads.push(i);
    if (readers[i].failed()) return unreadable();
  }
  while (!heads.empty()) {
    const std::size_t i = heads.top();
    heads.pop();
    if (auto taken = take(readers[i].entry()); !taken) return taken;
    if (readers[i].next()) heads.push(i);
    if (readers[i].failed()) return unreadable();
  }
  return std::monostate{};
}

Outcome SortedNotes::drain(const std::function<void(const Entry&)>& take) {
  if (files_.empty()) {
    sort();
    for (const char* at : entries_) take(entry_at(at));
    entries_.clear();
    chunks_.clear();
    used_ = room_ = 0;
    return std::monostate{};
  }
  if (!entries_.empty()) {
    if (auto spilled = spill(); !spilled) return spilled;
  }
  auto merged = merge(files_, [&](const Entry& entry) -> Outcome {
    take(entry);
    return std::monostate{};
  });
  files_.clear();
  return merged;
}

}  // namespace charpie::rules
