#include "mapping/write.hpp"

#include <algorithm>
#include <functional>
#include <map>

#include "base/escape.hpp"
#include "base/time.hpp"

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using record::Form;
using record::Kind;
using record::Record;
using record::Value;

Writer::Writer(const Mapping& mapping, Options options)
    : mapping_(&mapping), options_(std::move(options)), facets_(knowledge_), plan_(mapping) {
  knowledge_.terms = &mapping.terms();
  knowledge_.fixed_units = &mapping.fixed_units();
  knowledge_.absent_reasons = mapping.terms().domain("absent-reason");
  knowledge_.fixed = options_.units == "fixed";
}

void Writer::start(const Record& record) {
  plan_.make(record, options_);
  facets_.forget();
  fragments_.assign(mapping_->shared_fragments() + 1, {});
}

const Plan& Writer::plan(const Record& record) {
  start(record);
  return plan_;
}

Scope Writer::scope_of(const Planned& instance) const {
  Scope scope;
  scope.level[0] = plan_.root();
  scope.level[1] = instance.element;
  scope.index[1] = instance.index;
  return scope;
}

void Writer::write_instance(const Planned& instance, std::string& out) {
  instance_ = &instance;
  const Scope scope = scope_of(instance);
  out += '{';
  write_members(*instance.made_from->body, scope, out);
  out.back() = '}';
}

void Writer::write_bundle(const Record& record, std::string& out) {
  start(record);
  const bool transaction = options_.pack == "transaction";
  out += transaction ? R"({"resourceType":"Bundle","type":"transaction","entry":[)"
                     : R"({"resourceType":"Bundle","type":"collection","entry":[)";
  for (const auto& instance : plan_.instances()) {
    if (instance.again) continue;
    out += R"({"fullUrl":"urn:uuid:)";
    out += instance.uuid_text();
    out += R"(","resource":)";
    write_instance(instance, out);
    if (transaction) {
      out += R"(,"request":)";
      append_request(instance, out);
    }
    out += "},";
  }
  out.back() = ']';
  out += '}';
}

void Writer::write_resources(const Record& record, std::string& out, std::vector<WrittenInstance>& written) {
  start(record);
  for (const auto& instance : plan_.instances()) {
    if (instance.again) continue;
    const auto begin = out.size();
    write_instance(instance, out);
    written.push_back({&instance, begin, out.size()});
  }
}

// Visit-scoped: conditional update by business identifier. Shared: created once (R4, http.html, conditional
// interactions; bundle.html, transaction).
void Writer::append_request(const Planned& instance, std::string& out) const {
  std::string query = "identifier=";
  const auto& made_from = *instance.made_from;
  switch (made_from.lifetime) {
    case Lifetime::visit: {
      append_url_query_value(plan_.identity_system(), query);
      query += "%7C";
      std::string key;
      if (made_from.number == mapping_->visit_template()) {
        key = plan_.record_key();
      } else {
        plan_.append_key(instance, plan_.record_key(), key);
      }
      append_url_query_value(key, query);
      break;
    }
    case Lifetime::wound:
      append_url_query_value(mapping_->canonical(), query);
      query += "%2Fwound-id%7C";
      query += instance.uuid_text();
      break;
    case Lifetime::patient:
    case Lifetime::performer: {
      const bool patient = made_from.lifetime == Lifetime::patient;
      const Value* group = patient ? record::member(plan_.root(), FieldId::patient) : instance.element;
      const Value* system =
          record::member(group, patient ? FieldId::patient_system : FieldId::performer_system);
      const Value* id = record::member(group, patient ? FieldId::patient_id : FieldId::performer_id);
      if (system != nullptr) append_url_query_value(system->text, query);
      query += "%7C";
      if (id != nullptr) append_url_query_value(id->text, query);
      break;
    }
  }
  if (made_from.lifetime == Lifetime::visit) {
    out += R"({"method":"PUT","url":")";
    out += made_from.resource_type;
    out += '?';
    out += query;
  } else {
    out += R"({"method":"POST","url":")";
    out += made_from.resource_type;
    out += R"(","ifNoneExist":")";
    out += query;
  }
  out += R"("})";
}

void Writer::append_reference(const Planned& target, std::string& out) const {
  if (options_.pack == "bulk") {
    out += target.made_from->resource_type;
    out += '/';
  } else {
    out += "urn:uuid:";
  }
  out += target.uuid_text();
}

// --- parts
// -----------------------------------------------------------------------------------------------------

