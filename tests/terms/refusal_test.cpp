// A broken table is refused, one refusal each, with the file, the line and what to do.
#include <doctest/doctest.h>

#include <optional>
#include <string>
#include <vector>

#include "terms/terms.hpp"

using namespace charpie;
using terms::Terms;

namespace {

// The tables of the program with one file's text in place of its own.
class Changed {
 public:
  Changed(std::string path, std::string text) : text_(std::move(text)) {
    for (const auto& file : embedded_tables()) {
      files_.push_back(file.path == path ? TableFile{file.path, text_} : file);
    }
  }
  Result<Terms> load() const { return Terms::load(Tables(files_)); }

 private:
  std::string text_;
  std::vector<TableFile> files_;
};

const std::string header = "word,display,system,code,standard,direction,status,source\n";

// Refused in that line of codes/odor.csv, with those words in the message and something to do.
void refused(const std::string& rows, std::size_t line, const std::string& words) {
  CAPTURE(rows);
  const auto result = Changed("codes/odor.csv", header + rows).load();
  REQUIRE_FALSE(static_cast<bool>(result));
  CHECK(result.error().kind == Error::mapping_broken);
  CHECK(result.error().file == "codes/odor.csv");
  CHECK(result.error().line == line);
  CHECK_MESSAGE(result.error().message.find(words) != std::string::npos, result.error().message);
  CHECK_FALSE(result.error().mend.empty());
}

void refused_file(const std::string& path, const std::string& text, std::size_t line,
                  const std::string& words) {
  CAPTURE(path);
  const auto result = Changed(path, text).load();
  REQUIRE_FALSE(static_cast<bool>(result));
  CHECK(result.error().kind == Error::mapping_broken);
  CHECK(result.error().file == path);
  CHECK(result.error().line == line);
  CHECK_MESSAGE(result.error().message.find(words) != std::string::npos, result.error().message);
  CHECK_FALSE(result.error().mend.empty());
}

const std::string good = "foul,foul odor,sct,447547000,Offensive wound odor,both,two-sources,guide\n";

}  // namespace

TEST_CASE("a table that keeps the rules is accepted") {
  const auto result = Changed("codes/odor.csv", header + good + "sweet,sweet,,,,both,own,practice\n").load();
  REQUIRE(static_cast<bool>(result));
  CHECK(result->domain("odor")->concepts.size() == 2);
}

TEST_CASE("wrong check digits") {
  refused(good + "sweet,sweet,sct,447547001,x,both,two-sources,guide\n", 3, "Verhoeff");
  refused(good + "sweet,sweet,loinc,72288-5,x,both,two-sources,guide\n", 3, "Mod 10");
  refused("foul,foul odor,sct,447547001,x,in,inactive,guide\nfoul,foul odor,,,,both,own,practice\n", 2,
          "Verhoeff");
}

TEST_CASE("a word twice, or two codes sent for one word") {
  refused("sweet,sweet,,,,both,own,practice\nsweet,sugary,,,,both,own,practice\n", 3, "'sweet' stands twice");
  refused(good + "foul,foul odor,sct,1411000124109,x,both,one-source,guide\n", 3, "'foul' stands twice");
  refused(good + "foul,foul odor,sct,1411000124109,x,out,one-source,guide\n", 3, "first in line 2");
}

TEST_CASE("a word that is only read") {
  refused("none,no odor,sct,1411000124109,x,in,one-source,guide\n", 0, "only rows of direction in");
}

TEST_CASE("one code read as two words") {
  refused(good + "bad,bad,sct,447547000,Offensive wound odor,both,two-sources,guide\n", 3,
          "'foul' and as 'bad'");
  refused(good + "bad,bad,,,,both,own,practice\nbad,bad,sct,447547000,x,in,conflict,guide\n", 4, "447547000");
  const auto broader =
      Changed("codes/odor.csv", header + good + "bad,bad,sct,447547000,x,out,two-sources,guide\n").load();
  CHECK(static_cast<bool>(broader));
}

