// The proof that nothing was lost: a record is written, the written bytes are read again, and both are
// compared.
#pragma once
#include <string>
#include <vector>

#include "base/arena.hpp"
#include "flow/engine.hpp"
#include "mapping/read.hpp"
#include "mapping/write.hpp"
#include "record/finding.hpp"
#include "record/record.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// One place of an instance that holds a field.
struct Whereabouts {
  std::string element;  // Bundle.entry[2].resource.valueQuantity.value
  bool mirror = false;  // a copy; the way back takes the field from its home
  std::string file;     // the line of the mapping that put it there
  std::uint32_t line = 0;
};

/// A field that came back changed.
struct Difference {
  std::string path;  // spaces[1].extent
  std::string sent;  // as canonical text; empty when it was not there
  std::string came_back;
  std::vector<Whereabouts> where{};
};

/// What became of one record.
struct TripReport {
  bool same = false;            // every field by token, and the second writing byte for byte
  std::size_t not_carried = 0;  // fields that this target says beforehand it does not hold as they are
  std::vector<Difference> differences{};
  std::string trouble{};  // why there is nothing to compare, or where the second writing differs
  std::vector<record::Finding> findings{};  // of reading the written instance
};

/// Sends records there and back. One for each thread.
class RoundTrip {
 public:
  /// `engine`, loaded for `through`, must outlive it.
  RoundTrip(const Engine& engine, const Form& through, const mapping::Options& options);
  /// Findings of mapping::Writer::check() about what the target cannot hold go into `findings`, which must
  /// have begun with the record; such fields are no differences. A record that cannot be written at all is
  /// one that blocks (form.not-written).
  TripReport send(const record::Record& record, record::Findings& findings);

 private:
  void find_whereabouts(const record::Record& record, std::vector<Difference>& differences);
  Result<syntax::Node*> read_again(std::string_view& bytes, bool& written_well);
  const Form* form_;
  const mapping::Mapping* mapping_;
  const fhir::Elements* elements_;
  mapping::Writer writer_;
  mapping::Reader reader_;
  Arena arena_;
  std::string there_, again_, text_;
  syntax::JsonPiece piece_;
};

/// Whether `path` is `field` or lies in it: size.length in size, spaces[1].extent in spaces.
bool lies_in(std::string_view path, std::string_view field);

}  // namespace charpie::flow
