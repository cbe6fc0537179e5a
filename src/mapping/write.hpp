// Filling the holes: a record becomes the bytes of FHIR instances, in JSON or in XML.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/appender.hpp"
#include "mapping/facet.hpp"
#include "mapping/fitting.hpp"
#include "mapping/mapping.hpp"
#include "mapping/plan.hpp"
#include "record/finding.hpp"

namespace charpie::mapping {

/// Which field a stretch of the output came from, and which line of which mapping file put it there.
struct Lineage {
  std::size_t begin = 0, end = 0;  // in the output
  std::string path;                // spaces[1].extent
  Facet facet = Facet::self;
  bool mirror = false;
  Place place;
};

/// One instance in the output.
struct WrittenInstance {
  const Planned* planned = nullptr;
  std::size_t begin = 0, end = 0;  // of the resource
};

/// Writes records. One for each thread; the mapping is shared and must outlive it.
class Writer {
 public:
  /// In XML only a mapping that is laid out for it (Mapping::lay_out_in_xml); of another it writes nothing.
  Writer(const Mapping& mapping, Options options, Notation notation = Notation::json);

  /// Reports what this target cannot hold: fields it does not carry, values outside a form's limits
  /// (`not-in-form`), and a record without any system for its identity (`identity.no-system`, blocking).
  void check(const record::Record& record, record::Findings& findings);

  /// Appends one Bundle (pack transaction or collection), compact and without a line end. Of a document set:
  /// the document, as its template has it. XML has no declaration, and a line feed in a narrative stands as
  /// it is. False, with nothing appended, when XML cannot hold the record: to_xml() (fhir/xml.hpp) of its
  /// JSON tells why. JSON holds all; but of a site's layout it is false when a text has in it what stands
  /// behind it there, so that it would be read as another.
  bool write_bundle(const record::Record& record, std::string& out);
  /// Appends each resource as compact JSON and tells where it is; for packs that place resources themselves.
  void write_resources(const record::Record& record, std::string& out, std::vector<WrittenInstance>& written);
  /// From here on the origin of every stretch is collected; nullptr ends it. Offsets count in `out`.
  void trace(std::vector<Lineage>* lineage) { lineage_ = lineage; }

  /// The plan of the record that was written last.
  const Plan& plan() const { return plan_; }
  /// For reading: makes the plan of a record, then renders single parts of its instances to compare them.
  /// What the form cannot hold is in it: it may have been read all the same.
  const Plan& plan(const record::Record& record);
  /// Appends what a part says in an instance; false when it says nothing.
  bool render(const Part& part, const Scope& scope, const Planned& instance, std::string& out);
  /// Whether a set of members, as one alternative of a choice has them, would write anything.
  bool says_anything(const Part& members, const Scope& scope, const Planned& instance);
  /// The text a primitive part says; empty when nothing. Valid until the next call.
  std::string_view primitive_text(const Part& part, const Scope& scope, const Planned& instance);
  /// How a resource is loaded: the request of its entry in a transaction or batch. Appends
  /// {"method":…,"url":…}.
  void append_request(const Planned& instance, std::string& out) {
    append_request(instance, repeat(instance), out);
  }
  void append_request(const Planned& instance, Repeat repeat, std::string& out);
  /// What is to happen when the server has the resource already.
  Repeat repeat(const Planned& instance) const;
  /// Appends what the step says of one leaf, which stands alone at the accessor's end.
  bool render_leaf(std::uint32_t step, const Accessor& accessor, record::Value& leaf, const Planned& instance,
                   std::string& out);
  const Options& options() const { return options_; }
  void set_options(Options options) {
    options_ = std::move(options);
    knowledge_.fixed = options_.units == "fixed";
  }
  Facets& facets() { return facets_; }
  /// What a hole of a site's layout says of a value; empty, and `why` says why, when the layout has no words
  /// for it. Valid until the next call.
  std::string_view spell(const Part& part, const record::Value& value, std::string_view& why);

 private:
  // `repeated`: only what stands in each of several places, or is fixed.
  enum class Said : std::uint8_t { nothing, constant, repeated, hole };
  // Where in the output a shared stretch stands already.
  struct Stretch {
    std::size_t begin = 0, end = 0;
    Said said = Said::nothing;
    bool known = false;
  };

