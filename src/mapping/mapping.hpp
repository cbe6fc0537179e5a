// A mapping set: the templates of one target, loaded, compiled and proved (mappings/fhir, mappings/sites).
// Read-only afterwards and safe to share between threads.
#pragma once
#include <algorithm>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/hash.hpp"
#include "base/result.hpp"
#include "base/tables.hpp"
#include "mapping/fixed_units.hpp"
#include "mapping/layout.hpp"
#include "mapping/part.hpp"
#include "mapping/program.hpp"
#include "syntax/tree.hpp"
#include "terms/terms.hpp"

namespace charpie::mapping {

/// "create-once", "update", "create"; nothing for another word.
std::optional<Repeat> find_repeat(std::string_view word);

/// What the user chose for one run.
struct Options {
  std::string refs = "identifier";   // identifier, conditional, include
  std::string units = "fixed";       // fixed, charted
  std::string pack = "transaction";  // transaction, batch, collection, bulk
  std::string name_space;            // the user's namespace; empty: source.system serves
  std::int64_t visit_window =
      0;  // reading: minutes that instances of one wound may lie apart and be one visit
  std::map<std::string, Repeat, std::less<>>
      on_repeat{};  // by resource type, where it is not as Lifetime has it
  std::vector<std::string>
      labels{};                  // codes of terms::Terms::standards() whose use is "label", in meta.security
  std::string stamp{};           // when the run was, as a FHIR instant; empty: no Provenance is written
  std::string version{};         // of this program
  std::string mapping_digest{};  // of all tables (base/digest.hpp)
  std::string_view find(std::string_view option) const;
  /// A fact of the run: "stamp", "version" or "mapping"; nullptr for another name. "record" is the writer's.
  const std::string* run(std::string_view fact) const;
  /// Whether each entry of the Bundle says how it is loaded; then servers give the ids.
  bool has_requests() const { return pack == "transaction" || pack == "batch"; }
};

/// A field that the target does not carry, and why.
struct NotCarried {
  record::FieldId field;
  std::string unless_option, unless_value;  // carried when this option has this value; empty = never
  std::string why;
};

/// What a place in the templates can hold of a field's facet: a form such as FHIR's 32-bit integer, or a few
/// texts.
struct Limit {
  Facet facet = Facet::self;
  Render render = Render::plain;
  std::span<const std::string_view> allowed{};
  bool only_kind = false;
  record::Kind kind = record::Kind::text;
  const Part* spelled = nullptr;  // a hole with a site's own spelling

  bool concerns(record::Kind value) const { return !only_kind || value == kind; }
  bool allows(std::string_view text) const {
    return allowed.empty() || std::find(allowed.begin(), allowed.end(), text) != allowed.end();
  }
};

/// A place in the templates where a field (or a facet of it) has its home.
struct Home {
  record::FieldId field;
  Facet facet;
  std::uint32_t template_number;
  const Part* part;
};

/// How instances are read that others wrote (set.json, "elsewhere"): they carry none of our identifiers.
struct Elsewhere {
  std::vector<std::uint32_t> key;    // templates of how an instance that stands for a visit is named
  std::vector<std::uint32_t> visit;  // of what each instance says of its visit, the weightiest first
  std::vector<std::string> joins;    // members whose references join instances to one visit
  std::string wound, patient;        // the members that name the wound and the patient
  std::vector<std::string> times;    // paths of the time that an instance is of, the first that is there
  std::vector<std::string> texts;    // members that hold words where a number might stand
  std::vector<std::pair<std::string, std::string>>
      withdrawn;  // member and value of an instance that is not read
};

class Mapping {
 public:
  /// Loads `folder`/set.json and what it names, and proves the set (design: five proofs). `terms` and
  /// `fixed_units` must outlive the mapping. Error::mapping_broken with file, line and mend for the first
  /// fault. `form` is the row of "forms" that the set is loaded for: a version of the standard. Standard
  /// codes
  /// ("system|code") in `alone` are written without our own beside them, as some profiles ask.
  static Result<std::unique_ptr<Mapping>> load(const Tables& tables, const terms::Terms& terms,
                                               const FixedUnits& fixed_units,
                                               std::string_view folder = "fhir",
                                               std::string_view form = "fhir-r4",
                                               const std::set<std::string, std::less<>>& alone = {});
  const std::string& form() const { return form_; }