TEST_CASE("an unknown direction, status or system") {
  refused("foul,foul odor,sct,447547000,x,sideways,two-sources,guide\n", 2, "direction 'sideways'");
  refused("foul,foul odor,sct,447547000,x,both,probably,guide\n", 2, "status 'probably'");
  refused("foul,foul odor,snomed,447547000,x,both,two-sources,guide\n", 2, "system 'snomed'");
}

TEST_CASE("a code sent although its status forbids it") {
  refused("foul,foul odor,sct,447547000,x,both,inactive,guide\n", 2, "'inactive' cannot be sent");
  refused("foul,foul odor,sct,447547000,x,out,conflict,guide\n", 2, "'conflict' cannot be sent");
}

TEST_CASE("a status that does not fit the cells") {
  refused("foul,foul odor,sct,447547000,x,both,own,guide\n", 2, "'own' names a standard code");
  refused("foul,foul odor,,,,both,two-sources,guide\n", 2, "names no standard code");
  refused("foul,foul odor,sct,,,both,two-sources,guide\n", 2, "names no standard code");
  refused("foul,foul odor,,,,in,own,guide\n", 2, "direction both");
}

TEST_CASE("a word that would need quoting") {
  refused("foul odor,foul odor,,,,both,own,practice\n", 2, "'foul odor' is not a plain code");
  refused(",foul odor,,,,both,own,practice\n", 2, "'' is not a plain code");
  refused("-foul,foul odor,,,,both,own,practice\n", 2, "'-foul'");
}

TEST_CASE("a table that is not a table, or lacks a column") {
  refused("foul,foul odor\n", 2, "cells");
  refused_file("codes/odor.csv", "word,display,system,code,standard,direction,status\n", 1,
               "column 'source'");
  refused_file("codes/odor.csv", header + "\"foul", 2, "not closed");
}

TEST_CASE("broken tables of systems and standard codes") {
  const std::string systems = "short,uri,name,version,note,notice\n";
  refused_file("codes/systems.csv", systems + "sct,http://snomed.info/sct,SNOMED CT,,,\n", 0, "'canonical'");
  refused_file("codes/systems.csv",
               systems + "canonical,http://a.example,a,,,\ncanonical,http://b.example,b,,,\n", 3,
               "stands twice");
  refused_file("codes/systems.csv", systems + "canonical,,a,,,\n", 2, "a URI");
  const std::string standards = "system,code,display,use,status,source\n";
  const std::string size = "loinc,72287-6,Wound size panel,panel,two-sources,guide\n";
  refused_file("codes/standard.csv", standards + "loinc,72287-5,Wound size panel,panel,two-sources,guide\n",
               2, "Mod 10");
  refused_file("codes/standard.csv", standards + size + size, 3, "stands twice");
  refused_file("codes/standard.csv", standards + "sct,272519000,Absence findings,value,conflict,guide\n", 2,
               "'conflict' cannot be sent");
  refused_file("codes/standard.csv", standards + "loinc,72287-6,Wound size panel,panel,maybe,guide\n", 2,
               "'maybe'");
  refused_file("codes/standard.csv", standards + "lonic,72287-6,Wound size panel,panel,two-sources,guide\n",
               2, "'lonic'");
}

TEST_CASE("a domain of the dictionary without a table, and a missing file") {
  for (const auto& row :
       {std::pair{"codes/odor.csv", "'odor' of the dictionary"},
        std::pair{"codes/list-none.csv", "'list-none' of the dictionary"},
        std::pair{"codes/systems.csv", "missing"}, std::pair{"codes/standard.csv", "missing"}}) {
    const std::string gone = row.first;
    const std::string words = row.second;
    CAPTURE(gone);
    std::vector<TableFile> files;
    for (const auto& file : embedded_tables()) {
      if (file.path != gone) files.push_back(file);
    }
    const auto result = Terms::load(Tables(files));
    REQUIRE_FALSE(static_cast<bool>(result));
    CHECK(result.error().file == gone);
    CHECK_MESSAGE(result.error().message.find(words) != std::string::npos, result.error().message);
  }
}
