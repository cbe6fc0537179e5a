#include "mapping/write.hpp"

#include <algorithm>
#include <map>
#include <tuple>

#include "base/digest.hpp"
#include "base/escape.hpp"
#include "base/time.hpp"
#include "mapping/given.hpp"
#include "record/write.hpp"

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using record::Form;
using record::Kind;
using record::Record;
using record::Value;

Writer::Writer(const Mapping& mapping, Options options, Notation notation)
    : mapping_(&mapping),
      program_(&mapping.program(notation)),
      frame_(&frame(notation)),
      options_(std::move(options)),
      facets_(knowledge_),
      fitting_(mapping),
      plan_(mapping) {
  knowledge_.terms = &mapping.terms();
  knowledge_.fixed_units = &mapping.fixed_units();
  knowledge_.absent_reasons = mapping.terms().domain("absent-reason");
  knowledge_.fixed = options_.units == "fixed";
  for (const auto& label : options_.labels) {
    for (const auto& [key, one] : mapping.terms().standards()) {
      if (one.use != "label" || one.code != label) continue;
      Appender coding(labels_.emplace_back());
      put_text(frame_->begin_system, one.system, coding);
      put_text(frame_->begin_code, one.code, coding);
      put_text(frame_->begin_display, one.display, coding);
    }
  }
  labels_spelled_ = spelled_;
  for (const auto& made_from : mapping.templates()) {
    auto& [update, in_query] = loading_.emplace_back();
    for (const std::string_view piece : {frame_->begin_method, std::string_view("PUT"), frame_->end_text,
                                         frame_->begin_url, std::string_view(made_from.resource_type),
                                         std::string_view("?")})
      update += piece;
    in_query = "%23";
    append_url_query_value(made_from.name, in_query);
  }
}

void Writer::start(const Record& record) {
  start(record, fitting_.of(record, facets_));
}

void Writer::start(const Record& record, const Record& written) {
  plan_.make(written, options_);
  if (!options_.stamp.empty()) {
    scratch_.clear();
    record::write_record(record, scratch_);
    Sha256 digest;
    digest.update(scratch_);
    record_digest_ = digest.hex();
  }
  facets_.forget();
  stretches_.assign(program_->shared_stretches(), {});
  visit_query_ = "identifier=";
  append_url_query_value(plan_.identity_system(), visit_query_);
  visit_query_ += "%7C";
  append_url_query_value(plan_.record_key(), visit_query_);
}

const Plan& Writer::plan(const Record& record) {
  start(record, record);
  return plan_;
}

Scope Writer::scope_of(const Planned& instance) const {
  Scope scope;
  scope.level[0] = plan_.root();
  scope.level[1] = instance.element;
  scope.index[1] = instance.index;
  return scope;
}

void Writer::write_instance(const Planned& instance, Appender& out) {
  instance_ = &instance;
  const auto start = program_->start(*instance.made_from);
  if (start == Program::no_step) {
    spelled_ = false;
    return;
  }
  const auto before = out.size();
  write(start, program_->step(start).next, scope_of(instance), out);
  if (out.size() != before) close({}, out);  // a layout may have a place for nothing of a record
}

bool Writer::write_bundle(const Record& record, std::string& text) {
  Appender out(text);
  const auto mark = out.size();
  start(record);
  if (mapping_->is_document()) {
    const Planned* document = plan_.find(mapping_->visit_template());
    comes_back_ = true;
    if (document != nullptr) write_instance(*document, out);
    if (!comes_back_) out.cut(mark);
    return comes_back_;
  }
  const Frame& frame = *frame_;
  spelled_ = labels_spelled_;
  out += frame.begin_bundle;
  out += options_.pack;
  out += frame.begin_entries;
  for (const auto& instance : plan_.instances()) {
    if (instance.again) continue;
    out += frame.begin_entry;
    out += instance.uuid_text();
    out += frame.begin_resource;
    write_instance(instance, out);
    out += frame.end_resource;
    if (options_.has_requests()) {
      out += frame.begin_request;
      append_request_members(instance, repeat(instance), out);
      close(frame.end_request, out);
    }
    out += frame.end_entry;
  }
  close(frame.end_bundle, out);
  if (!spelled_) out.cut(mark);
  return spelled_;
}

void Writer::write_resources(const Record& record, std::string& text, std::vector<WrittenInstance>& written) {
  Appender out(text);
  start(record);
  for (const auto& instance : plan_.instances()) {
    if (instance.again) continue;
    const auto begin = out.size();
    write_instance(instance, out);
    written.push_back({&instance, begin, out.size()});
  }
}

// Visit-scoped: written over. Shared: created once.
Repeat Writer::repeat(const Planned& instance) const {
  const auto& made_from = *instance.made_from;
  if (made_from.repeat) return *made_from.repeat;
  const auto chosen = options_.on_repeat.find(made_from.resource_type);
  if (chosen != options_.on_repeat.end()) return chosen->second;
  return made_from.lifetime == Lifetime::visit ? Repeat::update : Repeat::create_once;
}

