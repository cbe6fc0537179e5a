// Single resources in any order, from anywhere, put together to visits: what other programs export as files
// of one resource a line. Everything goes through sorts in temporary files, so memory has a bound.
//
// A resource belongs to the visit that its business identifier names (record#template, as we write it). One
// without that identifier belongs to that visit when explicit links lead there, along partOf and hasMember in
// either direction; else it stays with all others of its patient, and the reader finds the visits among them
// (mapping/instances.hpp). Resources that outlive a visit go wherever they are referred to, and to their
// patient's others where nobody does.
#pragma once
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "base/arena.hpp"
#include "base/external_sort.hpp"
#include "flow/batch.hpp"
#include "flow/resource_group.hpp"
#include "mapping/mapping.hpp"

namespace charpie::flow {

class VisitGroups final : public BatchSource {
 public:
  /// `pieces` gives the resources; it and `mapping` must outlive this. `memory`: bytes that wait to be sorted
  /// at most; beside them are one visit, or one patient's resources without our identifier, and the names of
  /// the files. When the first piece is a Bundle, all pieces go through as they come: then somebody put them
  /// together already.
  VisitGroups(BatchSource& pieces, const mapping::Mapping& mapping, std::size_t memory);

  /// Broken pieces and Bundles first, as they come; then visits in the order of their systems and keys, the
  /// same for any order of the input. Errors of `pieces`; Error::unwritable and Error::unreadable of
  /// temporary files.
  Result<bool> fill(Batch& batch) override;

 private:
  Result<bool> collect(Batch& batch);
  Outcome take(const syntax::JsonPiece& piece, const syntax::Node& node);
  Outcome resolve_links();
  Outcome place_linked();
  Outcome place_shared();
  Outcome place(const std::string& label, const std::string& rank, std::string_view name,
                std::string_view body);
  Outcome refer(const std::string& label, const syntax::Node& node);
  Result<bool> next_visit(syntax::JsonPiece& piece);
  std::string body_of(const syntax::JsonPiece& piece);

  BatchSource* pieces_;
  const mapping::Mapping* mapping_;
  std::set<std::string, std::less<>> shared_types_;
  std::vector<std::string> files_;
  Batch incoming_;
  std::size_t next_incoming_ = 0;
  std::uint64_t count_ = 0;
  bool begun_ = false, as_they_come_ = false, sorted_ = false;
  Arena arena_;
  std::size_t memory_;
  std::unique_ptr<ExternalSort> links_;  // between resources, by name; labels beside them
  ExternalSort linked_;                  // bodies of resources without our identifier, by name
  ExternalSort shared_;  // bodies of resources that outlive visits, by name, and which visits want them
  ExternalSort groups_;  // bodies by visit
  bool any_linked_ = false;
  std::size_t rounds_ = 0;                  // of resolving links
  std::string waiting_key_, waiting_body_;  // the first of the next visit
  bool has_waiting_ = false;
};

}  // namespace charpie::flow