  void start(const record::Record& record);
  void start(const record::Record& record, const record::Record& written);
  void write_instance(const Planned& instance, Appender& out);
  Scope scope_of(const Planned& instance) const;
  // Each appends what a step says, with its name and a comma behind, or nothing.
  Said write(std::uint32_t first, std::uint32_t end, const Scope& scope, Appender& out);
  Said write_inside(const Step& step, const Scope& scope, Appender& out) {
    return write(step.first, step.next, scope, out);
  }
  Said write_bracket(const Step& step, const Scope& scope, Appender& out);
  Said write_hole(const Step& step, const Scope& scope, Appender& out);
  Said write_other(std::uint32_t number, const Scope& scope, Appender& out);
  Said write_choice(const Step& step, const Scope& scope, Appender& out);
  Said write_shared(const Step& step, const Scope& scope, Appender& out);
  Said write_loop(const Step& step, const Scope& scope, Appender& out);
  Said write_references(const Step& step, Appender& out);
  Said write_text(const Step& step, const Scope& scope, Appender& out);
  Said write_typed(const Step& step, const Scope& scope, Appender& out);
  // Whether what guards a step lets it say anything.
  bool may_speak(const Step& step, const Scope& scope);
  std::string_view hole_text(const Step& step, const Scope& scope);
  Said write_labels(const Step& step, Appender& out);
  void put(Escape escape, std::string_view text, Appender& out) {
    spelled_ = append_escaped(escape, text, out) && spelled_;
  }
  // One of the frame's texts.
  void put_text(std::string_view begin, std::string_view text, Appender& out) {
    out += begin;
    put(frame_->escape, text, out);
    out += frame_->end_text;
  }
  // The last separator gives way to what closes the rest.
  void close(std::string_view tail, Appender& out) const {
    out.cut(out.size() - frame_->separator.size());
    out += tail;
  }
  void close_step(const Step& step, Appender& out) const {
    out.cut(out.size() - frame_->separator.size());
    out.append_spared(program_->tail(step));
  }
  void append_reference(const Planned& target, Appender& out) const;
  std::string system_of(const Planned& instance) const;
  void append_request_members(const Planned& instance, Repeat repeat, Appender& out);
  void append_type(const Planned& target, Appender& out) const;
  void append_query(const Planned& instance, Appender& out);
  const Planned* target_of(const Step& step, const Scope& scope) const;
  Said write_identified(const Step& step, const Scope& scope, Appender& out);
  void append_identifier(const Planned& target, Appender& out);
  std::string path_of(const Accessor& accessor, const Scope& scope) const;
  // Both return whether something of the value is written.
  bool check_value(const record::Value* value, const record::Field& field, const std::string& path,
                   record::Findings& findings);
  bool has_words_for(const record::Value& value, record::FieldId field, std::string_view& why);
  bool check_carried(const record::Value& value, const record::Field& field, const std::string& path,
                     record::Findings& findings);
  bool holds_required(const record::Value& group, const record::Field& shape);
  void check_given(const record::Record& record, record::Findings& findings);

  const Mapping* mapping_;
  const Program* program_;
  const Frame* frame_;
  Options options_;
  Knowledge knowledge_;
  Facets facets_;
  Fitting fitting_;
  Plan plan_;
  const Planned* instance_ = nullptr;
  std::vector<Stretch> stretches_;
  std::vector<Lineage>* lineage_ = nullptr;
  std::string visit_query_;  // of a visit's resources: identifier=SYSTEM|KEY, encoded
  // How a template's resources are loaded: what begins a request that writes over, and what stands behind the
  // visit's key in a query for one. By the template's number.
  struct Loading {
    std::string update, in_query;
  };
  std::vector<Loading> loading_;
  std::vector<std::string> labels_;  // of the run: what a coding of each says
  bool labels_spelled_ = true;
  std::string record_digest_;  // of the record in hand, in canonical text; only when the run is stamped
  bool comes_back_ = true;     // no text of a document was written that reads as another
  bool spelled_ = true;        // the notation holds all that was put into it
  std::string scratch_, scratch_text_, spelled_text_, why_;
};

/// Renders every word of every domain once, so that writing a coded value is copying. Part of loading.
void render_words(Mapping& mapping, Notation notation);

}  // namespace charpie::mapping