void Writer::append_request(const Planned& instance, Repeat repeat, std::string& text) {
  Appender out(text);
  out += '{';
  append_request_members(instance, repeat, out);
  close("}", out);
}

// Nothing in them needs an escape.
void Writer::append_request_members(const Planned& instance, Repeat repeat, Appender& out) {
  const Frame& frame = *frame_;
  if (repeat == Repeat::update) {
    out += loading_[instance.made_from->number - 1].update;
  } else {
    out += frame.begin_method;
    out += "POST";
    out += frame.end_text;
    out += frame.begin_url;
    out += instance.made_from->resource_type;
    if (repeat == Repeat::create_once) {
      out += frame.end_text;
      out += frame.begin_if_none_exist;
    }
  }
  if (repeat != Repeat::create) append_query(instance, out);
  out += frame.end_text;
}

// By which the resource is found: identifier=SYSTEM|VALUE, encoded.
void Writer::append_query(const Planned& instance, Appender& out) {
  const auto& made_from = *instance.made_from;
  if (made_from.lifetime == Lifetime::visit) {
    out += visit_query_;
    if (made_from.number == mapping_->visit_template()) return;
    out += loading_[made_from.number - 1].in_query;
    if (!instance.indexed) return;
    scratch_.clear();
    plan_.append_index(instance, scratch_);
    out += scratch_;
    return;
  }
  out += "identifier=";
  if (made_from.lifetime == Lifetime::wound || made_from.lifetime == Lifetime::program) {
    append_url_query_value(system_of(instance), out);
    out += "%7C";
    out += instance.uuid_text();
    return;
  }
  const bool patient = made_from.lifetime == Lifetime::patient;
  const Value* group = patient ? record::member(plan_.root(), FieldId::patient) : instance.element;
  const Value* system = record::member(group, patient ? FieldId::patient_system : FieldId::performer_system);
  const Value* id = record::member(group, patient ? FieldId::patient_id : FieldId::performer_id);
  if (system != nullptr) append_url_query_value(system->text, out);
  out += "%7C";
  if (id != nullptr) append_url_query_value(id->text, out);
}

void Writer::append_reference(const Planned& target, Appender& out) const {
  if (options_.pack == "bulk") {
    out += target.made_from->resource_type;
    out += '/';
  } else {
    out += "urn:uuid:";
  }
  out += target.uuid_text();
}

// The system of an identifier that is the resource's UUID.
std::string Writer::system_of(const Planned& instance) const {
  return mapping_->canonical() +
         (instance.made_from->lifetime == Lifetime::program ? "/program-id" : "/wound-id");
}

void Writer::append_type(const Planned& target, Appender& out) const {
  out += frame_->begin_type;
  out += target.made_from->resource_type;
  out += frame_->end_text;
}

// In a batch no entry may refer to another (FHIR R4, http.html#brules), and search URIs serve in transactions
// only
// (#trules): what is left is the target's identifier, which any server takes in any order.
void Writer::append_identifier(const Planned& target, Appender& out) {
  const bool of_visit = target.made_from->lifetime == Lifetime::visit;
  std::string value;
  if (!of_visit) {
    value = target.uuid_text();
  } else if (target.made_from->number == mapping_->visit_template()) {
    value = plan_.record_key();
  } else {
    plan_.append_key(target, plan_.record_key(), value);
  }
  const std::string system = of_visit ? std::string(plan_.identity_system()) : system_of(target);
  out += frame_->begin_identifier;
  if (!system.empty()) put_text(frame_->begin_system, system, out);
  put_text(frame_->begin_value, value, out);
  close(frame_->end_identifier, out);
}

// --- parts
// -----------------------------------------------------------------------------------------------------

Writer::Said Writer::write(std::uint32_t first, std::uint32_t end, const Scope& scope, Appender& out) {
  Said said = Said::nothing;
  for (auto at = first; at != end;) {
    const auto number = at;
    const Step& step = program_->step(number);
    at = step.next;
    if (step.is_guarded && !may_speak(step, scope)) continue;
    switch (step.kind) {
      case Step::Kind::bytes:
        out.append_spared(program_->lead(step));
        said = std::max(said, Said::constant);
        break;
      case Step::Kind::object:
      case Step::Kind::array:
        said = std::max(said, write_bracket(step, scope, out));
        break;
      case Step::Kind::hole:
        said = std::max(said, write_hole(step, scope, out));
        break;
      default:
        said = std::max(said, write_other(number, scope, out));
    }
  }
  return said;
}

bool Writer::may_speak(const Step& step, const Scope& scope) {
  if (step.has_root) {
    const Value* root = follow(step.root, scope);
    if (root == nullptr || (step.has_root_form && root->form != step.root_form)) return false;
  }
  if (step.needs_labels && labels_.empty()) return false;
  return step.when == nullptr || holds(*step.when, scope, options_, facets_);
}

