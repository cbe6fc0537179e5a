// What charts and interfaces write instead of a code, and what was meant. Common practice, no source, but for
// the look-alikes and the case-insensitive codes (UCUM 2.2, 3.4).
#include <algorithm>
#include <set>

#include "tables.hpp"

namespace charpie::units {

namespace {

struct Slip {
  std::string_view written;
  std::string_view meant;
};

void check_first(const Slip* slips, std::size_t count) {
  for (std::size_t i = 0; i < count; ++i) {
    const auto suggestions = engine().suggest(slips[i].written);
    CHECK_MESSAGE(!suggestions.empty(), slips[i].written);
    if (suggestions.empty()) continue;
    CHECK_MESSAGE(suggestions.front() == slips[i].meant, slips[i].written << ": " << suggestions.front());
    CHECK(suggestions.size() <= 5);
    for (const auto& suggestion : suggestions) CHECK_MESSAGE(engine().valid(suggestion), suggestion);
  }
}

}  // namespace

TEST_CASE("the one right suggestion comes first") {
  const Slip slips[] = {
      {"in", "[in_i]"},     {"inch", "[in_i]"}, {"inches", "[in_i]"}, {"foot", "[ft_i]"},
      {"cc", "mL"},         {"mcg", "ug"},      {"µg", "ug"},         {"μg", "ug"},
      {"sq cm", "cm2"},     {"cm^2", "cm2"},    {"cm²", "cm2"},       {"degC", "Cel"},
      {"°C", "Cel"},        {"degF", "[degF]"}, {"mmHg", "mm[Hg]"},   {"MM[HG]", "mm[Hg]"},
      {"CM", "cm"},         {"KG", "kg"},       {"lb", "[lb_av]"},    {"oz", "[oz_av]"},
      {"hr", "h"},          {"mins", "min"},    {"days", "d"},        {"weeks", "wk"},
      {"months", "mo"},     {"years", "a"},     {"percent", "%"},     {"g/24h", "g/(24.h)"},
      {"2mg", "2.mg"},      {"m*s", "m.s"},     {"IU", "[IU]"},       {"ppm", "[ppm]"},
      {"score", "{score}"}, {"3cm", "3.cm"},    {"Torr", "mm[Hg]"},   {"(m/s)2", "(m2/s2)"},
  };
  check_first(slips, std::size(slips));
  const auto ounces = engine().suggest("oz");
  CHECK(std::find(ounces.begin(), ounces.end(), "[foz_us]") != ounces.end());
}

TEST_CASE("further slips of charts and interfaces") {
  const Slip slips[] = {
      {"Inches", "[in_i]"},
      {"FT.", "[ft_i]"},
      {"cms", "cm"},
      {"centimeters", "cm"},
      {"centimetre", "cm"},
      {"millimeters", "mm"},
      {"MM", "mm"},
      {"cm3.", "cm3"},
      {"sq. cm", "cm2"},
      {"square centimeters", "cm2"},
      {"cm sq", "cm2"},
      {"sq in", "[sin_i]"},
      {"in2", "[sin_i]"},
      {"cu cm", "cm3"},
      {"cm³", "cm3"},
      {"mm²", "mm2"},
      {"ｃｍ", "cm"},
      {"㎝", "cm"},
      {"㎠", "cm2"},
      {"mls", "mL"},
      {"CCs", "mL"},
      {"milliliters", "mL"},
      {"litres", "L"},
      {"mL/hr", "mL/h"},
      {"ml/hour", "ml/h"},
      {"mL per hour", "mL/h"},
      {"CC/HR", "mL/h"},
      {"mL/24hrs", "mL/(24.h)"},
      {"mL/8h", "mL/(8.h)"},
      {"mL/day", "mL/d"},
      {"cm2/week", "cm2/wk"},
      {"cm/wks", "cm/wk"},
      {"per week", "/wk"},
      {"gm", "g"},
      {"gms", "g"},
      {"grams", "g"},
      {"kgs", "kg"},
      {"kilos", "kg"},
      {"lbs", "[lb_av]"},
      {"pounds", "[lb_av]"},
      {"fl oz", "[foz_us]"},
      {"tsp", "[tsp_us]"},
      {"Tbsp", "[tbs_us]"},
      {"gtt", "[drp]"},
      {"drops", "[drp]"},
      {"hrs", "h"},
      {"hours", "h"},
      {"minutes", "min"},
      {"sec", "s"},
      {"seconds", "s"},
      {"wks", "wk"},
      {"yr", "a"},
      {"yrs", "a"},
      {"mos", "mo"},
      {"℃", "Cel"},
      {"℉", "[degF]"},
      {"deg F", "[degF]"},
      {"celsius", "Cel"},
      {"mm Hg", "mm[Hg]"},
      {"MMHG", "mm[Hg]"},
      {"cmH2O", "cm[H2O]"},
      {"cm H₂O", "cm[H2O]"},
      {"psi", "[psi]"},
      {"pct", "%"},
      {"MG/DL", "mg/dL"},
      {"MCG/ML", "ug/mL"},
      {"gm/dl", "g/dl"},
      {"mEq/L", "meq/L"},
      {"MMOL/L", "mmol/L"},
      {"µmol/L", "umol/L"},
      {"UMOL/L", "umol/L"},
      {"IU/mL", "[IU]/mL"},
      {"mIU/L", "m[IU]/L"},
      {"x10^3/uL", "10*3/uL"},
      {"x10⁹/L", "10*9/L"},
      {"10⁹/L", "10*9/L"},
      {"10³/µL", "10*3/uL"},
      {"10e3/uL", "10*3/uL"},
      {"K/uL ", "10*3/uL"},
      {"cells/uL", "{cells}/uL"},
      {"mL/min/1.73m2", "mL/min/{1.73_m2}"},
      {"mg/kg/day", "mg/kg/d"},
      {"mcg/kg/min", "ug/kg/min"},
      {"U/l.", "U/l"},
      {"units", "U"},
      {"CFU/mL", "[CFU]/mL"},
      {"/hpf", "/[HPF]"},
      {"bpm", "{beats}/min"},
      {"staples", "{staples}"},
      {"pieces", "{pieces}"},
      {"Fr", "[Ch]"},
      {"French", "[Ch]"},
      {"cm ", "cm"},
      {" mL", "mL"},
      {"mg·mL⁻¹", "mg.mL-1"},
      {"cm{long axis}", "cm{long_axis}"},
      {"mm^3", "mm3"},
      {"N*m", "N.m"},
      {"kg/m²", "kg/m2"},
      {"mLL", "mL"},
      {"knot", "[kn_i]"},
  };
  CHECK(std::size(slips) >= 60);
  check_first(slips, std::size(slips));
}

// UCUM 2.2, 3.4: the other code set is never read as such, but leads to the code. A word of the trade comes
// before it.
TEST_CASE("every case-insensitive code leads to the case-sensitive one") {
  const std::set<std::string> words = {"FG", "CC", "DA", "FT", "CH", "GAL", "HP", "KGS", "MGS"};
  const auto& units = engine();
  std::set<std::string> words_met;
  std::size_t led = 0;
  auto leads = [&](const std::string& other, const std::string& code) {
    if (units.valid(other)) return;
    const auto suggestions = units.suggest(other);
    // Litre and international unit have two symbols of one meaning, and one case-insensitive code.
    auto means = [&](const std::string& meant) {
      return meant == code ||
             (units.canonical(meant) == units.canonical(code) && converted("1", meant, code) == "1");
    };
    const auto place = std::find_if(suggestions.begin(), suggestions.end(), means) - suggestions.begin();
    CHECK_MESSAGE(place == (words.count(other) > 0 ? 1 : 0), other << " for " << code);
    if (place == 1) words_met.insert(other);
    ++led;
  };
  for (const auto& atom : units.table().atoms()) {
    leads(atom.ci, atom.symbol);
    if (!atom.metric) continue;
    for (const auto& prefix : units.table().prefixes())
      leads(prefix.ci + atom.ci, prefix.symbol + atom.symbol);
  }
  CHECK(led > 2400);
  CHECK(words_met == words);
}

TEST_CASE("every suggestion is a valid code, whatever the text") {
  for (const auto text :
       {"", " ", "???", "wound", "\xff\xfe", "3 x 4 cm", "[", "((((", "a/b/c/d/e", "1.5 mL", "m//s"}) {
    for (const auto& suggestion : engine().suggest(text))
      CHECK_MESSAGE(engine().valid(suggestion), text << suggestion);
  }
  CHECK(engine().suggest("cm").empty());
  CHECK(engine().suggest(std::string(300, 'm')).empty());
}

TEST_CASE("valid but seldom meant") {
  const Slip doubtful[] = {
      {"ML", "mL"},
      {"MG", "mg"},
      {"Mg", "mg"},
      {"mG", "mg"},
      {"ft", "[ft_i]"},
      {"pt", "[pt_us]"},
      {"pH", "[pH]"},
      {"C", "Cel"},
      {"F", "[degF]"},
      {"ML/H", "mL/h"},
      {"H", "h"},
      {"S", "s"},
      {"T", ""},
      {"2.5", ""},
      {"mL/24.h", "mL/(24.h)"},
      {"Cel/min", "K/min"},
      {"mg/ML", "mg/mL"},
      {"1.5.mL", ""},
      {"m0", ""},
      {"m02", ""},
      {"007", ""},
      {"{}", ""},
      {"K/uL", "10*3/uL"},
      {"Mmol/L", "mmol/L"},
      {"m{}", ""},
  };
  for (const auto& slip : doubtful) {
    CHECK_MESSAGE(engine().valid(slip.written), slip.written);
    const auto warnings = engine().warnings(slip.written);
    REQUIRE_MESSAGE(!warnings.empty(), slip.written);
    CHECK_MESSAGE(warnings.front().meant == slip.meant, slip.written);
    CHECK(engine().check(slip.written).warnings.size() == warnings.size());
  }
  for (const auto code : {"cm", "mL", "mg/dL", "mm[Hg]", "mL/(24.h)", "kg.m/s2", "10*3/uL", "%", "Cel",
                          "mCel", "C/kg", "mL/min/{1.73_m2}", "[IU]/mL", "a", "mo", "2.mg", "d", "{score}"}) {
    CHECK_MESSAGE(engine().warnings(code).empty(), code);
  }
}

}  // namespace charpie::units
