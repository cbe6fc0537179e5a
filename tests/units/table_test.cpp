// The table of atoms against UCUM 2.2's own counts, and what its grammar takes from the table (11: prefixes).
#include <map>
#include <set>

#include "tables.hpp"

namespace charpie::units {

TEST_CASE("the table has the atoms and prefixes of UCUM 2.2") {
  const auto& table = engine().table();
  CHECK(table.atoms().size() == 312);
  CHECK(table.prefixes().size() == 24);
  std::map<std::string, int> counts;
  for (const auto& atom : table.atoms()) {
    counts["base"] += atom.base;
    counts["metric"] += atom.metric;
    counts["special"] += atom.function.kind != SpecialFunction::none;
    counts["special metric"] += atom.function.kind != SpecialFunction::none && atom.metric;
    counts["arbitrary"] += atom.arbitrary;
    counts["arbitrary metric"] += atom.arbitrary && atom.metric;
    counts["pi"] += atom.unit_reduced.factor.pis != 0;
  }
  CHECK(counts["base"] == 7);
  CHECK(counts["metric"] == 96);
  CHECK(counts["special"] == 21);
  CHECK(counts["special metric"] == 10);
  CHECK(counts["arbitrary"] == 41);
  CHECK(counts["arbitrary metric"] == 2);
  CHECK(counts["pi"] == 12);
}

TEST_CASE("every atom is a code; metric atoms take every prefix, others none but four codes of their own") {
  const auto& units = engine();
  std::set<std::string> spelled_otherwise;
  int prefixed = 0, refused = 0;
  for (const auto& atom : units.table().atoms()) {
    CHECK_MESSAGE(units.valid(atom.symbol), atom.symbol);
    for (const auto& prefix : units.table().prefixes()) {
      const auto code = prefix.symbol + atom.symbol;
      if (atom.metric) {
        CHECK_MESSAGE(units.valid(code), code);
        ++prefixed;
      } else if (units.valid(code)) {
        spelled_otherwise.insert(code);
      } else {
        CHECK_MESSAGE(units.validate(code).reason == Reason::prefix_not_allowed, code);
        ++refused;
      }
    }
  }
  CHECK(prefixed == 96 * 24);
  CHECK(refused == 216 * 24 - 4);
  CHECK(spelled_otherwise == std::set<std::string>{"Pa", "Gb", "cd", "ph"});
}

TEST_CASE("no symbol can be read two ways") {
  const auto& table = engine().table();
  std::map<std::string, int> readings;
  for (const auto& atom : table.atoms()) {
    ++readings[atom.symbol];
    CHECK_MESSAGE((atom.symbol.back() < '0' || atom.symbol.back() > '9'), atom.symbol);
    if (!atom.metric) continue;
    for (const auto& prefix : table.prefixes()) ++readings[prefix.symbol + atom.symbol];
  }
  for (const auto& reading : readings) CHECK_MESSAGE(reading.second == 1, reading.first);
  CHECK(readings.size() == 312 + 96 * 24);
}

TEST_CASE("a table that is not understood is refused with its line") {
  auto refused = [](std::string_view atoms) {
    static const std::string prefixes = "symbol,ci,value,name\nk,K,1e3,kilo\n";
    const Tables tables({{"units/atoms.csv", atoms}, {"units/prefixes.csv", prefixes}});
    const auto loaded = Units::load(tables);
    REQUIRE(!loaded);
    CHECK(loaded.error().kind == Error::mapping_broken);
    return loaded.error().message + " at " + std::to_string(loaded.error().line);
  };
  const std::string head =
      "symbol,ci,metric,special,arbitrary,value,unit,letter,kind,name\nm,M,yes,,no,1,,L,length,metre\n";
  CHECK(refused(head + "x,X,no,,no,2,y,,length,x\ny,Y,no,,no,2,x,,length,y\n") ==
        "the definition of x is circular at 3");
  CHECK(refused(head + "x,X,no,,no,2,zz,,length,x\n")
            .starts_with("the defining unit of x: `zz` at 1: no unit of this symbol"));
  CHECK(refused(head + "m,M,no,,no,2,m,,length,m\n") == "the symbol m stands twice at 3");
  CHECK(refused(head + "x,X,no,,no,0,m,,length,x\n") ==
        "the value of x is no decimal that fits 128 bits at 3");
  CHECK(refused(head + "x,X,no,wave 2,no,1,m,,length,x\n") == "unknown special function: wave 2 at 3");
  CHECK(refused(head + "x,X,no,,no,1,,W,length,x\n") == "unknown letter of a dimension: W at 3");
}

}  // namespace charpie::units