Writer::Said Writer::write_other(std::uint32_t number, const Scope& scope, Appender& out) {
  const Step& step = program_->step(number);
  switch (step.kind) {
    case Step::Kind::text:
      return write_text(step, scope, out);
    case Step::Kind::typed:
      return write_typed(step, scope, out);
    case Step::Kind::choose:
      return write_choice(step, scope, out);
    case Step::Kind::loop:
      return write_loop(step, scope, out);
    case Step::Kind::references:
      return write_references(step, out);
    case Step::Kind::labels:
      return write_labels(step, out);
    case Step::Kind::shared:
      return write_shared(step, scope, out);
    case Step::Kind::otherwise: {
      const Said said = write_inside(step, scope, out);
      if (said == Said::nothing) out.append_spared(program_->tail(step));
      return said;
    }
    default:  // of a choice, which writes what is in it
      return Said::nothing;
  }
}

Writer::Said Writer::write_bracket(const Step& step, const Scope& scope, Appender& out) {
  const auto mark = out.size();
  out.append_spared(program_->lead(step));
  const Said first = step.starts_constant ? Said::constant : Said::nothing;
  const Said said = std::max(first, write_inside(step, scope, out));
  if (said == Said::nothing || (said == Said::constant && step.may_vanish) ||
      (said == Said::repeated && step.may_vanish && step.needs_hole)) {
    out.cut(mark);
    return Said::nothing;
  }
  close_step(step, out);
  return said;
}

Writer::Said Writer::write_choice(const Step& step, const Scope& scope, Appender& out) {
  for (auto at = step.first; at != step.next; at = program_->step(at).next) {
    const Step& alternative = program_->step(at);
    if (alternative.when != nullptr && !holds(*alternative.when, scope, options_, facets_)) continue;
    return write_inside(alternative, scope, out);
  }
  return Said::nothing;
}

Writer::Said Writer::write_shared(const Step& step, const Scope& scope, Appender& out) {
  Stretch& stretch = stretches_[step.number];
  if (stretch.known && lineage_ == nullptr) {
    out.repeat(stretch.begin, stretch.end);
    return stretch.said;
  }
  const auto mark = out.size();
  const Said said = write_inside(step, scope, out);
  stretch = {mark, out.size(), said, true};
  return said;
}

Writer::Said Writer::write_loop(const Step& step, const Scope& scope, Appender& out) {
  Said said = Said::nothing;
  const Value* list = follow(step.accessor, scope);
  if (list == nullptr) return said;
  Scope inside = scope;
  if (step.further) {
    if (list->code == nullptr) return said;
    for (std::uint32_t i = 0; i < list->code->also_count; ++i) {
      inside.coding = &list->code->also[i];
      said = std::max(said, write_inside(step, inside, out));
    }
    return said;
  }
  if (list->form != Form::list) {
    // A site's word for "none" stands where the words of the elements do.
    if (!step.says_none) return said;
    inside.level[step.loop_level] = const_cast<Value*>(list);
    return write_inside(step, inside, out);
  }
  for (std::uint32_t i = 0; i < list->count; ++i) {
    // Without what it must have, an element would say something else.
    if (mapping_->is_document() && !holds_required(*list->children[i], record::field(step.accessor.field)))
      continue;
    inside.level[step.loop_level] = list->children[i];
    inside.index[step.loop_level] = i;
    said = std::max(said, write_inside(step, inside, out));
  }
  return said;
}

Writer::Said Writer::write_references(const Step& step, Appender& out) {
  Said said = Said::nothing;
  for (const auto& one : plan_.instances()) {
    const auto& made_from = *one.made_from;
    const bool listed = step.number == all_of_visit
                            ? made_from.lifetime == Lifetime::visit && !made_from.bookkeeping
                            : made_from.panel_number == step.number;
    if (!listed || one.again) continue;
    out.append_spared(program_->lead(step));
    if (options_.pack == "batch") {
      append_type(one, out);
      append_identifier(one, out);
    } else {
      out += frame_->begin_reference;
      append_reference(one, out);
      out += frame_->end_text;
    }
    close_step(step, out);
    said = Said::hole;
  }
  return said;
}

Writer::Said Writer::write_labels(const Step& step, Appender& out) {
  for (const auto& label : labels_) {
    out.append_spared(program_->lead(step));
    out += label;
    close_step(step, out);
  }
  return labels_.empty() ? Said::nothing : Said::hole;
}

