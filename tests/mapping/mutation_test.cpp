// One thing changed on the way must be seen: every flip, drop or rounding of one place in a written bundle
// gives a finding or another record. None is silently accepted as the same.
#include <doctest/doctest.h>

#include "base/escape.hpp"
#include "mapping/fhir.hpp"

using namespace charpie;
using namespace charpie::tests;
using syntax::Node;
using syntax::NodeKind;

namespace {

struct Change {
  const Node* at = nullptr;
  enum Kind { character, drop, number, flip, swap } kind = character;
  std::uint64_t choice = 0;
};

std::string changed_text(std::string_view text, std::uint64_t choice) {
  std::string changed(text);
  if (changed.empty()) return "x";
  auto& c = changed[choice % changed.size()];
  if (c >= '0' && c <= '9')
    c = static_cast<char>('0' + (c - '0' + 1 + static_cast<int>(choice / 7 % 8)) % 10);
  else if (static_cast<unsigned char>(c) < 0x80)
    c = c == 'q' ? 'w' : 'q';
  else
    changed += 'q';
  return changed;
}

std::string changed_number(std::string_view token, std::uint64_t choice) {
  std::string changed(token);
  switch (choice % 3) {
    case 0:
      return changed.find_first_of(".eE") == std::string::npos
                 ? changed + ".0"
                 : changed_text(token.substr(0, 1), 0) + changed.substr(1);
    case 1:
      if (changed.find('.') != std::string::npos && changed.back() == '0')
        return changed.substr(0, changed.size() - 1) == "0."
                   ? "0"
                   : changed.substr(0, changed.back() == '.' ? changed.size() - 2 : changed.size() - 1);
      return changed + (changed.find('.') != std::string::npos ? "0" : ".5");
    default:
      return changed == "7" ? "8" : "7";
  }
}

void write(const Node& node, const Change& change, std::string& out) {
  const bool here = &node == change.at;
  switch (node.kind) {
    case NodeKind::object:
    case NodeKind::array: {
      std::vector<const Node*> children;
      for (const Node* at = node.first; at != nullptr; at = at->next) {
        if (at == change.at && change.kind == Change::drop) continue;
        children.push_back(at);
      }
      if (here && change.kind == Change::swap && children.size() > 1) {
        const auto i = change.choice % (children.size() - 1);
        std::swap(children[i], children[i + 1]);
      }
      out += node.is_object() ? '{' : '[';
      bool first = true;
      for (const Node* at : children) {
        if (!first) out += ',';
        first = false;
        if (node.is_object()) {
          append_json_string(at->name_text, out);
          out += ':';
        }
        write(*at, change, out);
      }
      out += node.is_object() ? '}' : ']';
      return;
    }
    case NodeKind::string:
      append_json_string(here ? changed_text(node.text, change.choice) : std::string(node.text), out);
      return;
    case NodeKind::number:
      out += here ? changed_number(node.text, change.choice) : std::string(node.text);
      return;
    case NodeKind::boolean:
      out += here ? (node.text == "true" ? "false" : "true") : std::string(node.text);
      return;
    case NodeKind::null:
      out += "null";
      return;
  }
}

void all_nodes(const Node& node, std::vector<const Node*>& into) {
  for (const Node* at = node.first; at != nullptr; at = at->next) {
    into.push_back(at);
    all_nodes(*at, into);
  }
}

// Not changed here: the list of entries as a whole; the resource's id, which a server gives anew by design.
bool of_interest(const Node& node) {
  return node.name_text != "entry" && node.name_text != "resourceType" && node.name_text != "type" &&
         node.name_text != "id";
}

// Lists in which the order has no meaning: components, codings (R4, Observation.component,
// CodeableConcept.coding), entries of a Bundle, extensions; and lists that several lists of the record share.
bool order_matters(const Node& list) {
  return list.name_text != "component" && list.name_text != "coding" && list.name_text != "entry" &&
         list.name_text != "extension" && list.name_text != "usedCode" && list.name_text != "orderDetail";
}

}  // namespace