Writer::Said Writer::write_member(const Part& part, const Scope& scope, std::string& out) {
  if (part.kind == Part::Kind::constant) {
    out += part.key;
    out += part.json;
    out += ',';
    return Said::constant;
  }
  if (part.shared != 0 && lineage_ == nullptr) {
    Fragment& fragment = fragments_[part.shared];
    if (fragment.known) {
      if (fragment.end != fragment.begin) out.append(out, fragment.begin, fragment.end - fragment.begin);
      return fragment.said;
    }
  }
  const auto mark = out.size();
  out += part.key;
  const Said said = write(part, scope, out);
  if (said == Said::nothing) {
    out.resize(mark);
  } else {
    out += ',';
  }
  if (part.shared != 0) fragments_[part.shared] = {mark, out.size(), said, true};
  return said;
}

Writer::Said Writer::write_members(const Part& object, const Scope& scope, std::string& out) {
  Said said = Said::nothing;
  for (const auto& part : object.parts) {
    Said one = Said::nothing;
    if (part->kind == Part::Kind::choose) {
      for (const auto& alternative : part->parts) {
        if (!alternative->when.empty() && !holds(alternative->when, scope, options_, facets_)) continue;
        if (alternative->kind == Part::Kind::constant) {
          // An alternative of constants only: its members without the braces.
          out.append(alternative->json, 1, alternative->json.size() - 2);
          out += ',';
          one = Said::constant;
        } else {
          one = write_members(*alternative, scope, out);
        }
        break;
      }
    } else {
      one = write_member(*part, scope, out);
    }
    said = std::max(said, one);
  }
  return said;
}

Writer::Said Writer::write(const Part& part, const Scope& scope, std::string& out) {
  switch (part.kind) {
    case Part::Kind::constant:
      out += part.json;
      return Said::constant;
    case Part::Kind::object: {
      const auto mark = out.size();
      out += '{';
      const Said said = write_members(part, scope, out);
      if (said == Said::nothing || (said == Said::constant && !part.always && part.has_hole)) {
        out.resize(mark);
        return Said::nothing;
      }
      out.back() = '}';
      return said;
    }
    case Part::Kind::array: {
      const auto mark = out.size();
      out += '[';
      const Said said = write_items(part, scope, out);
      if (said == Said::nothing || (said == Said::constant && !part.always && part.has_hole)) {
        out.resize(mark);
        return Said::nothing;
      }
      out.back() = ']';
      return said;
    }
    case Part::Kind::primitive:
      return write_primitive(part, scope, out);
    case Part::Kind::text:
      return write_text(part, scope, out);
    case Part::Kind::typed:
      return write_typed(part, scope, out);
    default:
      return Said::nothing;
  }
}

Writer::Said Writer::write_items(const Part& array, const Scope& scope, std::string& out) {
  Said said = Said::nothing;
  for (const auto& part : array.parts) {
    Said one;
    if (part->kind == Part::Kind::loop) {
      one = write_loop(*part, scope, out);
    } else if (part->kind == Part::Kind::references) {
      one = write_references(*part, out);
    } else {
      one = write_item(*part, scope, out);
    }
    said = std::max(said, one);
  }
  return said;
}

Writer::Said Writer::write_item(const Part& part, const Scope& scope, std::string& out) {
  if (!part.when.empty() && !holds(part.when, scope, options_, facets_)) return Said::nothing;
  const Said said = write(part, scope, out);
  if (said != Said::nothing) out += ',';
  return said;
}

Writer::Said Writer::write_loop(const Part& loop, const Scope& scope, std::string& out) {
  Said said = Said::nothing;
  const Part& body = *loop.parts.front();
  const Value* list = follow(loop.accessor, scope);
  Scope inside = scope;
  if (loop.also_loop) {
    if (list == nullptr || list->code == nullptr) return said;
    for (std::uint32_t i = 0; i < list->code->also_count; ++i) {
      inside.coding = &list->code->also[i];
      said = std::max(said, write_item(body, inside, out));
    }
    return said;
  }
  if (list == nullptr || list->form != Form::list) return said;
  for (std::uint32_t i = 0; i < list->count; ++i) {
    inside.level[loop.loop_level] = list->children[i];
    inside.index[loop.loop_level] = i;
    said = std::max(said, write_item(body, inside, out));
  }
  return said;
}

