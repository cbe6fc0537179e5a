// From any form to any other and on: a generated record written as one form, read, written as a second and
// read again, with real files in between, for every pair of different forms. What comes back differs only in
// what a form said beforehand that it does not hold.
#include <doctest/doctest.h>

#include <array>
#include <deque>

#include "flow/convert.hpp"
#include "flow/input.hpp"
#include "flow/round_trip.hpp"
#include "mapping/document_text.hpp"
#include "mapping/fhir.hpp"
#include "temporary.hpp"

using namespace charpie;
using namespace charpie::flow;
using record::FindingId;
using tests::Coverage;

namespace {

// One record as a form holds it.
struct Held {
  std::vector<std::string> files{};  // a layout of several tables has more than one; none: cannot be written
  std::vector<std::string> told{};   // the fields that this form does not hold as they were
};

// Every form there is, our record first, and ways between all of them.
class Forms {
 public:
  Forms() {
    for (const auto& one : forms()) all_.push_back(&one);
    for (const auto& file : tables_.below("sites/")) {
      if (!file.path.ends_with("/set.json")) continue;
      const auto name = file.path.substr(6, file.path.find('/', 6) - 6);
      sites_.push_back(std::move(*SiteForm::open(std::string(site_prefix).append(name), tables_)));
      all_.push_back(&sites_.back()->form());
    }
    std::vector<Wanted> wanted;
    for (const auto* one : all_) {
      wanted.push_back({one});
      wanted.push_back({one, false});  // written, too
    }
    auto engine = Engine::load(tables_, {}, {}, wanted);
    if (!engine) FAIL(engine.error().message);
    engine_ = std::move(*engine);
    // What the rules find in generated records is no matter here; only what cannot be written stays back.
    const std::string not_written[] = {"form.not-written"};
    batches_.resize(all_.size());
    for (const auto* from : all_) {
      readers_.emplace_back(*engine_, *from, mapping::Options{});
      for (const auto* to : all_) {
        Conversion way;
        way.from = from;
        way.to = to;
        way.let = *rules::Selection::of({}, not_written);
        converters_.emplace_back(*engine_, ways_.emplace_back(way));
      }
    }
  }

  std::size_t size() const { return all_.size(); }
  std::string name(std::size_t form) const { return std::string(all_[form]->name); }

  /// Takes a record as one form holds it to another form.
  Held through(const Held& held, std::size_t from, std::size_t to) {
    Batch batch = cut(held, from);
    converters_[from * size() + to].work(batch);
    Held made;
    for (const auto& one : batch.findings) {
      if (one.id == FindingId::not_carried || one.id == FindingId::not_in_form ||
          one.id == FindingId::start_lost || one.id == FindingId::read_alike)
        made.told.push_back(one.path);
    }
    if (batch.tally.written == 0) return made;
    made.files.push_back(std::move(batch.out));
    if (all_[to]->is_site) made.files = documents(made.files.front(), engine_->mapping(*all_[to]));
    return made;
  }

  /// The record, in memory until the next one is read from that form.
  const record::Record& read(const Held& held, std::size_t form) {
    batches_[form] = cut(held, form);
    const auto records = readers_[form].read(batches_[form].pieces.front(), "chain");
    REQUIRE(records.size() == 1);
    return records.front();
  }

 private:
  Batch cut(const Held& held, std::size_t form) const {
    std::vector<std::string> paths;
    for (const auto& text : held.files) paths.push_back(folder_.write(std::to_string(paths.size()), text));
    Input input(paths, engine_->cut(*all_[form]));
    Batch batch;
    if (auto filled = input.fill(batch); !filled) FAIL(filled.error().message);
    REQUIRE(batch.count == 1);
    return batch;
  }

  static std::vector<std::string> documents(const std::string& lines, const mapping::Mapping& mapping) {
    mapping::DocumentOutput output(mapping);
    std::vector<std::string> files(output.file_count());
    if (auto added = output.add(lines, files); !added) FAIL(added.error().message);
    if (auto ended = output.finish(files); !ended) FAIL(ended.error().message);
    return files;
  }

