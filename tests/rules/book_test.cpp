// The site's own rows: limits, severities, times; and refusals that name the row.
#include <doctest/doctest.h>

#include "rules/checking.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

Result<rules::RuleBook> site(std::string_view rows) {
  return rules::RuleBook::load(tests::tables(), tests::terms(), tests::units(),
                               "slug,setting,value,unit\n" + std::string(rows), "site.csv");
}

const char* const long_wound =
    R"({"format":"wound-visit/1","id":"V-1","status":"final","source":{"system":"https://invented.example/cases"},
  "patient":{"id":"P-1"},"wound":{"id":"1","type":"open-wound"},
  "performed":{"kind":"assessment","outcome":"completed","start":"2026-03-02T10:00+01:00"},
  "size":{"length":{"value":51,"unit":"cm"},"width":{"value":2,"unit":"cm"}}})";

}  // namespace

TEST_CASE("a site moves a limit, grades a finding, or switches it off") {
  CHECK(checked(long_wound).said() == "size.too-large size.length");

  const auto wider = site("size.too-large,length,700,mm\n");
  REQUIRE(wider);
  CHECK(checked(long_wound, *wider).said() == "");
  const auto narrower = site("size.too-large,length,505,mm\n");
  REQUIRE(narrower);
  const auto reading = checked(long_wound, *narrower);
  REQUIRE(reading.findings.all().size() == 1);
  CHECK(reading.findings.all()[0].message == "51 cm is more than 505 mm");

  const auto graver = site("size.too-large,severity,error,\nsize.too-large,blocks,yes,\n");
  REQUIRE(graver);
  const auto grave = checked(long_wound, *graver);
  REQUIRE(grave.findings.all().size() == 1);
  CHECK(grave.findings.all()[0].severity == record::Severity::error);
  CHECK(grave.findings.all()[0].blocks);
  CHECK(grave.findings.blocked_since(0));

  const auto silent = site("size.too-large,report,no,\n");
  REQUIRE(silent);
  CHECK(checked(long_wound, *silent).said() == "");

  // Findings made elsewhere are graded afterwards, alike.
  auto found = checked(long_wound).findings.take();
  graver->grade(found);
  CHECK(found[0].blocks);
  silent->grade(found);
  CHECK(found.empty());
}

TEST_CASE("a row that is not understood is refused with its line and what to do") {
  struct Refusal {
    std::string_view row, says;
  };
  for (const auto& one :
       {Refusal{"size.to-large,length,50,cm", "perhaps meant: size.too-large"},
        Refusal{"size.too-large,lenght,50,cm", "length"},
        Refusal{"size.too-large,length,fifty,cm", "decimal"},
        Refusal{"size.too-large,length,-1,cm", "below 0"}, Refusal{"size.too-large,length,50,kg", "kg"},
        Refusal{"size.too-large,severity,grave,", "information, warning or error"},
        Refusal{"size.too-large,blocks,perhaps,", "yes or no"},
        Refusal{"due.times,every-shift,7 pm,", "24-hour"},
        Refusal{"due.times,shiftly,07:00,", "no such slot"},
        Refusal{"due.times,severity,error,", "no finding"},
        Refusal{"pain.out-of-scale,faces,many,", "decimal"}}) {
    CAPTURE(std::string(one.row));
    const auto refused = site("size.too-large,length,50,cm\n" + std::string(one.row) + "\n");
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == Error::usage);
    CHECK(refused.error().file == "site.csv");
    CHECK(refused.error().line == 3);
    CHECK((refused.error().message + refused.error().mend).find(one.says) != std::string::npos);
  }
}

TEST_CASE("the tables are proved: a missing limit, set, slot or word is refused") {
  struct Change {
    std::string_view table, from, to, says;
  };
  for (const auto& one :
       {Change{"rules/rules.csv", "size.jump,within,48,h", "# gone,,,",
               "the limit size.jump,within is missing"},
        Change{"rules/words.csv", "left-open,open,", "left-open,opened,", "not a word"},
        Change{"rules/words.csv", "left-open,open,", "", "the set 'left-open' has no word"},
        Change{"rules/words.csv", "left-open,open,", "left-opened,open,", "no rule asks"},
        Change{"rules/slots.csv", "weekly,step,7 d,", "weekly,step,7 weeks,", "not understood"},
        Change{"rules/slots.csv", "weekly,step,7 d,", "", "has no row"},
        Change{"rules/usual_units.csv", "L,mm", "L,mL", "does not measure"}}) {
    CAPTURE(std::string(one.says));
    std::string changed(*tables().find(one.table));
    const auto at = changed.find(one.from);
    REQUIRE(at != std::string::npos);
    changed.replace(at, one.from.size(), one.to);
    std::vector<TableFile> files = tables().files();
    for (auto& file : files) {
      if (file.path == one.table) file.text = changed;
    }
    const Tables other(files);
    const auto refused = rules::RuleBook::load(other, tests::terms(), tests::units());
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == Error::mapping_broken);
    CHECK(refused.error().message.find(one.says) != std::string::npos);
  }
}

TEST_CASE("coins: diameters of the specifications, discs worked out from them") {
  // US Mint, coin specifications; Council Regulation (EC) 975/98, technical specifications. mm.
  struct Coin {
    std::string_view words, diameter;
  };
  for (const auto& [words, diameter] :
       {Coin{"dime", "17.91"}, Coin{"penny", "19.05"}, Coin{"nickel", "21.21"}, Coin{"quarter", "24.26"},
        Coin{"half dollar", "30.61"}, Coin{"dollar coin", "26.49"}, Coin{"1 cent coin", "16.25"},
        Coin{"2 cent coin", "18.75"}, Coin{"10 cent coin", "19.75"}, Coin{"5 cent coin", "21.25"},
        Coin{"20 cent coin", "22.25"}, Coin{"1 euro", "23.25"}, Coin{"50 cent coin", "24.25"},
        Coin{"2 euro", "25.75"}}) {
    const auto* object = book().compared("about the size of a " + std::string(words));
    REQUIRE(object != nullptr);
    CHECK(object->words == words);
    CHECK(object->diameter_mm == diameter);
  }
  CHECK(book().compared("Dime-sized")->thing == "US dime");
  CHECK(book().compared("as big as an orange")->diameter_mm == "");
  CHECK(book().compared("orange at the edges") == nullptr);
  CHECK(book().compared("the size of a dimension") == nullptr);
}