Writer::Said Writer::write_references(const Part& part, std::string& out) {
  Said said = Said::nothing;
  for (const auto& one : plan_.instances()) {
    if (one.made_from->panel_number != part.target || one.again) continue;
    out += R"({"reference":")";
    append_reference(one, out);
    out += R"("},)";
    said = Said::hole;
  }
  return said;
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

std::string_view Writer::hole_text(const Part& part, const Scope& scope) {
  switch (part.source) {
    case Source::field: {
      if (part.also_loop) {
        if (scope.coding == nullptr) return {};
        switch (part.facet) {
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
      const Value* value = follow(part.accessor, scope);
      if (value == nullptr) return {};
      if (part.has_sets_kind && (!value->is_leaf() || value->kind != part.sets_kind)) return {};
      return facets_.get(value, part.accessor.field, part.facet, part.domain);
    }
    case Source::key:
      scratch_.clear();
      plan_.append_key(*instance_, plan_.record_key(), scratch_);
      return scratch_;
    case Source::identity_system:
      return plan_.identity_system();
    case Source::resource_id:
      return options_.pack == "transaction" ? std::string_view{} : instance_->uuid_text();
    case Source::uuid:
      return instance_->uuid_text();
    case Source::reference: {
      const Planned* target = mapping_->templates()[part.target - 1].has_loop
                                  ? plan_.find(part.target, scope.level[1])
                                  : plan_.find(part.target);
      // A practitioner stands for the performer of the innermost loop.
      for (std::size_t level = 2; target == nullptr && level < scope.level.size(); ++level) {
        if (scope.level[level] != nullptr) target = plan_.find(part.target, scope.level[level]);
      }
      if (target == nullptr) return {};
      scratch_.clear();
      append_reference(*target, scratch_);
      return scratch_;
    }
  }
  return {};
}

namespace {

// The text as the place wants it. FHIR times have seconds; the mark beside them tells what was charted.
std::string_view rendered(const Part& part, std::string_view text, std::string& scratch) {
  switch (part.render) {
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
      if (!misfit(part.render, text).empty()) return {};
  }
  if (!part.allowed.empty() &&
      std::find(part.allowed.begin(), part.allowed.end(), text) == part.allowed.end())
    return {};
  return text;
}

}  // namespace

std::string_view Writer::primitive_text(const Part& part, const Scope& scope, const Planned& instance) {
  instance_ = &instance;
  const auto text = hole_text(part, scope);
  return text.empty() ? text : rendered(part, text, scratch_text_);
}

Writer::Said Writer::write_primitive(const Part& part, const Scope& scope, std::string& out) {
  auto text = hole_text(part, scope);
  if (text.empty()) return Said::nothing;
  if (part.render != Render::plain || !part.allowed.empty()) {
    text = rendered(part, text, scratch_text_);
    if (text.empty()) return Said::nothing;
  }
  const auto begin = out.size();
  if (part.shape == Shape::string) {
    append_json_string(text, out);
  } else {
    out += text;
  }
  if (lineage_ != nullptr) {
    const bool of_field = part.source == Source::field;
    lineage_->push_back({begin, out.size(), of_field ? path_of(part.accessor, scope) : std::string{},
                         part.facet, part.mirror, part.place});
  }
  return Said::hole;
}

Writer::Said Writer::write_text(const Part& part, const Scope& scope, std::string& out) {
  const auto mark = out.size();
  out += '"';
  bool any = false;
  for (const auto& piece : part.parts) {
    if (piece->kind != Part::Kind::primitive) {
      append_json_escaped(piece->literal, out);
      continue;
    }
    const auto text = hole_text(*piece, scope);
    if (text.empty()) continue;
    any = true;
    const auto begin = out.size();
    append_json_escaped(rendered(*piece, text, scratch_text_), out);
    if (lineage_ != nullptr && piece->source == Source::field) {
      lineage_->push_back(
          {begin, out.size(), path_of(piece->accessor, scope), piece->facet, piece->mirror, piece->place});
    }
  }
  if (!any) {
    out.resize(mark);
    return Said::nothing;
  }
  out += '"';
  return Said::hole;
}

Writer::Said Writer::write_typed(const Part& part, const Scope& scope, std::string& out) {
  const Value* value = follow(part.accessor, scope);
  if (value == nullptr) return Said::nothing;
  if (part.has_sets_kind && (!value->is_leaf() || value->kind != part.sets_kind)) return Said::nothing;
  if (part.rendered != nullptr && lineage_ == nullptr && is_plain_word(*value)) {
    const auto word = value->kind == Kind::clock ? value->text : value->code->word;
    if (const auto* known = part.domain->find(word)) {
      out += (*part.rendered)[known->index];
      return Said::hole;
    }
  }
  return write(*part.parts.front(), scope, out);
}

bool Writer::render(const Part& part, const Scope& scope, const Planned& instance, std::string& out) {
  instance_ = &instance;
  if (part.kind == Part::Kind::loop) {
    const auto mark = out.size();
    if (write_loop(part, scope, out) == Said::nothing) return false;
    if (out.size() > mark) out.pop_back();
    return true;
  }
  if (!part.when.empty() && !holds(part.when, scope, options_, facets_)) return false;
  return write(part, scope, out) != Said::nothing;
}

bool Writer::says_anything(const Part& members, const Scope& scope, const Planned& instance) {
  if (members.kind == Part::Kind::constant) return true;
  instance_ = &instance;
  std::string out;
  return write_members(members, scope, out) != Said::nothing;
}

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
  for (auto id = record::field(FieldId::visit).first_member; id != FieldId::visit;
       id = record::field(id).next_sibling) {
    const Field& field = record::field(id);
    check_value(record.root->children[field.slot], field, std::string(field.path), findings);
  }
}

void Writer::check_value(const Value* value, const Field& field, const std::string& path,
                         record::Findings& findings) {
  if (value == nullptr) return;
  if (value->form == Form::group) {
    for (auto id = field.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
      const Field& member = record::field(id);
      if (value->children[member.slot] == nullptr) continue;
      check_value(value->children[member.slot], member, path + "." + std::string(member.name), findings);
    }
    return;
  }
  if (value->form == Form::list) {
    for (std::uint32_t i = 0; i < value->count; ++i) {
      check_value(value->children[i], field, path + "[" + std::to_string(i) + "]", findings);
    }
    return;
  }
  if (!value->is_leaf()) return;
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
      if (value->code->has_foreign() && !whole) report("a code of another system");
      if (!value->code->text.empty() && !mapping_->carries(field.id, Facet::text))
        report("words beside the code");
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
  for (const auto& limit : mapping_->limits(field.id)) {
    const auto text = facets_.get(value, field.id, limit.facet, nullptr);
    if (text.empty()) continue;
    if (limit.only_kind && value->kind != limit.kind) continue;
    if (const auto why = misfit(limit.render, text); !why.empty()) report(why);
    if (!limit.allowed->empty() &&
        std::find(limit.allowed->begin(), limit.allowed->end(), text) == limit.allowed->end()) {
      report("the form has no place for '" + std::string(text) + "'");
    }
  }
}

// --- loading
// ---------------------------------------------------------------------------------------------------

namespace {

void visit_parts(Part& part, const std::function<void(Part&)>& use) {
  use(part);
  for (auto& below : part.parts) visit_parts(*below, use);
}

}  // namespace

void render_words(Mapping& mapping) {
  Writer writer(mapping, {});
  // The bytes depend on the datatype and the domain alone: rendered once for each pair.
  std::map<std::pair<std::string, const terms::Domain*>, std::shared_ptr<std::vector<std::string>>> known;
  Value value;
  record::Code code;
  Planned nobody;
  for (auto& made_from : mapping.templates_to_render()) {
    visit_parts(*made_from.body, [&](Part& part) {
      if (part.kind != Part::Kind::typed || part.domain == nullptr) return;
      const Kind kind = record::field(part.accessor.field).kind;
      if (kind != Kind::code && kind != Kind::word && kind != Kind::clock) return;
      auto& rows = known[{part.type_name, part.domain}];
      if (rows == nullptr) {
        rows = std::make_shared<std::vector<std::string>>();
        // The part looks at its leaf through its own accessor: show it a record of nothing but that leaf.
        Part& body = *part.parts.front();
        bool useful = true;
        for (const auto& one : part.domain->concepts) {
          code = {};
          code.word = one.word;
          value = {};
          value.kind = kind;
          if (kind == Kind::clock)
            value.text = one.word;
          else
            value.code = &code;
          std::string bytes;
          useful = useful && writer.render_leaf(body, part.accessor, value, nobody, bytes);
          rows->push_back(std::move(bytes));
        }
        if (!useful) rows->clear();
      }
      if (!rows->empty()) part.rendered = rows;
    });
  }
}

bool Writer::render_leaf(const Part& body, const Accessor& accessor, Value& leaf, const Planned& instance,
                         std::string& out) {
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
  return write(body, scope, out) == Said::hole;
}

}  // namespace charpie::mapping