std::string Writer::path_of(const Accessor& accessor, const Scope& scope) const {
  // From the level's list element downward; a loop's level is its list with the index.
  std::string path;
  FieldId at = accessor.field;
  std::vector<std::string> pieces;
  while (at != FieldId::visit) {
    const Field& one = record::field(at);
    std::string piece(one.name);
    if (one.is_list()) {
      for (std::uint8_t level = 1; level < 4; ++level) {
        if (scope.level[level] == nullptr) continue;
        if (level == accessor.level) piece += "[" + std::to_string(scope.index[level]) + "]";
      }
    }
    pieces.push_back(std::move(piece));
    at = one.parent;
  }
  for (auto piece = pieces.rbegin(); piece != pieces.rend(); ++piece) {
    if (!path.empty()) path += '.';
    path += *piece;
  }
  return path;
}

const Planned* Writer::target_of(const Step& step, const Scope& scope) const {
  const Planned* target = mapping_->templates()[step.number - 1].has_loop
                              ? plan_.find(step.number, scope.level[1])
                              : plan_.find(step.number);
  // A practitioner stands for the performer of the innermost loop.
  for (std::size_t level = 2; target == nullptr && level < scope.level.size(); ++level) {
    if (scope.level[level] != nullptr) target = plan_.find(step.number, scope.level[level]);
  }
  return target;
}

// A reference in a batch: in place of "reference", the target's type and identifier.
Writer::Said Writer::write_identified(const Step& step, const Scope& scope, Appender& out) {
  const Planned* target = target_of(step, scope);
  if (target == nullptr) return Said::nothing;
  append_type(*target, out);
  if (!step.part->beside_identifier) append_identifier(*target, out);
  return Said::hole;
}

std::string_view Writer::hole_text(const Step& step, const Scope& scope) {
  switch (step.source) {
    case Source::field: {
      if (step.further) {
        if (scope.coding == nullptr) return {};
        switch (step.facet) {
          case Facet::system:
            return scope.coding->system;
          case Facet::code:
            return scope.coding->code;
          case Facet::display:
            return scope.coding->display;
          default:
            return {};
        }
      }
      const Value* value = follow(step.accessor, scope);
      if (value == nullptr) return {};
      if (step.has_sets_kind && (!value->is_leaf() || value->kind != step.sets_kind)) return {};
      if (step.is_spelled ||
          (mapping_->is_document() && (step.facet == Facet::value || step.facet == Facet::unit))) {
        std::string_view why;
        return spell(*step.part, *value, why);
      }
      return facets_.get(value, step.accessor.field, step.facet, step.domain);
    }
    case Source::fixed:
      return step.part->allowed.front();
    case Source::key:
      scratch_.clear();
      plan_.append_key(*instance_, plan_.record_key(), scratch_);
      return scratch_;
    case Source::identity_system:
      return plan_.identity_system();
    case Source::resource_id:
      return options_.has_requests() ? std::string_view{} : instance_->uuid_text();
    case Source::uuid:
      return instance_->uuid_text();
    case Source::reference: {
      const Planned* target = target_of(step, scope);
      if (target == nullptr) return {};
      scratch_.clear();
      {
        Appender text(scratch_);
        append_reference(*target, text);
      }
      return scratch_;
    }
    case Source::run: {
      const std::string* fact = options_.run(step.part->literal);
      return fact == nullptr ? record_digest_ : *fact;
    }
  }
  return {};
}

namespace {

// The text as the place wants it. FHIR times have seconds; the mark beside them tells what was charted.
std::string_view rendered(const Step& step, std::string_view text, std::string& scratch) {
  switch (step.render) {
    case Render::date_time: {
      const auto reading = parse_time(text);
      if (!reading || reading.time.precision != TimePrecision::minute) return text;
      scratch.clear();
      append_fhir_date_time(reading.time, scratch);
      return scratch;
    }
    case Render::time_of_day:
      scratch.assign(text);
      scratch += ":00";
      return scratch;
    case Render::query:
      scratch.clear();
      append_url_query_value(text, scratch);
      return scratch;
    case Render::xhtml:
      scratch.clear();
      append_xml_text(text, scratch);
      return scratch;
    case Render::plain:
      break;
    default:
      if (!misfit(step.render, text).empty()) return {};
  }
  if (step.is_limited) {
    const auto& allowed = step.part->allowed;
    if (std::find(allowed.begin(), allowed.end(), text) == allowed.end()) return {};
  }
  return text;
}

}  // namespace

