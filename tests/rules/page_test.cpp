// The page of findings is made from the list, and is not stale. To write it anew: CHARPIE_ACCEPT=1
// test_rules.
#include "rules/page.hpp"

#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>

#include "rules/checking.hpp"

using namespace charpie;
using namespace charpie::tests;

TEST_CASE("mappings/rules/findings.md is the page of today's list") {
  const auto page = rules::findings_page(tests::tables(), book());
  REQUIRE(page);
  const std::string path = "mappings/rules/findings.md";
  if (std::getenv("CHARPIE_ACCEPT") != nullptr) {
    std::ofstream(std::string(CHARPIE_SOURCE_DIR) + "/" + path, std::ios::binary) << *page;
  }
  CHECK(*page == source_file(path));
  for (const auto& kind : record::finding_kinds()) {
    const auto head = "\n## `" + std::string(kind.slug) + "`\n";
    CAPTURE(head);
    const auto at = page->find(head);
    CHECK(at != std::string::npos);
    CHECK(page->find(head, at + 1) == std::string::npos);
  }
}

TEST_CASE("a finding without a reason, or a reason without a finding, is refused") {
  std::string table(*tests::tables().find("rules/reasons.csv"));
  const auto with = [&](std::string_view from, std::string_view to) {
    std::string changed = table;
    changed.replace(changed.find(from), from.size(), to);
    std::vector<TableFile> files = tests::tables().files();
    for (auto& file : files) {
      if (file.path == "rules/reasons.csv") file.text = changed;
    }
    const auto page = rules::findings_page(Tables(files), book());
    return page ? std::string("accepted") : page.error().message;
  };
  CHECK(with("size.jump,", "size.jumps,") == "the row of 'size.jumps' is not understood");
  CHECK(with("size.jump,", "size.copied-forward,") == "the row of 'size.copied-forward' is not understood");
  CHECK(with("signs.seen-together,shown together for the reviewer; no diagnosis follows,", "# ") ==
        "the finding 'signs.seen-together' has no row");
}
