// Taking the fields out of the holes: FHIR instances become records again. The same parts that write are
// matched here; copies are compared, and what no template knows is reported path by path.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "mapping/mapping.hpp"
#include "mapping/write.hpp"
#include "record/finding.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

/// A part of an instance that no template understood.
struct Unread {
  std::string path;                    // FHIRPath
  std::string_view record_key;         // of its visit; empty when it has none
  const syntax::Node* node = nullptr;  // in the tree that was read
};

/// Where a value of a record was taken from.
struct Taken {
  const syntax::Node* node = nullptr;  // in the tree that was read; nullptr: the layout says it by itself
  const record::Value* value = nullptr;
  Place place{};                     // of the hole, or of what implies the value
  const SiteWords* words = nullptr;  // what the site's word for it was looked up in, and the row found
  const SiteWord* word = nullptr;
};

/// Reads instances. One for each thread; the mapping is shared and must outlive it.
class Reader {
 public:
  /// `options`: only name_space and visit_window matter; how references were written is seen in the
  /// instances.
  Reader(const Mapping& mapping, Options options);

  /// Reads one FHIR JSON document: a Bundle or a single resource. `tree` was read from `bytes` with the
  /// mapping's names(); both, and the arena that the records go into, must outlive the records. Appends a
  /// record for each visit, in the order of their panels. Findings: mirror.differs, instance.unread, …; paths
  /// are FHIRPath. `of_set`: other documents hold other visits of the same wounds, so what visits share may
  /// say what another one knew. Of a document set: `tree` is one document of the layout, after open_cells();
  /// a record for each of its records.
  void read(syntax::Node& tree, std::string_view bytes, Arena& arena, record::Findings& findings,
            std::vector<record::Record>& records, bool of_set = false);

  /// Where resources stand that came without an address: reserved to lead nowhere (RFC 6761, section 6.4),
  /// and never in a record.
  static constexpr std::string_view no_server = "https://set.invalid/";
  /// The same for resources that came apart (bulk files): each with the bytes it was read from.
  struct Resource {
    syntax::Node* node = nullptr;
    std::string_view bytes;
    std::string_view full_url;  // of its entry; empty when it had none
    std::string_view file;      // where it stands, for messages
    std::uint32_t line = 0;
    syntax::Node* entry = nullptr;  // its Bundle entry, or nullptr
    std::uint32_t number = 0;       // of the entry
    std::string_view url{};         // how others refer to it: Type/id, else full_url; made while reading
    const syntax::Node* container =
        nullptr;  // the resource that it is contained in, and how that is referred to
    std::string_view container_url{};
    const syntax::Node* whole = nullptr;  // the document that a record of a site's layout is a part of
  };
  void read(std::vector<Resource>& resources, Arena& arena, record::Findings& findings,
            std::vector<record::Record>& records, bool of_set = false);
  /// From here on it is collected where values are taken from; nullptr ends it. Copies are only compared, and
  /// not told.
  void trace(std::vector<Taken>* taken) { taken_ = taken; }
  /// From here on what nobody understood is collected, too; nullptr ends it.
  void keep_unread(std::vector<Unread>* unread) { unread_ = unread; }

 private:
  class Matching;
  const Mapping* mapping_;
  Options options_;
  Writer writer_;
  std::vector<Unread>* unread_ = nullptr;
  std::vector<Taken>* taken_ = nullptr;
};

}  // namespace charpie::mapping