  /// Whether one tree is one record, by one template: a site's layout. Otherwise a visit is many instances.
  bool is_document() const { return is_document_; }
  /// What the set says beside its template; of a document set only.
  const Layout& layout() const { return layout_; }
  /// Whether a field or one below it has a home.
  bool reaches(record::FieldId field) const { return reached_[static_cast<std::size_t>(field)]; }

  std::span<const Template> templates() const { return templates_; }
  const syntax::Names& names() const { return names_; }
  /// For adding further names, before any tree is read by them: those of HL7's elements.
  syntax::Names& open_names() { return names_; }
  const terms::Terms& terms() const { return *terms_; }
  const FixedUnits& fixed_units() const { return *fixed_units_; }
  const std::string& canonical() const { return terms_->canonical(); }
  std::span<const NotCarried> not_carried() const { return not_carried_; }
  std::span<const Home> homes() const { return homes_; }
  /// What the homes of a field can hold.
  std::span<const Limit> limits(record::FieldId field) const {
    return limits_[static_cast<std::size_t>(field)];
  }
  /// Whether a facet of a field has a home; further codings of a code by Facet::foreign with `further`.
  bool carries(record::FieldId field, Facet facet, bool further = false) const {
    const auto bit = std::uint64_t{1} << (static_cast<unsigned>(facet) + (further ? facet_count : 0));
    return (carried_[static_cast<std::size_t>(field)] & bit) != 0;
  }
  /// How instances are written in that notation; in XML only after lay_out_in_xml().
  const Program& program(Notation notation = Notation::json) const {
    return programs_[static_cast<std::size_t>(notation)];
  }
  /// Makes the second layout, of FHIR's XML. Part of loading, before the mapping is shared; what the elements
  /// are needed for is over then.
  void lay_out_in_xml(const fhir::Elements& elements);
  /// The template of that name, or nullptr.
  const Template* find(std::string_view name) const;
  /// The template that an instance of that type with that coding is, or nullptr. Empty system and code: by
  /// type.
  const Template* recognise(std::string_view resource_type, std::string_view system,
                            std::string_view code) const;
  /// The member whose codings tell instances of a type apart; empty when the type alone does.
  std::string_view index_member(std::string_view resource_type) const;
  const Elsewhere& elsewhere() const { return elsewhere_; }
  /// The same two for templates that are read only (direction "in").
  const Template* recognise_elsewhere(std::string_view resource_type, std::string_view system,
                                      std::string_view code) const;
  std::string_view elsewhere_member(std::string_view resource_type) const;
  /// Members that servers write for themselves and that say nothing of a visit: "meta.versionId".
  std::span<const std::vector<std::uint32_t>> bookkeeping() const { return bookkeeping_; }
  /// The number of the template that holds the record's own key: it stands for the visit.
  std::uint32_t visit_template() const { return visit_template_; }
  /// The name of a panel number.
  std::string_view panel(std::uint32_t number) const { return panels_[number]; }

 private:
  friend class Compiler;
  friend class Prover;
  friend void render_words(Mapping& mapping, Notation notation);
  Mapping() = default;
  const terms::Terms* terms_ = nullptr;
  const FixedUnits* fixed_units_ = nullptr;
  std::string form_;
  syntax::Names names_;
  Arena arena_;  // the mapping files, their trees, the parts
  std::vector<Template> templates_;
  std::vector<std::string> panels_{""};
  std::unordered_map<std::string, std::uint32_t, HashOf> index_;  // type|system|code -> template number + 1
  std::map<std::string, std::string, std::less<>> index_members_;
  Elsewhere elsewhere_;
  std::unordered_map<std::string, std::uint32_t, HashOf> elsewhere_index_;
  std::map<std::string, std::string, std::less<>> elsewhere_members_;
  std::vector<NotCarried> not_carried_;
  std::vector<Home> homes_;
  std::vector<std::vector<Limit>> limits_;
  std::vector<std::uint64_t> carried_;  // a bit for each facet that has a home, by field
  Program programs_[2];                 // of the templates, by notation
  std::uint32_t visit_template_ = 0;
  bool is_document_ = false;
  Layout layout_;
  std::map<std::string, std::unique_ptr<SiteWords>, std::less<>> words_;
  std::map<std::string, std::unique_ptr<TimeForm>, std::less<>> times_;
  std::vector<bool> reached_;  // by field
  std::vector<std::vector<std::uint32_t>> bookkeeping_;
};

}  // namespace charpie::mapping