  Tables tables_{embedded_tables()};
  std::vector<std::unique_ptr<SiteForm>> sites_;
  std::vector<const Form*> all_;
  std::unique_ptr<Engine> engine_;
  std::deque<Conversion> ways_;
  std::deque<Converter> converters_;  // from each to each
  std::deque<PieceReader> readers_;
  std::vector<Batch> batches_;  // that they read last
  TemporaryFolder folder_;
};

constexpr std::size_t record_itself = 0;  // among the forms

// What differs between two records and was not told.
class Untold final : public record::DifferenceSink {
 public:
  explicit Untold(const std::vector<std::string>& told) : told_(&told) {}
  std::string paths;
  void differ(std::string_view path, const record::Value* before, const record::Value* after) override {
    const bool known = std::any_of(told_->begin(), told_->end(), [&](const std::string& field) {
      // A group differs as a whole when the only member that it had, or has now, is told.
      return lies_in(path, field) || ((before == nullptr || after == nullptr) && lies_in(field, path));
    });
    if (!known) paths.append(path).append(" ");
  }

 private:
  const std::vector<std::string>* told_;
};

std::string untold(const record::Record& before, const record::Record& after,
                   const std::vector<std::string>& told) {
  Untold differences(told);
  record::compare(before, after, &differences);
  return differences.paths;
}

// A quarter say everything that there is to say; the others are smaller, and every character set holds their
// texts.
std::vector<std::string> generated(std::size_t count) {
  tests::GeneratorOptions options;
  options.words = tests::real_words;
  tests::Generator everything(20261128, options);
  options.allowed = tests::plain_texts;
  tests::Generator plain(20261129, options);
  auto texts = everything.covering(count / 4);
  texts.resize(count / 4);
  while (texts.size() < count) texts.push_back(plain.wild(texts.size() % 3 == 0 ? 60 : 25));
  return texts;
}

// Whether what Coverage counts says that a field has a value; of a quantity, in which unit: a layout may hold
// inches only, another centimetres.
bool names_field(const std::string& counted) {
  const auto blank = counted.find(' ');
  const auto label = counted.substr(blank + 1);
  const auto* field = record::find_field(counted.substr(0, blank));  // the record itself is none
  return label.starts_with("unit:") || (label == "form:value" && field != nullptr && !field->is_group() &&
                                        field->kind != record::Kind::quantity);
}

}  // namespace

TEST_CASE("a record comes through any two forms with all that both hold") {
  Forms forms;
  const auto texts = generated(tests::long_run() ? 2000 : 32);
  // What came back from one form, and from each pair: fields and the kinds of their values.
  std::vector<Coverage> one(forms.size()), both(forms.size() * forms.size());
  for (const auto& text : texts) {
    const auto& sent = forms.read({{text}}, record_itself);
    CAPTURE(sent.text(record::FieldId::id));
    for (std::size_t first = 1; first < forms.size(); ++first) {
      CAPTURE(forms.name(first));
      const auto there = forms.through({{text}}, record_itself, first);
      if (there.files.empty()) continue;
      const auto& between = forms.read(there, first);
      CHECK(untold(sent, between, there.told) == "");
      one[first].count(between);
      for (std::size_t second = 1; second < forms.size(); ++second) {
        if (second == first) continue;
        CAPTURE(forms.name(second));
        const auto on = forms.through(there, first, second);
        if (on.files.empty()) continue;
        const auto& received = forms.read(on, second);
        CHECK(received.text(record::FieldId::id) == sent.text(record::FieldId::id));
        // What the first form told may have come back without its number: such a record is held back
        // elsewhere, and the second form owes it nothing.
        auto told = there.told;
        told.insert(told.end(), on.told.begin(), on.told.end());
        CHECK(untold(between, received, told) == "");
        CHECK(untold(sent, received, told) == "");
        both[first * forms.size() + second].count(received);
      }
    }
  }
  // No pair was passed over, and in the long run each carries every field, every unit of a quantity, that
  // both of its forms carry.
  for (std::size_t first = 1; first < forms.size(); ++first) {
    for (std::size_t second = 1; second < forms.size(); ++second) {
      if (second == first) continue;
      CAPTURE(forms.name(first));
      CAPTURE(forms.name(second));
      const auto& pair = both[first * forms.size() + second];
      CHECK(pair.records() > texts.size() / 4);
      for (const auto& counted : one[first].counts()) {
        const auto& kind = counted.first;
        if (!tests::long_run() || !names_field(kind) || !one[second].counts().contains(kind)) continue;
        CAPTURE(kind);
        CHECK(pair.counts().contains(kind));
      }
    }
  }
}
