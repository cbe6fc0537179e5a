// What is a unit code: UCUM 2.2 grammar and worked examples, by section; decisions of ours where it is
// silent.
#include <algorithm>

#include "tables.hpp"
#include "units/tree.hpp"

namespace charpie::units {

namespace {

Reason reason(std::string_view code) {
  return engine().validate(code).reason;
}

std::string tree(std::string_view code) {
  const auto read = read_tree(code, engine().table());
  return read ? sketch(*read) : "no code";
}

}  // namespace

TEST_CASE("codes by the sections of UCUM 2.2") {
  for (const auto code : {"m/s2",
                          "kg.m.s-2",
                          "kg.m/s2",
                          "/m",
                          "m-1",
                          "1/m",
                          "10*-7",
                          "10*23",
                          "10^3/uL",
                          "m+2",  // 7, 8, 9
                          "mg/dL",
                          "10*3/uL",
                          "/min",
                          "mL/min/{1.73_m2}",
                          "ng/kg/(8.h)",
                          "m[H2O]",
                          "mm[Hg]",
                          "[in_i'Hg]",  // 4, 5
                          "m{a}",
                          "{a}",
                          "kg{total}",
                          "/{OIF}",
                          "10*3{RBCs}",
                          "%{vol}",
                          "{#}/uL",
                          "g%",
                          "''",
                          "dar",  // 6
                          "[m/s2/Hz^(1/2)]",
                          "B[10.nV]",
                          "%[slope]",
                          "KiBy",
                          "Tibit",
                          "y[h]",
                          "(m/s)",
                          "2{a}",
                          "(m){a}",
                          "m000002",
                          "007",
                          "m0",
                          "{}",
                          "Cel/min",
                          "mCel",
                          "2.Cel",
                          "l",
                          "L",
                          "1"}) {
    CHECK_MESSAGE(engine().valid(code), code);
  }
}

TEST_CASE("what is no code, why, and where") {
  const struct {
    std::string_view code;
    Reason reason;
    std::size_t position;
  } rows[] = {
      {"", Reason::missing, 0},
      {"3cm", Reason::number_and_unit, 0},
      {"g/24h", Reason::number_and_unit, 2},
      {"1.5mL", Reason::decimal_number, 0},
      {"cmm", Reason::unknown_symbol, 0},
      {"MM", Reason::unknown_symbol, 0},
      {"k[in_i]", Reason::prefix_not_allowed, 0},
      {"kkg", Reason::unknown_symbol, 0},
      {"m^2", Reason::caret, 0},
      {"m*s", Reason::star, 0},
      {"2+10", Reason::exponent_on_number, 0},
      {"10-3", Reason::exponent_on_number, 0},
      {"(m)2", Reason::exponent_on_parentheses, 3},
      {"(m/s)-1", Reason::exponent_on_parentheses, 5},
      {"m10000", Reason::exponent_too_large, 1},
      {"-1", Reason::leading_sign, 0},
      {"0", Reason::zero, 0},
      {"m/00", Reason::zero, 2},
      {"m.", Reason::missing_operand, 2},
      {"m//s", Reason::missing_operand, 2},
      {".m", Reason::missing_operand, 0},
      {"/", Reason::missing_operand, 1},
      {"()", Reason::missing_operand, 1},
      {"m(s)", Reason::missing_operator, 1},
      {"(m)s", Reason::missing_operator, 3},
      {"{a}m", Reason::missing_operator, 3},
      {"m/(/s)", Reason::slash_in_parentheses, 3},
      {"(m.s", Reason::unclosed_parenthesis, 0},
      {"m)", Reason::stray_parenthesis, 1},
      {"[in_i", Reason::unclosed_bracket, 0},
      {"in_i]", Reason::stray_bracket, 4},
      {"m{a", Reason::unclosed_annotation, 1},
      {"m{a{b}}", Reason::unclosed_annotation, 1},
      {"m}", Reason::stray_brace, 1},
      {"m{a}{b}", Reason::two_annotations, 4},
      {" m", Reason::character, 0},
      {"m ", Reason::character, 1},
      {"{a b}", Reason::character, 2},
      {"m[H 2O]", Reason::character, 3},
      {"cm²", Reason::character, 2},
      {"{µ}", Reason::character, 1},
      {"m\n", Reason::character, 1},
      {"Torr", Reason::unknown_symbol, 0},
  };
  for (const auto& row : rows) {
    const auto fault = engine().validate(row.code);
    CHECK_MESSAGE(static_cast<int>(fault.reason) == static_cast<int>(row.reason), row.code);
    CHECK_MESSAGE(fault.position == row.position, row.code);
    CHECK_MESSAGE(fault.position + fault.length <= row.code.size(), row.code);
  }
  CHECK(reason(std::string(255, 'm')) == Reason::unknown_symbol);
  CHECK(reason(std::string(256, 'm')) == Reason::too_long);
  CHECK(reason(std::string(127, '(') + "m" + std::string(127, ')')) == Reason::none);
}

TEST_CASE("reasons in words") {
  auto words = [](std::string_view code) { return describe(engine().validate(code), code); };
  CHECK(words("3cm") == "`3cm` at 1: a number and a unit need a dot: `3.cm`");
  CHECK(words("g/24h") == "`24h` at 3: a number and a unit need a dot: `(24.h)`");
  CHECK(words("cm^2") == "`cm^2` at 1: exponents are written without ^: `cm2`");
  CHECK(words("m//s") == "`/` at 3: a unit is missing here");
  CHECK(words("") == "missing unit: the code is empty");
  CHECK(words("cm²") ==
        "`²` at 3: this character cannot stand in a unit code: only visible ASCII without blanks (UCUM 3.1)");
}

TEST_CASE(
    "how codes are read (7.4: left to right, equal precedence; 7.3: a leading slash binds one component)") {
  CHECK(tree("kg.m/s2") == "(term (mul k-g) (mul m) (div (pow s 2)))");
  CHECK(tree("/a.b") == "(term (div a) (mul b))");
  CHECK(tree("mL/(24.h)") == "(term (mul m-L) (div (term (mul 24) (mul h))))");
  CHECK(tree("mL/24.h") == "(term (mul m-L) (div 24) (mul h))");
  CHECK(tree("10*3{RBCs}/uL") == "(term (mul (pow 10* 3) {RBCs}) (div u-L))");
  CHECK(engine().canonical("/s.m") == "m.s-1");
  CHECK(engine().canonical("m/s.K") == "K.m.s-1");
  CHECK(engine().canonical("m/(s.K)") == "K-1.m.s-1");
  CHECK(engine().canonical("m/(s/K)") == "K.m.s-1");
  CHECK(engine().canonical("m/(s/(K/cd))") == "K.cd-1.m.s-1");
}

TEST_CASE("canonical form, dimension, kind, annotations") {
  const auto& units = engine();
  CHECK(units.canonical("N") == "g.m.s-2");
  CHECK(units.canonical("%") == "1");
  CHECK(units.canonical("[iU]/mL") == "[iU].m-3");
  CHECK(units.canonical("nonsense").empty());
  CHECK(units.dimension("mm[Hg]") == "L-1.M.T-2");
  CHECK(units.dimension("mol") == "1");
  CHECK(units.kind("mm[Hg]") == "pressure");
  CHECK(units.kind("kg/(m.s2)") == "pressure");
  CHECK(units.annotations("10*3{RBCs}/uL{blood}") == "{RBCs}{blood}");
  CHECK(units.measures("[in_i]", "L"));
  CHECK(!units.measures("[in_i]", "L2"));
  CHECK(units.measures("[sin_i]", "L|L2"));
  CHECK(units.measures("mm[Hg]", "pressure"));
  CHECK(units.measures("wk", "T"));
  CHECK(units.measures("[foz_us]", "L3"));
  CHECK(!units.measures("[IU]", "1"));
  CHECK(units.measures("{score}", "1"));
  CHECK(!units.measures("cmm", "L"));
  CHECK(Dimension::named("L-1.M.T-2") == Dimension::named("pressure"));
  CHECK(!Dimension::named("X"));
  CHECK(!Dimension::named("L."));
}

// No arbitrary unit of a long product may be lost: the product would compare with one that lacks it.
TEST_CASE("a code may name every arbitrary unit that fits into it") {
  std::string all, one_less;
  std::size_t named = 0;
  for (const auto& atom : engine().table().atoms()) {
    if (!atom.arbitrary || atom.symbol == "[IU]") continue;  // which is [iU] again
    const auto longer = all + (all.empty() ? "" : ".") + atom.symbol;
    if (longer.size() > 250) continue;
    one_less = all;
    all = longer;
    ++named;
  }
  REQUIRE(named > 20);
  const auto canonical = engine().canonical(all);
  CHECK(std::count(canonical.begin(), canonical.end(), '[') == static_cast<std::ptrdiff_t>(named));
  CHECK(engine().canonical(canonical) == canonical);
  CHECK(engine().commensurable(all, all));
  CHECK(!engine().commensurable(all, one_less));
  CHECK(converted("2", "k" + std::string("m.") + all, "m." + all) == "2000");
  CHECK(converted("2", all, one_less) == "!");
}

TEST_CASE("explained down to base units") {
  const auto explained = engine().explain("[ft_i]");
  REQUIRE(bool(explained));
  CHECK(explained->factor == "0.3048");
  CHECK(explained->kind == "length");
  REQUIRE(explained->steps.size() == 3);
  CHECK(explained->steps[0].definition == "12 [in_i]");
  CHECK(explained->steps[1].definition == "254e-2 cm");
  CHECK(explained->steps[2].definition == "base unit");
  CHECK(engine().explain("deg")->factor == "1/180 × pi");
  CHECK(engine().explain("[Ch]")->factor == "1/3000");
  CHECK(!engine().explain("foot"));
}

}  // namespace charpie::units
