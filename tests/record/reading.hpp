// Reads records from text for tests: owns everything that the record looks into.
#pragma once
#include <memory>
#include <string>
#include <string_view>

#include "base/arena.hpp"
#include "record/finding.hpp"
#include "record/read.hpp"
#include "record/write.hpp"
#include "syntax/json.hpp"

namespace charpie::tests {

/// A record with the bytes and memory that it stands in, and what was found on the way.
struct Reading {
  std::unique_ptr<const std::string> bytes;
  std::unique_ptr<Arena> arena = std::make_unique<Arena>();
  record::Record record{};
  record::Findings findings{};
  std::string broken{};  // why the JSON could not be read

  /// The findings as lines "slug path", in order.
  std::string said() const {
    std::string text = broken;
    for (const auto& finding : findings.all()) {
      if (!text.empty()) text += '\n';
      text.append(record::finding_kind(finding.id).slug).append(" ").append(finding.path);
    }
    return text;
  }
  std::string written() const {
    std::string text;
    record::write_record(record, text);
    return text;
  }
};

inline const record::RecordReader& reader() {
  static const record::RecordReader made;
  return made;
}

inline Reading read(std::string_view text) {
  Reading reading{std::make_unique<const std::string>(text)};
  auto node = syntax::read_json(*reading.bytes, *reading.arena, reader().names());
  if (!node) {
    reading.broken = node.error().message;
    return reading;
  }
  reading.findings.begin("visit.json", {}, *reading.bytes, 1);
  reading.record = reader().read(**node, *reading.bytes, *reading.arena, reading.findings);
  return reading;
}

}  // namespace charpie::tests