TEST_CASE("every change of one place in a bundle is seen") {
  std::vector<std::string> records;
  for (auto& one : records_of("samples/visits.ndjson")) records.push_back(std::move(one));
  for (auto& one : hard_cases()) records.push_back(std::move(one));
  Random random(4711);
  const int wanted = long_run() ? 20000 : 500;
  int seen = 0, silent = 0;
  for (int i = 0; i < wanted; ++i) {
    const auto reading = read(records[random.below(records.size())]);
    const mapping::Options options{"identifier", i % 2 == 0 ? "fixed" : "charted",
                                   i % 3 == 0 ? "collection" : "transaction", "https://invented.example/ns"};
    const auto bundle = to_fhir(reading.record, options);
    Arena arena;
    auto tree = syntax::read_json(bundle, arena, loaded().mapping->names());
    REQUIRE(tree);
    std::vector<const Node*> nodes;
    all_nodes(**tree, nodes);
    std::erase_if(nodes, [](const Node* node) { return !of_interest(*node); });
    Change change;
    change.at = nodes[random.below(nodes.size())];
    change.choice = random.below(1u << 20);
    const bool scalar = change.at->first == nullptr;
    const bool drop = !scalar || random.below(3) == 0;
    change.kind = drop ? Change::drop : Change::character;
    if (change.at->is_array() && change.at->count > 1 && order_matters(*change.at) && random.below(2) == 0)
      change.kind = Change::swap;
    std::string changed;
    write(**tree, change, changed);
    if (changed == bundle) continue;
    const auto back = from_fhir(changed, options);
    std::size_t differences = 1;
    if (back.records.size() == 1)
      differences = record::compare(reading.record, back.records.front(), nullptr);
    if (differences == 0 && back.findings.all().empty() && back.broken.empty()) {
      ++silent;
      CAPTURE(reading.record.text(record::FieldId::id));
      CAPTURE(change.at->begin > 60 ? bundle.substr(change.at->begin - 60, 160) : bundle.substr(0, 100));
      CAPTURE(std::string(change.at->name_text));
      CAPTURE(std::string(change.at->text));
      CAPTURE(static_cast<int>(change.kind));
      CHECK(silent == 0);
      if (silent > 5) break;
    } else {
      ++seen;
    }
  }
  MESSAGE("changes seen: " << seen);
  CHECK(silent == 0);
  CHECK(seen >= 450);
}

TEST_CASE("a copy changed alone blocks, a home changed changes the record") {
  const auto reading = read(records_of("samples/visits.ndjson").front());
  const auto bundle = to_fhir(reading.record);
  std::vector<mapping::Lineage> lineage;
  mapping::Writer writer(*loaded().mapping, {});
  std::string traced;
  writer.trace(&lineage);
  writer.write_bundle(reading.record, traced);
  REQUIRE(traced == bundle);
  std::size_t copies = 0, homes = 0;
  std::string last_copy;
  for (const auto& mark : lineage) {
    if (mark.path.empty() || mark.facet == mapping::Facet::precision) continue;
    auto token = bundle.substr(mark.begin, mark.end - mark.begin);
    // One character of the value itself, inside the quotes.
    const auto at = token.find_first_of("0123456789abcdefghijklmnoprstuvxyz");
    if (at == std::string::npos || token == "true" || token == "false") continue;
    std::string changed = bundle;
    changed.replace(
        mark.begin, token.size(),
        token.replace(at, 1, token[at] >= '0' && token[at] <= '9' ? (token[at] == '1' ? "2" : "1") : "q"));
    const auto back = from_fhir(changed);
    CAPTURE(mark.path);
    CAPTURE(mark.begin);
    if (mark.mirror) {
      ++copies;
      if (!back.blocks())
        CHECK_MESSAGE(false, mark.path, " ", static_cast<int>(mark.facet), " ", token, "\n", back.said());
    } else {
      ++homes;
      const bool other =
          back.records.size() != 1 || record::compare(reading.record, back.records.front(), nullptr) > 0;
      if (!other)
        CHECK_MESSAGE(false, mark.path, " ", static_cast<int>(mark.facet), " ", token, "\n", back.said());
    }
  }
  CHECK(copies > 100);
  CHECK(homes > 50);
}