std::string_view Writer::spell(const Part& part, const Value& value, std::string_view& why) {
  const Spelling& spelling = part.spelling;
  const auto refuse = [&](std::string text) -> std::string_view {
    why_ = std::move(text);
    why = why_;
    return {};
  };
  why = {};
  if (value.quantity != nullptr && (part.facet == Facet::value || part.facet == Facet::unit)) {
    // A number without its unit, or a unit alone, would say something else.
    for (const auto& limit : mapping_->limits(part.accessor.field)) {
      const auto* words =
          limit.spelled != nullptr && limit.facet == Facet::unit ? limit.spelled->spelling.words : nullptr;
      if (words != nullptr && words->writing(value.quantity->unit) == nullptr) {
        return refuse("no cell of " + words->name() + " means '" + std::string(value.quantity->unit) + "'");
      }
    }
    if (!spelling.unit.empty() && value.quantity->unit != spelling.unit) {
      return refuse("the layout has it in " + std::string(spelling.unit) + ", not in '" +
                    std::string(value.quantity->unit) + "'");
    }
    // Without its comparator the number would say something else.
    if (!value.quantity->comparator.empty() && !mapping_->carries(part.accessor.field, Facet::comparator)) {
      return refuse("a comparator");
    }
  }
  if (const auto* words = spelling.words) {
    const SiteWord* row = nullptr;
    if (value.form == Form::none) {
      row = words->writing_none();
    } else if (value.form == Form::absent) {
      row = words->writing_absent(value.text);
    } else if (value.is_leaf()) {
      const auto text = facets_.get(&value, part.accessor.field, part.facet, part.domain);
      if (text.empty()) {
        // Words as charted are the cell itself, unless the table would read them as something else.
        if (value.code == nullptr || value.code->text.empty() || part.facet != Facet::self) return {};
        if (part.known_by_value) return refuse("words, where " + words->name() + " says what the item is");
        if (words->reading(value.code->text) == nullptr) return value.code->text;
        return refuse("these words are a cell of " + words->name() + " and would come back as its meaning");
      }
      row = words->writing(text);
      if (row == nullptr) return refuse("no cell of " + words->name() + " means '" + std::string(text) + "'");
    } else {
      return {};
    }
    if (row != nullptr) return row->cell;
    return refuse("no cell of " + words->name() + " means this");
  }
  if (!value.is_leaf()) return {};
  auto text = facets_.get(&value, part.accessor.field, part.facet, part.domain);
  if (text.empty()) return {};
  if (spelling.time != nullptr) {
    std::string back;
    if (spelling.time->write(text, spelled_text_, back)) return spelled_text_;
    return refuse("no pattern of '" + spelling.time->name() + "' would come back as it (" +
                  spelling.time->patterns_text() +
                  (spelling.time->zone_name().empty() ? "" : ", " + spelling.time->zone_name()) + ")");
  }
  if (spelling.is_root) {
    spelled_text_ = root_of_uri(text);
    if (!spelled_text_.empty()) return spelled_text_;
    return refuse("a root holds an object identifier (urn:oid:) or a UUID (urn:uuid:), not this URI");
  }
  if (spelling.number != nullptr && spelling.number->mark != '.') {
    spelled_text_ = text;
    std::replace(spelled_text_.begin(), spelled_text_.end(), '.', spelling.number->mark);
    return spelled_text_;
  }
  return text;
}

std::string_view Writer::primitive_text(const Part& part, const Scope& scope, const Planned& instance) {
  instance_ = &instance;
  const Step& step = program_->step(part.step);
  const auto text = hole_text(step, scope);
  return text.empty() ? text : rendered(step, text, scratch_text_);
}

Writer::Said Writer::write_hole(const Step& step, const Scope& scope, Appender& out) {
  if (step.source == Source::reference && options_.pack == "batch") return write_identified(step, scope, out);
  auto text = hole_text(step, scope);
  if (text.empty()) return Said::nothing;
  if (step.render != Render::plain || step.is_limited) {
    text = rendered(step, text, scratch_text_);
    if (text.empty()) return Said::nothing;
  }
  out.append_spared(program_->lead(step));
  const auto begin = out.size();
  put(step.escape, text, out);
  if (lineage_ != nullptr) {
    const bool of_field = step.source == Source::field;
    const std::size_t quote = step.escape == Escape::json ? 1 : 0;  // the value has its quotes
    lineage_->push_back({begin - quote, out.size() + quote, of_field ? path_of(step.accessor, scope) : std::string{},
                         step.facet, step.part->mirror, step.part->place});
  }
  out.append_spared(program_->tail(step));
  return step.is_repeated ? Said::repeated : Said::hole;
}

// Reading gives a hole what stands before the literal behind it: whether that is all of `text`.
static bool ends_before(const Part& part, std::size_t hole, std::string_view text) {
  std::size_t met = 0;
  for (std::size_t i = 0; i + 1 < part.parts.size(); ++i) {
    if (part.parts[i]->kind != Part::Kind::primitive || met++ != hole) continue;
    const auto literal = part.parts[i + 1]->literal;
    return literal.empty() || std::string(text).append(literal).find(literal) == text.size();
  }
  return true;
}

