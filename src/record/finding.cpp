#include "record/finding.hpp"

#include <algorithm>
#include <array>

namespace charpie::record {

namespace {

constexpr bool yes = true;
constexpr bool no = false;

constexpr std::array<FindingKind, static_cast<std::size_t>(FindingId::count)> kinds = {
#define FINDING(token, slug, severity, blocks, issue_type, message, mend) \
  FindingKind{slug, Severity::severity, blocks, issue_type, message, mend},
#include "record/findings.def"
#undef FINDING
};

// Puts the next values in place of {}; a {} without a value stays empty.
std::string filled(std::string_view pattern, const std::string_view*& next, const std::string_view* end) {
  std::string text;
  text.reserve(pattern.size() + 32);
  for (std::size_t at = 0; at < pattern.size();) {
    if (pattern.substr(at, 2) == "{}") {
      if (next != end) text += *next++;
      at += 2;
    } else {
      text += pattern[at++];
    }
  }
  return text;
}

}  // namespace

const FindingKind& finding_kind(FindingId id) {
  return kinds[static_cast<std::size_t>(id)];
}

std::span<const FindingKind> finding_kinds() {
  return kinds;
}

std::string without_indexes(std::string_view path) {
  std::string plain;
  bool inside = false;
  for (const char c : path) {
    inside = inside || c == '[';
    if (!inside) plain += c;
    inside = inside && c != ']';
  }
  return plain;
}

FindingId find_finding(std::string_view slug) {
  const auto found =
      std::find_if(kinds.begin(), kinds.end(), [&](const FindingKind& kind) { return kind.slug == slug; });
  return static_cast<FindingId>(found - kinds.begin());
}

void Findings::begin(std::string_view file, std::string_view record_key, std::string_view bytes,
                     std::uint32_t first_line, std::uint32_t first_column) {
  file_ = file;
  record_key_ = record_key;
  bytes_ = bytes;
  first_line_ = first_line;
  first_column_ = first_column;
  last_offset_ = 0;
  last_line_ = first_line;
  last_column_ = first_column;
}

void Findings::report(FindingId id, std::string_view path, std::uint32_t offset,
                      std::initializer_list<std::string_view> values) {
  const FindingKind& kind = finding_kind(id);
  const Grade grade =
      grades_.empty() ? Grade{kind.severity, kind.blocks, true} : grades_[static_cast<std::size_t>(id)];
  if (!grade.reported) return;
  Finding finding{id,
                  grade.severity,
                  grade.blocks,
                  std::string(file_),
                  0,
                  0,
                  std::string(record_key_),
                  std::string(path),
                  {},
                  {}};
  const std::string_view* next = values.begin();
  finding.message = filled(kind.message, next, values.end());
  finding.mend = filled(kind.mend, next, values.end());
  // The place is only worked out here: records without findings never pay for it.
  if (offset != no_place && offset <= bytes_.size()) {
    const auto where = position(offset);
    finding.file = where.file;
    finding.line = where.line;
    finding.column = where.column;
  }
  found_.push_back(std::move(finding));
}

Findings::Position Findings::position(std::uint32_t offset) {
  const auto part =
      std::upper_bound(parts_.begin(), parts_.end(), offset,
                       [](std::uint32_t at, const syntax::PiecePart& one) { return at < one.begin; });
  const syntax::PiecePart* const in = part == parts_.begin() ? nullptr : &*(part - 1);
  const auto begin = in == nullptr ? 0 : in->begin;
  if (offset < last_offset_ || last_offset_ < begin) {
    last_offset_ = begin;
    last_line_ = in == nullptr ? first_line_ : static_cast<std::uint32_t>(in->line);
    last_column_ = in == nullptr ? first_column_ : static_cast<std::uint32_t>(in->column);
  }
  for (const char c : bytes_.substr(last_offset_, offset - last_offset_)) {
    if (c == '\n') {
      ++last_line_;
      last_column_ = 1;
    } else if ((static_cast<unsigned char>(c) & 0xC0) != 0x80) {  // continuation bytes are no characters
      ++last_column_;
    }
  }
  last_offset_ = offset;
  return {in != nullptr && !in->file.empty() ? std::string_view(in->file) : file_, last_line_, last_column_};
}

bool Findings::blocked_since(std::size_t mark) const {
  return std::any_of(found_.begin() + static_cast<std::ptrdiff_t>(std::min(mark, found_.size())),
                     found_.end(), [](const Finding& finding) { return finding.blocks; });
}

}  // namespace charpie::record
