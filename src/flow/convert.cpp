#include "flow/convert.hpp"

#include <algorithm>
#include <map>
#include <set>

#include "fhir/xml.hpp"
#include "flow/acknowledge.hpp"
#include "flow/record_keys.hpp"
#include "flow/reject.hpp"
#include "mapping/document_text.hpp"
#include "record/write.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"
#include "syntax/xml_write.hpp"

namespace charpie::flow {

using mapping::Lifetime;
using mapping::Planned;
using record::Finding;
using record::FindingId;

bool blocks(std::span<const Finding> findings, std::string_view record_name) {
  return std::any_of(findings.begin(), findings.end(), [&](const Finding& one) {
    return one.blocks && (one.record_key.empty() || one.record_key == record_name);
  });
}

void let_pass(std::span<Finding> findings, const std::optional<rules::Selection>& let) {
  if (!let) return;
  for (auto& one : findings) {
    if (let->wants(one)) one.blocks = false;
  }
}

Converter::Converter(const Engine& engine, const Conversion& conversion)
    : conversion_(&conversion),
      reader_(engine, *conversion.from, conversion.options, conversion.checks),
      old_reader_(engine, record_form(), conversion.options) {
  if (!conversion.to->is_record()) {
    if (!conversion.to->is_site) elements_ = engine.elements(*conversion.to);
    site_ = conversion.to->is_site ? &engine.mapping(*conversion.to) : nullptr;
    writer_.emplace(engine.mapping(*conversion.to), conversion.options);
    if (elements_ != nullptr && conversion.to->syntax == Syntax::xml)
      xml_writer_.emplace(engine.mapping(*conversion.to), conversion.options, mapping::Notation::xml);
    old_writer_.emplace(engine.mapping(*conversion.to), conversion.options);
  }
  if (!conversion.write) reader_.review();
  if (conversion.answer) answer_charset_ = engine.mapping(*conversion.from).layout().encoding;
  if (conversion.keep_unread) reader_.keep_unread();
  if (engine.claims() != nullptr && !conversion.to->is_record()) claimer_.emplace(*engine.claims());
  if (conversion.take_notes) notes_.emplace(engine.rules());
}

void Converter::work(Batch& batch) {
  for (std::size_t i = 0; i < batch.count; ++i) work_on(batch.pieces[i], batch);
}

void Converter::work_on(const syntax::JsonPiece& piece, Batch& batch) {
  const auto records = reader_.read(piece, batch.file);
  for (const auto& one : reader_.unread()) {
    append_unread(one, batch.file, piece.line, piece.bytes, conversion_->from->syntax == Syntax::json,
                  batch.unread);
  }
  const bool was_read = !records.empty();
  const bool to_instances = writer_.has_value() && conversion_->check_target;
  if (to_instances) {
    for (const auto& one : records) {
      reader_.begin_findings(one);
      writer_->check(one, reader_.findings());
      const auto status = one.text(record::FieldId::status);
      if (conversion_->write && site_ == nullptr && (status == "amended" || status == "corrected") &&
          !find_old(one)) {
        const bool given = conversion_->replaces != nullptr;
        reader_.findings().report(FindingId::amended_alone, "status", one.root->offset,
                                  {status, given ? "no version of it that can be read stands in the old file"
                                                 : "the version before it was not given"});
      }
    }
  }
  auto found = reader_.take_findings();
  let_pass(found, conversion_->let);
  const auto first = batch.tally.records;
  batch.tally.records += std::max<std::size_t>(records.size(), 1);
  bool rejected = records.empty() && blocks(found, {});
  if (rejected) ++batch.tally.rejected;
  for (std::size_t i = 0; i < records.size(); ++i) {
    const auto& one = records[i];
    // A record that is held back happened all the same: without it the visits around it would seem to
    // contradict.
    if (notes_) notes_->append(one, batch.notes);
    bool goes_on = !blocks(found, one.name()) && passes(one, first + i, batch, found);
    if (goes_on && conversion_->write) {
      reader_.begin_findings(one);
      if (const auto written = write(one, batch); !written) {
        goes_on = false;
        reader_.findings().report(FindingId::not_written, {}, one.root->offset, {written.error().message});
      }
      for (auto& told : reader_.take_findings()) found.push_back(std::move(told));
    }
    if (goes_on) {
      ++batch.tally.written;
      batch.keys.push_back(key_of(one, conversion_->options.name_space, first + i));
    } else {
      rejected = true;
      ++batch.tally.rejected;
    }
  }
  if (rejected && conversion_->keep_rejects) {
    const bool is_json = conversion_->from->syntax == Syntax::json &&
                         std::none_of(found.begin(), found.end(),
                                      [](const Finding& one) { return one.id == FindingId::json_syntax; });
    append_reject(piece.bytes, is_json, found, batch.rejects);
  }
  if (conversion_->answer) {
    append_acknowledgement(piece, was_read, found, answer_charset_, conversion_->answer_time, batch.answers);
  }
  for (auto& one : found) batch.findings.push_back(std::move(one));
}

// Adds what the ordered stage told of the record. It does not block another of the same key in one piece.
bool Converter::passes(const record::Record& record, std::uint64_t place, const Batch& batch,
                       std::vector<Finding>& found) {
  if (batch.told.empty()) return true;
  reader_.begin_findings(record);
  const auto* id = record.at(record::FieldId::id);
  const auto offset = id == nullptr ? record.root->offset : id->offset;
  const bool one_version = conversion_->write && site_ == nullptr && conversion_->options.pack == "bulk";
  for (const auto& one : batch.told) {
    if (one.place != place) continue;
    if (one.id != FindingId::record_twice) {
      reader_.findings().report(one.id, "id", offset, {std::to_string(RecordKeys::most_keys)});
    } else if (one_version) {
      reader_.findings().report(FindingId::not_written, "id", offset,
                                {"a bulk folder holds one version of a record, and an earlier one is in it; "
                                 "send the last one alone"});
    } else if (!one.amends) {
      reader_.findings().report(one.id, "id", offset, {"an earlier place of this run"});
    }
  }
  auto told = reader_.take_findings();
  let_pass(told, conversion_->let);
  const bool held_back = blocks(told, record.name());
  for (auto& one : told) found.push_back(std::move(one));
  return !held_back;
}

Outcome Converter::write(const record::Record& record, Batch& batch) {
  if (site_ != nullptr) {
    // The document goes on as JSON; mapping::DocumentOutput joins documents and writes them in their syntax.
    const auto begin = batch.out.size();
    if (!writer_->write_bundle(record, batch.out)) return mapping::reads_as_another();
    scratch_.clear();
    if (auto written = mapping::write_document(std::string_view(batch.out).substr(begin), *site_, scratch_);
        !written) {
      batch.out.resize(begin);
      return written;
    }
    batch.out += '\n';
    return std::monostate{};
  }
  const bool xml = conversion_->to->syntax == Syntax::xml;
  std::string& out = conversion_->pretty || xml ? scratch_ : batch.out;
  if (&out == &scratch_) scratch_.clear();
  const auto begin = out.size();
  if (conversion_->to->is_record()) {
    record::write_record(record, out);
  } else if (conversion_->options.pack == "bulk") {
    written_.clear();
    if (claimer_) {
      scratch_.clear();
      writer_->write_resources(record, scratch_, written_);
      for (auto& one : written_) {
        claimed_ = scratch_.substr(one.begin, one.end - one.begin);
        claimer_->claim(claimed_, reader_.findings());
        one.begin = out.size();
        one.end = one.begin + claimed_.size();
        out += claimed_;
      }
    } else {
      writer_->write_resources(record, out, written_);
    }
    for (const auto& one : written_) place(0, one, batch);
    if (find_old(record)) withdraw(batch);
    return std::monostate{};
  } else {
    const bool corrects = find_old(record);
    if (xml && !corrects && !claimer_ && write_xml(record, batch)) return std::monostate{};
    writer_->write_bundle(record, out);
    if (corrects) withdraw(batch);
  }
  if (claimer_) {
    claimed_ = out.substr(begin);
    claimer_->claim(claimed_, reader_.findings());
    out.replace(begin, std::string::npos, claimed_);
  }
  if (xml) {
    if (auto written = copy_to_xml(batch); !written) return written;
  } else if (conversion_->pretty) {
    syntax::append_pretty_json(scratch_, batch.out);
  }
  batch.out += '\n';
  return std::monostate{};
}

namespace {

constexpr auto declaration = syntax::xml_declaration.substr(0, syntax::xml_declaration.size() - 1);

// One XML document is one line. A line feed in a narrative becomes a reference, which XML reads as the same.
void join_lines(std::string& text, std::size_t from) {
  for (auto at = text.find('\n', from); at != std::string::npos; at = text.find('\n', at)) {
    text.replace(at, 1, "&#10;");
  }
}

}  // namespace

// Appends the record as an XML document on a line of its own; false, with nothing appended, when XML cannot
// hold it.
bool Converter::write_xml(const record::Record& record, Batch& batch) {
  const auto begin = batch.out.size();
  batch.out += declaration;
  if (!xml_writer_->write_bundle(record, batch.out)) {
    batch.out.resize(begin);
    return false;
  }
  join_lines(batch.out, begin);
  batch.out += '\n';
  return true;
}

// The Bundle in scratch_ as an XML document: one that was changed after it was written, or that XML cannot
// hold, which is told.
Outcome Converter::copy_to_xml(Batch& batch) {
  arena_.reset();
  auto tree = syntax::read_json(scratch_, arena_, elements_->names());
  if (!tree) return tree.error();
  const auto begin = batch.out.size();
  if (auto written = fhir::to_xml(**tree, *elements_, batch.out, scratch_); !written) return written;
  batch.out.erase(begin + declaration.size(), 1);
  join_lines(batch.out, begin);
  return std::monostate{};
}

void Converter::place(std::size_t from, const mapping::WrittenInstance& written, Batch& batch) const {
  const auto& made_from = *written.planned->made_from;
  batch.resources.push_back({made_from.resource_type, made_from.lifetime != Lifetime::visit,
                             *parse_uuid(written.planned->uuid_text()), from + written.begin,
                             from + written.end});
}

// Whether there is an old version of the record that can be read; then it is in old_.
bool Converter::find_old(const record::Record& record) {
  old_ = nullptr;
  if (conversion_->replaces == nullptr || !conversion_->replaces->find(record, old_piece_)) return false;
  const auto records = old_reader_.read(old_piece_, conversion_->replaces->file());
  auto found = old_reader_.take_findings();
  let_pass(found, conversion_->let);
  if (records.empty() || blocks(found, record.name())) return false;
  old_ = &records.front();
  return true;
}

// Members of the old version that the new one no longer has are sent once more, as entered in error. They are
// told by their business identifiers (visit, field, index).
void Converter::withdraw(Batch& batch) {
  const bool in_scratch = conversion_->pretty || conversion_->to->syntax == Syntax::xml;
  std::string& out = in_scratch ? scratch_ : batch.out;
  std::map<std::string, std::string, std::less<>> kept;  // business identifier -> UUID, in the new version
  std::set<std::string, std::less<>> kept_shared;        // UUIDs
  const auto key_of = [&](const mapping::Plan& plan, const Planned& one) {
    std::string key;
    plan.append_key(one, plan.record_key(), key);
    return key;
  };
  const auto& plan = writer_->plan();
  for (const auto& one : plan.instances()) {
    if (one.made_from->lifetime == Lifetime::visit) {
      kept.emplace(key_of(plan, one), one.uuid_text());
    } else {
      kept_shared.emplace(one.uuid_text());
    }
  }
  record::Code in_error;
  in_error.word = "entered-in-error";
  record::Value status;
  status.kind = record::field(record::FieldId::status).kind;
  status.code = &in_error;
  old_->root->children[record::field(record::FieldId::status).slot] = &status;

  const auto& old_plan = old_writer_->plan(*old_);
  std::vector<std::pair<std::string, std::string>> renamed;  // the same instance under another UUID
  bool any_gone = false;
  for (const auto& one : old_plan.instances()) {
    if (one.made_from->lifetime != Lifetime::visit) continue;
    const auto still = kept.find(key_of(old_plan, one));
    if (still == kept.end()) {
      any_gone = true;
    } else if (still->second != one.uuid_text()) {
      renamed.emplace_back(one.uuid_text(), still->second);
    }
  }
  if (!any_gone) return;

  std::string resources;
  written_.clear();
  old_writer_->write_resources(*old_, resources, written_);
  const bool bulk = conversion_->options.pack == "bulk";
  const bool requests = conversion_->options.has_requests();
  if (!bulk) out.resize(out.size() - 2);  // the end of the Bundle's entries: "]}"
  for (const auto& one : written_) {
    const auto& planned = *one.planned;
    const bool of_visit = planned.made_from->lifetime == Lifetime::visit;
    if (of_visit ? kept.contains(key_of(old_plan, planned)) : kept_shared.contains(planned.uuid_text()))
      continue;
    std::string resource = resources.substr(one.begin, one.end - one.begin);
    for (const auto& [from, to] : renamed) {
      for (auto at = resource.find(from); at != std::string::npos; at = resource.find(from, at + to.size())) {
        resource.replace(at, from.size(), to);
      }
    }
    if (bulk) {
      const auto begin = out.size();
      out += resource;
      place(0, {one.planned, begin, out.size()}, batch);
      continue;
    }
    out += R"(,{"fullUrl":"urn:uuid:)";
    out += planned.uuid_text();
    out += R"(","resource":)";
    out += resource;
    if (requests) {
      out += R"(,"request":)";
      old_writer_->append_request(planned, out);
    }
    out += '}';
  }
  if (!bulk) out += "]}";
}

}  // namespace charpie::flow
