// Any bytes through the reader: no crash, and what could be read is written so that it reads the same again.
// A record without a finding has none on the way back either.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "record/read.hpp"
#include "record/write.hpp"
#include "syntax/json.hpp"

using namespace charpie;

namespace {

void demand(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const record::RecordReader reader;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  Arena first_arena, second_arena;
  record::Findings findings;
  const auto node = syntax::read_json(bytes, first_arena, reader.names());
  if (!node) return 0;
  findings.begin("fuzz", {}, bytes, 1);
  const auto first = reader.read(**node, bytes, first_arena, findings);
  const bool clean = findings.all().empty();

  std::string text;
  record::write_record(first, text);
  const auto again = syntax::read_json(text, second_arena, reader.names());
  demand(static_cast<bool>(again));
  findings.clear();
  findings.begin("fuzz", {}, text, 1);
  const auto second = reader.read(**again, text, second_arena, findings);
  demand(!clean || findings.all().empty());
  demand(record::compare(first, second, nullptr) == 0);
  std::string text_again;
  record::write_record(second, text_again);
  demand(text == text_again);
  return 0;
}
