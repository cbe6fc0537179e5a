#include "rules/history.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <map>
#include <set>
#include <unordered_map>

#include "base/external_sort.hpp"
#include "rules/derived.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::member;
using record::Value;

namespace {

// What is kept of a visit, as texts.
enum Note : std::size_t {
  file,
  line,
  record_key,
  source,
  status,  // status: "" | replacing | in-error
  start,
  end,
  dressed,  // dressed: "1" when a dressing was changed
  label,
  label_clock,
  old_label,
  old_label_clock,
  applied_at,
  packing_placed,
  packing_removed,
  closures,  // closures: method,present,removed; …
  stage,
  site,
  side,
  length,
  width,
  depth,
  length_cm,
  width_cm,
  method,
  device,
  measured_at,
  resolved,
  birth_year,
  sex,
  patient,
  wound,
  note_count
};

constexpr char between = '\x1f';  // no text of a record holds it: XML 1.0 has no such character

void append_number(std::uint64_t value, std::string& out) {
  for (int shift = 56; shift >= 0; shift -= 8) out += static_cast<char>(value >> shift);
}
// So that earlier times are smaller bytes.
std::uint64_t ordered(std::int64_t seconds) {
  return static_cast<std::uint64_t>(seconds) ^ (std::uint64_t{1} << 63);
}

void append_text(std::string_view text, std::string& out) {
  std::size_t size = text.size();
  while (size >= 0x80) {
    out += static_cast<char>(0x80 | (size & 0x7F));
    size >>= 7;
  }
  out += static_cast<char>(size);
  out += text;
}

std::string_view take_text(std::string_view& bytes) {
  std::size_t size = 0;
  int shift = 0;
  while (!bytes.empty()) {
    const auto byte = static_cast<unsigned char>(bytes.front());
    bytes.remove_prefix(1);
    size |= static_cast<std::size_t>(byte & 0x7F) << shift;
    shift += 7;
    if ((byte & 0x80) == 0) break;
  }
  const auto text = bytes.substr(0, size);
  bytes.remove_prefix(text.size());
  return text;
}

std::optional<Time> time_of(std::string_view text) {
  const auto reading = parse_time(text);
  return reading ? std::optional(reading.time) : std::nullopt;
}

std::int64_t moment(const Time& time) {
  return time.has_clock() ? seconds_since_epoch(time) : days_since_epoch(time) * 86400;
}
std::int64_t wall(const Time& time) {
  return moment(time) + (time.has_clock() ? std::int64_t{time.offset_minutes} * 60 : 0);
}

std::optional<long long> count_of(std::string_view text) {
  long long value = 0;
  const auto [end_of, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || error != std::errc{} || end_of != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

struct VisitNotes::State {
  explicit State(const RuleBook& made_from) : book(made_from), memory(book), visit(book, memory, options) {}
  const RuleBook& book;
  CheckOptions options{};
  UnitMemory memory;
  Visit visit;
  record::Findings unused{};
  std::string key, body, scratch;
};

VisitNotes::VisitNotes(const RuleBook& book) : state_(std::make_unique<State>(book)) {}
VisitNotes::VisitNotes(VisitNotes&&) noexcept = default;
VisitNotes::~VisitNotes() = default;

void VisitNotes::append(const record::Record& record, std::string& out) {
  if (record.root == nullptr) return;
  auto& [book, options, memory, visit, unused, key, body, scratch] = *state_;
  visit.begin(record, unused);
  const bool in_error = visit.is(WordSet::in_error, FieldId::status);
  if (!visit.done() && !in_error) return;
  const auto& at = visit.first_time();
  if (!at || at->precision < TimePrecision::day) return;
  const auto patient_id = record.text(FieldId::patient_id);
  const auto wound_id = record.text(FieldId::wound_id);
  if (patient_id.empty() || wound_id.empty()) return;

  std::array<std::string, note_count> notes;
  const auto text = [&](Note note, FieldId id) { notes[note] = record.text(id); };
  // Named anew, for clang 14 takes no structured binding into a lambda.
  auto& seen = visit;
  const auto word = [&](Note note, FieldId id) {
    if (const auto* meant = seen.meaning(id)) notes[note] = meant->word;
  };
  const auto quantity = [&](Note note, FieldId id) {
    const Value* value = seen.at(id);
    if (value != nullptr && value->quantity != nullptr) notes[note] = shown(*value->quantity);
  };
  notes[file] = record.file;
  notes[line] = std::to_string(record.line);
  text(record_key, FieldId::id);
  text(source, FieldId::source_system);
  notes[status] = in_error ? "in-error" : visit.is(WordSet::replacing, FieldId::status) ? "replacing" : "";
  notes[start] = at->text;
  if (visit.end()) notes[end] = visit.end()->text;
  notes[dressed] = visit.dressed() ? "1" : "";
  text(label, FieldId::label_date);
  text(label_clock, FieldId::label_time);
  text(old_label, FieldId::removed_label_date);
  text(old_label_clock, FieldId::removed_label_time);
  text(applied_at, FieldId::removed_appliedAt);
  text(packing_placed, FieldId::packing_placed);
  text(packing_removed, FieldId::removed_packing);
  std::map<std::string, std::pair<long long, long long>> by_method;  // -1: not charted
  for (const Value* entry : visit.elements(FieldId::closure)) {
    const auto* meant = visit.meaning(FieldId::closure_method, member(entry, FieldId::closure_method));
    if (meant == nullptr) continue;
    const auto add = [&](long long& sum, FieldId id) {
      const Value* value = member(entry, id);
      const auto count = value == nullptr || !value->is_leaf() ? std::nullopt : count_of(value->text);
      if (count) sum = (sum < 0 ? 0 : sum) + *count;
    };
    auto& counts = by_method.try_emplace(meant->word, -1, -1).first->second;
    add(counts.first, FieldId::closure_present);
    add(counts.second, FieldId::closure_removed);
  }
  for (const auto& [name, counts] : by_method) {
    notes[closures] += name + "," + std::to_string(counts.first) + "," + std::to_string(counts.second) + ";";
  }
  word(stage, FieldId::wound_stage);
  word(site, FieldId::wound_site);
  word(side, FieldId::wound_side);
  quantity(length, FieldId::size_length);
  quantity(width, FieldId::size_width);
  quantity(depth, FieldId::size_depth);
  if (const auto amount = visit.amount(FieldId::size_length)) notes[length_cm] = amount->text();
  if (const auto amount = visit.amount(FieldId::size_width)) notes[width_cm] = amount->text();
  word(method, FieldId::size_method);
  word(device, FieldId::size_device);
  text(measured_at, FieldId::size_measuredAt);
  text(resolved, FieldId::wound_resolved);
  text(birth_year, FieldId::patient_birthYear);
  word(sex, FieldId::patient_sex);
  notes[patient].append(record.text(FieldId::patient_system)).append(1, between).append(patient_id);
  notes[wound].append(record.text(FieldId::wound_system)).append(1, between).append(wound_id);
  if (record.text(FieldId::patient_system).empty()) notes[patient].insert(0, notes[source]);
  if (record.text(FieldId::wound_system).empty()) notes[wound].insert(0, notes[source]);

  body.clear();
  for (const auto& note : notes) append_text(note, body);
  key = "v";
  key.append(notes[patient]).append(1, '\x1e').append(notes[wound]).append(1, '\x1e');
  append_number(ordered(moment(*at)), key);
  append_text(key, out);
  append_text(body, out);
  // A key that is meant to be the only one of its kind must not turn up with another patient.
  if (static_cast<long long>(wound_id.size()) >= book.whole(Limit::unique_key_length)) {
    key = "w";
    key.append(notes[wound]).append(1, '\x1e');
    append_text(key, out);
    append_text(body, out);
  }
}

namespace {

// Notes of a visit, with the bytes that they stand in.
struct Noted {
  std::shared_ptr<const std::string> bytes;
  std::array<std::string_view, note_count> notes{};
  std::uint64_t order = 0;  // of input
  std::optional<Time> begins, ends;
  std::string_view operator[](Note note) const { return notes[note]; }
};

Noted noted(std::string_view entry, std::uint64_t order) {
  Noted visit;
  visit.bytes = std::make_shared<const std::string>(entry);
  std::string_view body = *visit.bytes;
  for (auto& note : visit.notes) note = take_text(body);
  visit.order = order;
  visit.begins = time_of(visit[start]);
  visit.ends = visit[end].empty() ? std::nullopt : time_of(visit[end]);
  return visit;
}

// Looks at the visits of one wound in order.
class Wound {
 public:
  Wound(const RuleBook& book, const HistoryOptions& options, record::Findings& findings)
      : book_(book), options_(options), findings_(findings) {}

  void look(const std::vector<Noted>& visits) {
    for (const auto& visit : visits) {
      visit_ = &visit;
      begin(visit);
      overlaps();
      closed();
      people();
      place();
      backwards();
      uncharted();
      packing();
      counts();
      sizes();
      previous_ = visit;
      has_previous_ = true;
    }
  }

  void begin(const Noted& visit) {
    std::uint32_t line_number = 0;
    std::from_chars(visit[line].data(), visit[line].data() + visit[line].size(), line_number);
    findings_.begin(visit[file], visit[record_key], {}, line_number);
  }
  void report(FindingId id, std::string_view path, std::initializer_list<std::string_view> values) {
    findings_.report(id, path, line_known() ? 0 : record::Findings::no_place, values);
  }

 private:
  bool line_known() const { return (*visit_)[line] != "0"; }
  std::string_view now(Note note) const { return (*visit_)[note]; }

  // The visit that last said something, by what it was.
  struct Last {
    std::string text, record;
  };

  void overlaps() {
    if (!has_previous_ || !previous_.begins->has_clock() || !visit_->begins->has_clock()) return;
    const auto& until = previous_.ends && previous_.ends->has_clock() ? *previous_.ends : *previous_.begins;
    const bool same_moment = moment(*previous_.begins) == moment(*visit_->begins);
    if (!same_moment && moment(*visit_->begins) >= moment(until)) return;
    report(FindingId::visit_overlaps, "performed.start", {now(start), until.text, previous_[record_key]});
  }

  void closed() {
    if (!resolved_.text.empty() && now(resolved).empty()) {
      const auto when = time_of(resolved_.text);
      if (when && compare(*visit_->begins, *when) == std::partial_ordering::greater) {
        report(FindingId::charted_after_closed, "performed.start",
               {now(start), resolved_.text, resolved_.record});
      }
    }
    keep(resolved_, resolved);
  }

  void people() {
    for (const auto& [note, kept, path] :
         {std::tuple(birth_year, &birth_year_, "patient.birthYear"), std::tuple(sex, &sex_, "patient.sex")}) {
      if (!kept->text.empty() && !now(note).empty() && kept->text != now(note)) {
        report(FindingId::two_people, path, {note == sex ? "the sex" : "the year of birth", kept->record});
      }
      keep(*kept, note);
    }
  }

  void place() {
    for (const auto& [note, kept, id, path] :
         {std::tuple(site, &site_, FindingId::site_changed, "wound.site"),
          std::tuple(side, &side_, FindingId::side_changed, "wound.side")}) {
      if (!kept->text.empty() && !now(note).empty() && kept->text != now(note))
        report(id, path, {now(note), kept->text, kept->record});
      keep(*kept, note);
    }
  }

  void backwards() {
    const auto* domain = book_.domain(FieldId::wound_stage);
    const int rank = book_.place(WordSet::stage_order, domain->find(now(stage)));
    if (rank == 0) return;
    if (rank < stage_rank_)
      report(FindingId::stage_backwards, "wound.stage", {now(stage), stage_.text, stage_.record});
    if (rank >= stage_rank_) {
      stage_rank_ = rank;
      keep(stage_, stage);
    }
  }

  // The label on the dressing that came off must be that of the last charted change.
  void uncharted() {
    if (change_) {
      const auto tolerance = book_.whole(Limit::change_tolerance) * 60;
      const auto& last_end = change_->ends ? *change_->ends : *change_->begins;
      const auto& last_begin = *change_->begins;
      const auto date = now(old_label).empty() ? std::nullopt : time_of(now(old_label));
      const auto applied = now(applied_at).empty() ? std::nullopt : time_of(now(applied_at));
      std::string said;
      bool differs = false;
      if (date && date->precision == TimePrecision::day) {
        said = now(old_label);
        const bool by_clock =
            is_clocktime(now(old_label_clock)) && last_begin.has_clock() && last_end.has_clock();
        if (!now(old_label_clock).empty()) said.append(" ").append(now(old_label_clock));
        if (by_clock) {
          const auto clock = now(old_label_clock);
          const std::int64_t moment_said = days_since_epoch(*date) * 86400 + (clock[0] - '0') * 36000 +
                                           (clock[1] - '0') * 3600 + (clock[3] - '0') * 600 +
                                           (clock[4] - '0') * 60;
          differs = moment_said < wall(last_begin) - tolerance || moment_said > wall(last_end) + tolerance;
        } else if (last_begin.precision >= TimePrecision::day) {
          differs = days_since_epoch(*date) < days_since_epoch(last_begin) ||
                    days_since_epoch(*date) > days_since_epoch(last_end);
        }
        if (differs && std::string(now(old_label)) == change_label_ &&
            now(old_label_clock) == change_label_clock_)
          differs = false;
      } else if (applied && applied->precision >= TimePrecision::day) {
        said = now(applied_at);
        if (applied->has_clock() && last_begin.has_clock()) {
          differs = moment(*applied) < moment(last_begin) - tolerance ||
                    moment(*applied) > moment(last_end) + tolerance;
        } else {
          differs = days_since_epoch(*applied) < days_since_epoch(last_begin) ||
                    days_since_epoch(*applied) > days_since_epoch(last_end);
        }
      }
      if (differs)
        report(FindingId::change_uncharted, "removed.label",
               {said, (*change_)[start], (*change_)[record_key]});
    }
    if (!now(dressed).empty()) {
      change_ = *visit_;
      change_label_ = now(label);
      change_label_clock_ = now(label_clock);
    }
  }

  void packing() {
    const auto removed = count_of(now(packing_removed));
    const auto placed = count_of(now(packing_placed));
    if (removed && packing_) {
      const auto id = *removed < *packing_ ? FindingId::packing_fewer : FindingId::packing_more;
      if (*removed != *packing_)
        report(id, "removed.packing", {now(packing_removed), std::to_string(*packing_), packing_record_});
    }
    if (placed) {
      packing_ = placed;
      packing_record_ = now(record_key);
    } else if (removed) {
      packing_ = packing_ ? std::max<long long>(0, *packing_ - *removed) : 0;
      packing_record_ = now(record_key);
    }
  }

  void counts() {
    std::string_view rest = now(closures);
    while (!rest.empty()) {
      const auto entry = rest.substr(0, rest.find(';'));
      rest.remove_prefix(std::min(entry.size() + 1, rest.size()));
      const auto first = entry.find(',');
      const auto second = entry.find(',', first + 1);
      const auto name = entry.substr(0, first);
      const long long present = count_of(entry.substr(first + 1, second - first - 1)).value_or(-1);
      const long long removed = count_of(entry.substr(second + 1)).value_or(-1);
      auto& before = closures_.try_emplace(std::string(name), -1, std::string()).first->second;
      if (before.first >= 0) {
        const auto was = std::to_string(before.first);
        const long long out = std::max<long long>(0, removed);
        const auto* domain = book_.domain(FieldId::closure_method);
        if (removed > before.first) {
          report(FindingId::closure_more_removed, "closure",
                 {std::to_string(removed), name, was, before.second});
        } else if (present >= 0 && (present + out < before.first ||
                                    (present + out > before.first &&
                                     book_.in(WordSet::counted_closures, domain->find(name))))) {
          report(FindingId::closure_unexplained, "closure",
                 {name, std::to_string(present), std::to_string(out), was, before.second});
        }
      }
      if (present >= 0) before = {present, std::string(now(record_key))};
    }
  }

  void sizes() {
    if (now(length).empty() || now(width).empty()) return;
    // A size that was measured before this visit and carried along says nothing new.
    if (!now(measured_at).empty() && has_previous_) {
      const auto measured = time_of(now(measured_at));
      if (measured && compare(*measured, *visit_->begins) == std::partial_ordering::less) return;
    }
    for (const auto& [note, kept, path] :
         {std::tuple(method, &method_, "size.method"), std::tuple(device, &device_, "size.device")}) {
      if (!kept->text.empty() && !now(note).empty() && kept->text != now(note)) {
        report(FindingId::size_method_changed, path,
               {note == method ? "the method" : "the device", now(note), kept->text, kept->record});
      }
    }
    const std::string same =
        std::string(now(length)) + between + std::string(now(width)) + between + std::string(now(depth));
    if (same == copied_) {
      ++copies_;
      if (copies_ == book_.whole(Limit::copied_records))
        report(FindingId::size_copied, "size", {std::to_string(copies_), copied_from_});
    } else {
      copied_ = same;
      copies_ = 1;
      copied_from_ = now(record_key);
    }
    if (!now(length_cm).empty() && !now(width_cm).empty()) {
      const SizeAt size{ExactDecimal(Decimal(now(length_cm))), ExactDecimal(Decimal(now(width_cm))),
                        moment(*visit_->begins)};
      if (size_) compare_sizes(*size_, size);
      if (options_.derive && size_) derive(*size_, size);
      size_ = size;
      size_record_ = now(record_key);
    }
    keep(method_, method);
    keep(device_, device);
  }

  void compare_sizes(const SizeAt& before, const SizeAt& after) {
    const long long hours = (after.seconds - before.seconds) / 3600;
    if (ExactDecimal::from_integer(hours).compare(book_.limit(Limit::jump_within)) > 0) return;
    const auto was = rectangle_area(before.length, before.width);
    const auto is = rectangle_area(after.length, after.width);
    if (was.sign() <= 0) return;
    const auto gap = is.compare(was) > 0 ? is - was : was - is;
    if ((gap * ExactDecimal::from_integer(100)).compare(was * book_.limit(Limit::jump_percent)) <= 0) return;
    report(FindingId::size_jump, "size", {was.text(), is.text(), std::to_string(hours), size_record_});
  }

  void derive(const SizeAt& before, const SizeAt& after) {
    const auto refuse = [&](std::string_view what, std::string_view why) {
      report(FindingId::not_derived, "size", {what, why});
    };
    if (!method_.text.empty() && !now(method).empty() && method_.text != now(method)) {
      return refuse("the change in area", "the two sizes were measured in different ways");
    }
    const auto was = rectangle_area(before.length, before.width);
    const auto is = rectangle_area(after.length, after.width);
    const std::string inputs = was.text() + " and " + is.text() + " cm2 by rectangle, record " + size_record_;
    if (const auto percent = percent_area_reduction(was, is, 1)) {
      report(FindingId::derived, "size",
             {"percent area reduction", *percent + " %", "(A0 - At) / A0 x 100 of " + inputs});
    } else {
      refuse("the percent area reduction", percent.error().message);
    }
    if (const auto rate = linear_rate_per_week(before, after, 4)) {
      report(
          FindingId::derived, "size",
          {"linear rate, an estimate", *rate + " cm/week",
           "(A0 - At) / mean perimeter / weeks, areas and perimeters of ellipses; record " + size_record_});
    } else {
      refuse("the linear rate", rate.error().message);
    }
  }

  void keep(Last& last, Note note) const {
    if (now(note).empty()) return;
    last.text = now(note);
    last.record = now(record_key);
  }

  const RuleBook& book_;
  const HistoryOptions& options_;
  record::Findings& findings_;
  const Noted* visit_ = nullptr;
  Noted previous_;
  bool has_previous_ = false;
  Last resolved_, birth_year_, sex_, site_, side_, stage_, method_, device_;
  int stage_rank_ = 0;
  std::optional<Noted> change_;
  std::string change_label_, change_label_clock_;
  std::optional<long long> packing_;
  std::string packing_record_;
  std::map<std::string, std::pair<long long, std::string>> closures_;  // in place, record
  std::string copied_, copied_from_;
  long long copies_ = 0;
  std::optional<SizeAt> size_;
  std::string size_record_;
};

}  // namespace

struct History::State {
  State(const RuleBook& made_from, const HistoryOptions& asked)
      : book(made_from), options(asked), notes(asked.memory) {
    findings.set_grades(book.grades());
  }

  const RuleBook& book;
  HistoryOptions options;
  ExternalSort notes;
  std::uint64_t order = 0;
  std::string key;
  record::Findings findings;

  // The wound in hand. Of a wound with very many visits a window is looked at at a time: versions of a record
  // that lie in two windows are not told apart.
  std::string group;  // the key's part without time
  std::vector<Noted> visits;
  std::size_t visits_bytes = 0;
  std::optional<Wound> wound_rules;
  // The patient in hand: where, when and how large, and the wound and record that said so first.
  std::string patient_group;
  static constexpr std::size_t most_places = 100'000;
  static constexpr std::size_t least_window = std::size_t{1} << 20;
  std::unordered_map<std::string, std::pair<std::string, std::string>> places;
  std::set<std::pair<std::string, std::string>> paired;
  // The wound key in hand that is meant to be the only one.
  std::string unique_group, unique_patient, unique_record;

  void end_window() {
    if (visits.empty()) return;
    if (!wound_rules) wound_rules.emplace(book, options, findings);
    drop_old_versions();
    wound_rules->look(visits);
    same_places();
    visits.clear();
    visits_bytes = 0;
  }

  void end_wound() {
    end_window();
    wound_rules.reset();
  }

  // Of one record's versions the last one counts, and none when that is entered in error.
  void drop_old_versions() {
    std::unordered_map<std::string, std::size_t> last;
    std::vector<bool> dropped(visits.size(), false);
    for (std::size_t i = 0; i < visits.size(); ++i) {
      const auto [found, is_new] =
          last.try_emplace(std::string(visits[i][source]) + between + std::string(visits[i][record_key]), i);
      if (!is_new) {
        const bool later = visits[i].order > visits[found->second].order;
        const std::size_t older = later ? found->second : i;
        const std::size_t newer = later ? i : found->second;
        if (visits[newer][status].empty() && visits[older][status] != "in-error") {
          wound_rules->begin(visits[newer]);
          findings.report(FindingId::record_twice, "id", 0,
                          {std::string(visits[older][file]) + ":" + std::string(visits[older][line])});
        }
        dropped[older] = true;
        found->second = newer;
      }
    }
    std::size_t kept = 0;
    for (std::size_t i = 0; i < visits.size(); ++i) {
      if (dropped[i] || visits[i][status] == "in-error") continue;
      if (kept != i) visits[kept] = std::move(visits[i]);
      ++kept;
    }
    visits.resize(kept);
  }

  void same_places() {
    if (places.size() > most_places) places.clear();
    for (const auto& visit : visits) {
      if (visit[site].empty() || visit[length].empty() || visit[width].empty()) continue;
      std::string where;
      for (const auto note : {site, side, length, width}) where.append(visit[note]).append(1, between);
      where += visit[start].substr(0, 10);
      const auto [found, is_new] =
          places.try_emplace(where, std::string(visit[wound]), std::string(visit[record_key]));
      if (is_new || found->second.first == visit[wound]) continue;
      if (!paired.emplace(found->second.first, std::string(visit[wound])).second) continue;
      wound_rules->begin(visit);
      findings.report(FindingId::charted_twice, "wound.id", 0, {found->second.second});
    }
  }

  void take(const SortedEntry& entry, const std::function<void(std::vector<record::Finding>)>& tell) {
    std::uint64_t at = 0;
    for (const char c : entry.key.substr(entry.key.size() - 8)) at = at << 8 | static_cast<unsigned char>(c);
    if (entry.key.front() == 'w') {
      end_wound();
      take_unique(entry.key.substr(0, entry.key.size() - 8), noted(entry.body, at));
    } else {
      const auto wound_key = entry.key.substr(0, entry.key.size() - 16);
      if (wound_key != group) {
        end_wound();
        group = wound_key;
        const auto patient_key = wound_key.substr(0, wound_key.find('\x1e'));
        if (patient_key != patient_group) {
          patient_group = patient_key;
          places.clear();
          paired.clear();
        }
      }
      visits.push_back(noted(entry.body, at));
      visits_bytes += entry.body.size() + sizeof(Noted);
      if (visits_bytes > std::max(options.memory / 4, least_window)) end_window();
    }
    if (!findings.all().empty()) tell(findings.take());
  }

  void take_unique(std::string_view unique_key, const Noted& visit) {
    if (visit[status] == "in-error") return;
    if (unique_key != unique_group) {
      unique_group = unique_key;
      unique_patient = visit[patient];
      unique_record = visit[record_key];
    } else if (visit[patient] != unique_patient) {
      Wound(book, options, findings).begin(visit);
      findings.report(FindingId::two_patients, "wound.id", 0, {unique_record});
      unique_patient = visit[patient];
      unique_record = visit[record_key];
    }
  }
};

History::History(const RuleBook& book, const HistoryOptions& options)
    : state_(std::make_unique<State>(book, options)) {}
History::~History() = default;

Outcome History::add(std::string_view notes) {
  while (!notes.empty()) {
    state_->key = take_text(notes);
    append_number(state_->order, state_->key);
    const auto body = take_text(notes);
    // Both notes of a record have its place in the input.
    if (state_->key.front() == 'v') ++state_->order;
    if (auto added = state_->notes.add(state_->key, body); !added) return added;
  }
  return std::monostate{};
}

Outcome History::finish(const std::function<void(std::vector<record::Finding>)>& tell) {
  auto done = state_->notes.drain([&](const SortedEntry& entry) { state_->take(entry, tell); });
  state_->end_wound();
  if (!state_->findings.all().empty()) tell(state_->findings.take());
  return done;
}

std::size_t History::spills() const {
  return state_->notes.spills();
}

}  // namespace charpie::rules