Writer::Said Writer::write_text(const Step& step, const Scope& scope, Appender& out) {
  const auto mark = out.size();
  out.append_spared(program_->lead(step));
  bool any = false;
  std::size_t hole = 0;
  for (auto at = step.first; at != step.next; ++at) {
    const Step& piece = program_->step(at);
    if (piece.kind == Step::Kind::bytes) {
      out.append_spared(program_->lead(piece));
      continue;
    }
    const auto text = hole_text(piece, scope);
    const auto this_hole = hole++;
    if (text.empty()) continue;
    any = true;
    const auto shown = rendered(piece, text, scratch_text_);
    if (mapping_->is_document() && comes_back_) comes_back_ = ends_before(*step.part, this_hole, shown);
    const auto begin = out.size();
    put(piece.escape, shown, out);
    if (lineage_ != nullptr && piece.source == Source::field) {
      lineage_->push_back({begin, out.size(), path_of(piece.accessor, scope), piece.facet, piece.part->mirror,
                           piece.part->place});
    }
  }
  if (!any) {
    out.cut(mark);
    return Said::nothing;
  }
  out.append_spared(program_->tail(step));
  return Said::hole;
}

Writer::Said Writer::write_typed(const Step& step, const Scope& scope, Appender& out) {
  const Value* value = follow(step.accessor, scope);
  if (value == nullptr) return Said::nothing;
  if (step.has_sets_kind && (!value->is_leaf() || value->kind != step.sets_kind)) return Said::nothing;
  if (step.number != 0 && lineage_ == nullptr && is_plain_word(*value)) {
    const auto word = value->kind == Kind::clock ? value->text : value->code->word;
    if (const auto* known = step.domain->find(word)) {
      out.append_spared(program_->lead(step));
      out += program_->word(step.number, known->index);
      out.append_spared(program_->tail(step));
      return Said::hole;
    }
  }
  const auto mark = out.size();
  out.append_spared(program_->lead(step));
  const Said said = write_inside(step, scope, out);
  if (said == Said::nothing) out.cut(mark);
  return said;
}

bool Writer::render(const Part& part, const Scope& scope, const Planned& instance, std::string& text) {
  if (part.kind == Part::Kind::references || part.kind == Part::Kind::labels ||
      part.kind == Part::Kind::choose)
    return false;
  instance_ = &instance;
  const auto mark = text.size();
  const Step& step = program_->step(part.step);
  {
    Appender out(text);
    if (write(part.step, step.next, scope, out) == Said::nothing) return false;
    close({}, out);
  }
  text.erase(mark, step.key_size);
  return true;
}

bool Writer::says_anything(const Part& members, const Scope& scope, const Planned& instance) {
  if (members.kind == Part::Kind::constant) return true;
  instance_ = &instance;
  std::string text;
  Appender out(text);
  return write_inside(program_->step(members.step), scope, out) != Said::nothing;
}

namespace {

// Whether the words beside a code have a place of their own, and are not what stands in place of the word.
bool carries_text_apart(const Mapping& mapping, FieldId field) {
  return std::any_of(mapping.homes().begin(), mapping.homes().end(), [&](const Home& home) {
    return home.field == field && home.facet == Facet::text && home.part->spelling.words == nullptr;
  });
}

}  // namespace

// --- what the form cannot hold
// -------------------------------------------------------------------------------

void Writer::check(const Record& record, record::Findings& findings) {
  const auto offset = record.root->offset;
  if (record.text(FieldId::source_system).empty() && record.text(FieldId::patient_system).empty() &&
      options_.name_space.empty()) {
    findings.report(record::FindingId::identity_no_system, "patient.system", offset, {});
  } else if (record.text(FieldId::source_system).empty() && options_.name_space.empty()) {
    findings.report(record::FindingId::identity_no_source, "source.system", offset, {});
  }
  for (const auto& row : mapping_->not_carried()) {
    if (row.field == FieldId::format) continue;
    if (!row.unless_option.empty() && options_.find(row.unless_option) == row.unless_value) continue;
    const Value* value = record.at(row.field);
    if (value != nullptr) {
      findings.report(record::FindingId::not_carried, record::field(row.field).path, value->offset,
                      {row.why});
    }
  }
  if (mapping_->is_document()) {
    check_given(record, findings);
    for (const auto group : {FieldId::visit, FieldId::patient, FieldId::wound, FieldId::performed}) {
      const Value* value = group == FieldId::visit ? record.root : record.at(group);
      if (value == nullptr || holds_required(*value, record::field(group))) continue;
      findings.report(record::FindingId::not_written, record::field(group).path, value->offset,
                      {"the layout has no words for what each record must have"});
    }
    // As reading has it: what was done has a start.
    const Value* start = record.at(FieldId::performed_start);
    std::string_view why;
    if (start != nullptr && record.text(FieldId::performed_outcome) != "not-done" &&
        !has_words_for(*start, FieldId::performed_start, why))
      findings.report(record::FindingId::start_lost, "performed.start", start->offset, {why});
  }
  for (auto id = record::field(FieldId::visit).first_member; id != FieldId::visit;
       id = record::field(id).next_sibling) {
    const Field& field = record::field(id);
    check_value(record.root->children[field.slot], field, std::string(field.path), findings);
  }
}

