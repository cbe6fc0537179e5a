// compare() sees every single change, and names its place.
#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "record/generate.hpp"

using namespace charpie;
using tests::read;

namespace {

class Paths final : public record::DifferenceSink {
 public:
  void differ(std::string_view path, const record::Value*, const record::Value*) override {
    paths.emplace_back(path);
  }
  std::vector<std::string> paths;
};

// All values of a record, with their paths.
void gather(const record::Field& shape, record::Value& value, const std::string& path,
            std::vector<std::pair<std::string, record::Value*>>& all) {
  all.emplace_back(path, &value);
  if (value.form == record::Form::list) {
    for (std::uint32_t i = 0; i < value.count; ++i) {
      gather(shape, *value.children[i], path + "[" + std::to_string(i) + "]", all);
    }
  } else if (value.form == record::Form::group) {
    for (auto id = shape.first_member; id != record::FieldId::visit; id = record::field(id).next_sibling) {
      const auto& inner = record::field(id);
      if (record::Value* member = value.children[inner.slot]) {
        gather(inner, *member, path + (path.empty() ? "" : ".") + std::string(inner.name), all);
      }
    }
  }
}

std::string differences(std::string_view a, std::string_view b) {
  const auto left = read(a), right = read(b);
  Paths sink;
  const auto count = record::compare(left.record, right.record, &sink);
  REQUIRE(count == sink.paths.size());
  REQUIRE(record::compare(right.record, left.record, nullptr) == count);
  std::string text;
  for (const auto& path : sink.paths) text += (text.empty() ? "" : " ") + path;
  return text;
}

}  // namespace

TEST_CASE("each value of generated records, changed alone, is found at its place") {
  tests::Generator generator(11);
  std::size_t changes = 0;
  for (int round = 0; round < 40; ++round) {
    const std::string text = generator.wild(50);
    const auto before = read(text), after = read(text);
    std::vector<std::pair<std::string, record::Value*>> values;
    gather(record::field(record::FieldId::visit), *after.record.root, "", values);
    for (const auto& place : values) {
      const std::string& path = place.first;
      record::Value* const value = place.second;
      if (path.empty()) continue;
      CAPTURE(path);
      const record::Value kept = *value;
      const auto found = [&](const char* what) {
        CAPTURE(what);
        Paths sink;
        CHECK(record::compare(before.record, after.record, &sink) == 1);
        REQUIRE(sink.paths.size() == 1);
        CHECK(sink.paths[0] == path);
        *value = kept;
        ++changes;
      };
      // Another form: nothing is what it was.
      value->form = kept.form == record::Form::absent ? record::Form::none : record::Form::absent;
      value->text = "masked and more";
      value->count = 0;
      found("form");
      if (kept.form == record::Form::absent) {
        value->text = kept.text == "error" ? "unknown" : "error";
        found("reason");
      }
      if (kept.form != record::Form::leaf) continue;
      record::Code code{};
      record::Quantity quantity{};
      if (kept.code != nullptr) {
        value->code = &code;
        const auto differs = [&](auto change, const char* what) {
          code = *kept.code;
          change(code);
          value->code = &code;
          found(what);
        };
        differs([](auto& c) { c.word = "another"; }, "word");
        differs([](auto& c) { c.text = "another"; }, "text");
        differs([](auto& c) { c.foreign.system = "urn:another"; }, "system");
        differs([](auto& c) { c.foreign.code = "another"; }, "code");
        differs([](auto& c) { c.foreign.display = "another"; }, "display");
        record::Coding more[3] = {{"urn:a", "1", ""}, {"urn:a", "2", ""}, {"urn:a", "3", ""}};
        differs([&](auto& c) { c.also = more, c.also_count = c.also_count == 1 ? 2 : 1; },
                "number of further codings");
        if (kept.code->also_count > 0) {
          record::Coding changed[2] = {kept.code->also[0], kept.code->also[kept.code->also_count - 1]};
          changed[kept.code->also_count - 1].display = "another";
          differs([&](auto& c) { c.also = changed; }, "last further coding");
        }
      } else if (kept.quantity != nullptr) {
        const auto differs = [&](auto change, const char* what) {
          quantity = *kept.quantity;
          change(quantity);
          value->quantity = &quantity;
          found(what);
        };
        differs([](auto& q) { q.value = "77.70"; }, "value");
        differs([](auto& q) { q.unit = "km"; }, "unit");
        differs([](auto& q) { q.comparator = q.comparator == "<" ? "" : "<"; }, "comparator");
        differs([](auto& q) { q.estimated = q.estimated == "true" ? "false" : "true"; }, "estimated");
      } else {
        value->text = "another";
        found("text");
        value->kind = record::Kind::coding;
        found("kind");
      }
    }
  }
  CHECK(changes > 10000);
}

TEST_CASE("differences are told by token") {
  const auto visit = [](std::string_view size) {
    return R"({"format":"wound-visit/1","size":{"length":)" + std::string(size) + "}}";
  };
  CHECK(differences(visit(R"({"value":4.0,"unit":"cm"})"), visit(R"({"unit":"cm","value":4.0})")) == "");
  CHECK(differences(visit(R"({"value":4.0,"unit":"cm"})"), visit(R"({"value":4.00,"unit":"cm"})")) ==
        "size.length");
  CHECK(differences(visit(R"({"value":40,"unit":"mm"})"), visit(R"({"value":4.0,"unit":"cm"})")) ==
        "size.length");
  CHECK(differences(visit(R"({"value":1e2,"unit":"mm"})"), visit(R"({"value":1E2,"unit":"mm"})")) ==
        "size.length");
  // UCUM gives an annotation no meaning (6); to a record it is part of what was charted.
  CHECK(differences(visit(R"({"value":4,"unit":"cm{axis}"})"), visit(R"({"value":4,"unit":"cm"})")) ==
        "size.length");
  CHECK(differences(visit(R"({"value":4,"unit":"cm{axis}"})"), visit(R"({"value":4,"unit":"cm{edge}"})")) ==
        "size.length");
}

TEST_CASE("a list that grew, shrank or turned round") {
  const auto visit = [](std::string_view spaces) {
    return R"({"format":"wound-visit/1","spaces":)" + std::string(spaces) + "}";
  };
  const auto one = R"([{"kind":"tunnel","from":3}])";
  const auto two = R"([{"kind":"tunnel","from":3},{"kind":"undermining","from":9}])";
  const auto turned = R"([{"kind":"undermining","from":9},{"kind":"tunnel","from":3}])";
  CHECK(differences(visit(one), visit(two)) == "spaces[1]");
  CHECK(differences(visit(two), visit(turned)) ==
        "spaces[0].kind spaces[0].from spaces[1].kind spaces[1].from");
  CHECK(differences(visit(two), visit("\"none\"")) == "spaces");
  CHECK(differences(visit(two), visit(R"({"absent":"unknown"})")) == "spaces");
  CHECK(differences(visit(two), R"({"format":"wound-visit/1"})") == "spaces");
  CHECK(differences(visit("\"none\""), visit(R"({"absent":"unknown"})")) == "spaces");
}
