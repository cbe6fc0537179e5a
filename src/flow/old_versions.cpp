#include "flow/old_versions.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>

#include "flow/file_source.hpp"

namespace charpie::flow {

// A record is the same one when source and key are (its business identifier), whatever else was amended.
Uuid OldVersions::key_of(const record::Record& record) const {
  const auto system = record.text(record::FieldId::source_system);
  std::string name(system.empty() ? std::string_view(name_space_) : system);
  name += '\n';
  name += record.text(record::FieldId::id);
  return uuid_v5(uuid_space_oid, name);
}

Result<std::unique_ptr<OldVersions>> OldVersions::open(const std::string& path, const Engine& engine,
                                                       const std::string& name_space) {
  std::unique_ptr<OldVersions> old(new OldVersions);
  old->file_ = path;
  old->name_space_ = name_space;
  auto source = FileSource::open(path);
  if (!source) return source.error();
  old->descriptor_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  struct stat status {};
  if (old->descriptor_ < 0 || ::fstat(old->descriptor_, &status) != 0) {
    return Error{Error::unreadable, "cannot be read", path, 0, 0, {}};
  }
  if (!S_ISREG(status.st_mode)) {
    return Error{Error::usage,
                 "old versions are read twice: this is no regular file",
                 path,
                 0,
                 0,
                 "write them to a file first"};
  }
  syntax::JsonStream stream(**source);
  syntax::JsonPiece piece;
  PieceReader reader(engine, record_form(), {});
  while (stream.next(piece)) {
    if (piece.error) {
      if (piece.error->kind != Error::unreadable) continue;
      piece.error->file = path;
      return *piece.error;
    }
    for (const auto& one : reader.read(piece, path)) {
      if (one.text(record::FieldId::id).empty()) continue;
      old->rows_.push_back({old->key_of(one), piece.offset, piece.bytes.size(), piece.line});
    }
  }
  // The last of several versions stands first among its equals.
  std::sort(old->rows_.begin(), old->rows_.end(), [](const Row& a, const Row& b) {
    return a.key.bytes != b.key.bytes ? a.key.bytes < b.key.bytes : a.offset > b.offset;
  });
  return old;
}

OldVersions::~OldVersions() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

bool OldVersions::find(const record::Record& record, syntax::JsonPiece& piece) const {
  const Uuid key = key_of(record);
  const auto row = std::lower_bound(rows_.begin(), rows_.end(), key,
                                    [](const Row& a, const Uuid& b) { return a.key.bytes < b.bytes; });
  if (row == rows_.end() || !(row->key == key)) return false;
  piece = {};
  piece.line = static_cast<std::size_t>(row->line);
  piece.column = 1;
  piece.offset = row->offset;
  piece.bytes.resize(row->size);
  std::size_t got = 0;
  while (got < row->size) {
    const auto count = ::pread(descriptor_, piece.bytes.data() + got, row->size - got,
                               static_cast<off_t>(row->offset + got));
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) return false;
    got += static_cast<std::size_t>(count);
  }
  return true;
}

}  // namespace charpie::flow