bool Writer::check_value(const Value* value, const Field& field, const std::string& path,
                         record::Findings& findings) {
  if (value == nullptr) return false;
  if (mapping_->is_document() && !check_carried(*value, field, path, findings)) return false;
  if (value->form == Form::group) {
    bool any = false;
    for (auto id = field.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
      const Field& member = record::field(id);
      if (value->children[member.slot] == nullptr) continue;
      any = check_value(value->children[member.slot], member, path + "." + std::string(member.name),
                        findings) ||
            any;
    }
    return any && (!mapping_->is_document() || holds_required(*value, field));
  }
  if (value->form == Form::list) {
    bool all = true;
    for (std::uint32_t i = 0; i < value->count; ++i) {
      all = check_value(value->children[i], field, path + "[" + std::to_string(i) + "]", findings) && all;
    }
    // An element that vanishes moves those behind it.
    if (!all && mapping_->is_document()) {
      findings.report(record::FindingId::not_in_form, path, value->offset,
                      {"nothing is left of one of its elements: the list comes back shorter"});
    }
    return true;
  }
  if (!value->is_leaf()) return true;
  const auto& all_given = mapping_->layout().given;
  // What is given stands nowhere: alone, it does not keep its group.
  bool held = std::none_of(all_given.begin(), all_given.end(),
                           [&](const Given& one) { return one.field == field.id; });
  const auto report = [&](std::string_view why) {
    findings.report(record::FindingId::not_in_form, path, value->offset, {why});
  };
  if (value->code != nullptr) {
    const auto* domain = mapping_->terms().domain(field.argument);
    const auto ours = [&](std::string_view system) { return domain != nullptr && system == domain->system; };
    bool own = ours(value->code->foreign.system);
    for (std::uint32_t i = 0; i < value->code->also_count; ++i)
      own = own || ours(value->code->also[i].system);
    if (own) report("a coding in our own code system would come back as the local word");
    // `word` kinds are read as plain text; an `any` value has its homes by kind.
    if (field.kind == Kind::code) {
      const bool whole = mapping_->carries(field.id, Facet::code);
      if (value->code->has_foreign() && !whole) {
        report("a code of another system");
        held = false;
      }
      const bool text =
          mapping_->carries(field.id, Facet::text) &&
          (!mapping_->is_document() || value->code->word.empty() || carries_text_apart(*mapping_, field.id));
      if (!value->code->text.empty() && !text) {
        report("words beside the code");
        held = held && !value->code->word.empty();
      }
      if (value->code->also_count != 0 && !mapping_->carries(field.id, Facet::code, true))
        report("further codings");
    }
  }
  if (value->quantity != nullptr && field.kind == Kind::quantity) {
    for (const auto& [facet, why] :
         {std::pair{Facet::comparator, "a comparator"}, std::pair{Facet::estimated, "an estimate"}}) {
      if (!facets_.get(value, field.id, facet, nullptr).empty() && !mapping_->carries(field.id, facet))
        report(why);
    }
  }
  std::string spelled_why;
  for (const auto& limit : mapping_->limits(field.id)) {
    if (!limit.concerns(value->kind)) continue;
    if (limit.spelled != nullptr) {
      std::string_view why;
      spell(*limit.spelled, *value, why);
      if (!why.empty() && spelled_why.empty()) spelled_why = why;
      const TimeForm* form = limit.spelled->spelling.time;
      std::string cell, back;
      if (why.empty() && form != nullptr && form->write(value->text, cell, back) && back != value->text)
        findings.report(record::FindingId::read_alike, path, value->offset, {value->text, back});
      continue;
    }
    const auto text = facets_.get(value, field.id, limit.facet, nullptr);
    if (text.empty()) continue;
    if (const auto why = misfit(limit.render, text); !why.empty()) report(why);
    if (!limit.allows(text)) report("the form has no place for '" + std::string(text) + "'");
  }
  if (!spelled_why.empty()) {
    report(spelled_why);
    held = false;
  }
  return held;
}

// Whether one of the layout's places for a field can spell a value; else why the last one cannot.
bool Writer::has_words_for(const Value& value, FieldId field, std::string_view& why) {
  bool limited = false;
  for (const auto& limit : mapping_->limits(field)) {
    // Holes for what others coded stand beside those for our words.
    if (limit.spelled == nullptr ||
        (limit.spelled->facet != Facet::self && limit.spelled->facet != Facet::word))
      continue;
    limited = true;
    if (!spell(*limit.spelled, value, why).empty()) return true;
  }
  return !limited;
}

// Whether what the group must have can be written.
bool Writer::holds_required(const Value& group, const Field& shape) {
  if (group.form != Form::group) return true;
  for (auto id = shape.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
    const Field& member = record::field(id);
    const Value* value = group.children[member.slot];
    if (member.occurs != record::Occurs::required || member.is_group() || value == nullptr) continue;
    if (std::string_view why; !has_words_for(*value, id, why)) return false;
    if (value->code != nullptr && member.kind == Kind::code && value->code->has_foreign() &&
        !mapping_->carries(id, Facet::code))
      return false;
  }
  return true;
}

// What a layout has no place for at all, or not as it is: none, absent, an answer.
bool Writer::check_carried(const Value& value, const Field& field, const std::string& path,
                           record::Findings& findings) {
  if (field.id == FieldId::format) return true;
  const bool listed = std::any_of(mapping_->not_carried().begin(), mapping_->not_carried().end(),
                                  [&](const NotCarried& row) { return row.field == field.id; });
  if (listed) return false;
  if (!mapping_->reaches(field.id)) {
    findings.report(record::FindingId::not_carried, path, value.offset, {mapping_->layout().others});
    return false;
  }
  const bool none = value.form == Form::none;
  if (!none && value.form != Form::absent) return true;
  const Facet facet = none ? Facet::none : Facet::absent;
  std::string_view why =
      none ? "the layout cannot say \"none\" here" : "the layout cannot say why there is no answer";
  bool held = mapping_->carries(field.id, facet);
  // One of several tables may have the word.
  std::string reason;
  bool said = !held;
  for (const auto& limit : mapping_->limits(field.id)) {
    if (said || limit.spelled == nullptr || limit.spelled->spelling.words == nullptr) continue;
    std::string_view refused;
    said = !spell(*limit.spelled, value, refused).empty();
    held = said;
    if (!said) reason = refused;
  }
  if (!reason.empty() && !held) why = reason;
  if (!held) findings.report(record::FindingId::not_in_form, path, value.offset, {why});
  return held;
}

// What the layout implies is what comes back: another value, or none, does not.
void Writer::check_given(const Record& record, record::Findings& findings) {
  for (const auto& given : mapping_->layout().given) {
    visit_given(record.root, given.field, [&](Value* group, const Field& field, const std::string& path) {
      const Value* value = group == nullptr ? nullptr : group->children[field.slot];
      const auto text =
          facets_.get(value, field.id, field.kind == Kind::code ? Facet::word : Facet::self, nullptr);
      if (text == given.text) return;
      findings.report(record::FindingId::not_in_form, path,
                      value == nullptr ? record.root->offset : value->offset,
                      {"every record of this layout has '" + given.text + "' here"});
    });
  }
}

// --- loading
// ---------------------------------------------------------------------------------------------------

void render_words(Mapping& mapping, Notation notation) {
  Writer writer(mapping, {}, notation);
  Program& program = mapping.programs_[static_cast<std::size_t>(notation)];
  // The bytes depend on the datatype, the domain and, in XML, the element's name alone, with which they begin:
  // rendered once for each.
  std::map<std::tuple<std::string_view, const terms::Domain*, std::string_view>, std::uint32_t> known;
  Value value;
  record::Code code;
  Planned nobody;
  for (std::uint32_t at = 0; at < program.size(); ++at) {
    const Step& step = program.step(at);
    if (step.kind != Step::Kind::typed || step.domain == nullptr) continue;
    const Kind kind = record::field(step.accessor.field).kind;
    if (kind != Kind::code && kind != Kind::word && kind != Kind::clock) continue;
    const auto [table, fresh] =
        known.try_emplace({step.part->type_name, step.domain, program.lead(program.step(at + 1))}, 0);
    if (fresh) {
      std::vector<std::string> words;
      for (const auto& one : step.domain->concepts) {
        code = {};
        code.word = one.word;
        value = {};
        value.kind = kind;
        if (kind == Kind::clock)
          value.text = one.word;
        else
          value.code = &code;
        // The part looks at its leaf through its own accessor: show it a record of nothing but that leaf.
        std::string bytes;
        if (!writer.render_leaf(at + 1, step.accessor, value, nobody, bytes)) break;
        words.push_back(std::move(bytes));
      }
      if (words.size() == step.domain->concepts.size()) table->second = program.add_words(std::move(words));
    }
    program.set_words(at, table->second);
  }
}

bool Writer::render_leaf(std::uint32_t step, const Accessor& accessor, Value& leaf, const Planned& instance,
                         std::string& text) {
  // A chain of groups that leads to the leaf and to nothing else.
  Scope scope;
  Arena arena;
  Value* at = &leaf;
  for (int i = accessor.steps - 1; i >= 0; --i) {
    const FieldId parent = record::field(accessor.ids[i]).parent;
    Value* group = record::make_group(arena, record::field(parent));
    group->children[accessor.slots[i]] = at;
    at = group;
  }
  scope.level[accessor.level] = at;
  instance_ = &instance;
  facets_.forget();
  spelled_ = true;
  Appender out(text);
  if (write(step, program_->step(step).next, scope, out) != Said::hole || !spelled_) return false;
  close({}, out);
  return true;
}

}  // namespace charpie::mapping
