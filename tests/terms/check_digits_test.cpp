// Check digits of LOINC and SNOMED CT, against published codes and against what the two methods promise.
#include <doctest/doctest.h>

#include <string>

#include "terms/terms.hpp"

using charpie::terms::loinc_check_digit;
using charpie::terms::sct_check_digit;

TEST_CASE("LOINC codes that are in wide use pass Mod 10") {
  // LOINC Users' Guide, worked example of the check digit appendix (from memory).
  CHECK(loinc_check_digit("12345-5"));
  // FHIR R4 vital signs profiles (from memory): heart rate, systolic pressure, body weight, body height, BMI.
  for (const auto* code : {"8867-4", "8480-6", "29463-7", "8302-2", "39156-5", "85354-9"}) {
    CAPTURE(code);
    CHECK(loinc_check_digit(code));
  }
  // HL7 Lower Extremity Skin Wound Assessment guide, 2020-06-30.
  for (const auto* code : {"72287-6", "39126-8", "39125-0", "39127-6", "89260-4", "72371-8", "39116-9"}) {
    CAPTURE(code);
    CHECK(loinc_check_digit(code));
  }
  // Answer codes of yes and no in the FHIR R4 packages, and of a pain scale in the Belgian monitoring guide.
  for (const auto* code : {"LA33-6", "LA32-8", "LA6111-4", "LA10137-0", "LA147-1"}) {
    CAPTURE(code);
    CHECK(loinc_check_digit(code));
  }
}

TEST_CASE("LOINC's Mod 10 finds any one wrong digit") {
  const std::string right = "72287-6";
  for (std::size_t at = 0; at < right.size(); ++at) {
    if (right[at] == '-') continue;
    for (char digit = '0'; digit <= '9'; ++digit) {
      std::string changed = right;
      changed[at] = digit;
      CAPTURE(changed);
      CHECK(loinc_check_digit(changed) == (changed == right));
    }
  }
}

TEST_CASE("what is not shaped like a LOINC code fails") {
  for (const auto* code : {"", "-", "6", "-6", "72287", "722876", "72287-", "72287-66", "72287 -6", "a2287-6",
                           "LA-5", "LP33-6", "12345678-2"}) {
    CAPTURE(code);
    CHECK_FALSE(loinc_check_digit(code));
  }
}

TEST_CASE("SNOMED CT identifiers that are in wide use pass Verhoeff") {
  // SNOMED CT root concept, clinical finding, and the attribute "is a" (from memory).
  for (const auto* code : {"138875005", "404684003", "116680003"}) {
    CAPTURE(code);
    CHECK(sct_check_digit(code));
  }
  // HL7 Lower Extremity Skin Wound Assessment guide, 2020-06-30; the last is of the United States extension.
  for (const auto* code : {"447112000", "225541009", "260318004", "51027004", "1411000124109"}) {
    CAPTURE(code);
    CHECK(sct_check_digit(code));
  }
}

TEST_CASE("Verhoeff finds any one wrong digit and any two neighbours swapped") {
  for (const std::string right : {"182531007", "1163220007", "1411000124109"}) {
    for (std::size_t at = 0; at < right.size(); ++at) {
      for (char digit = at == 0 ? '1' : '0'; digit <= '9'; ++digit) {
        std::string changed = right;
        changed[at] = digit;
        CAPTURE(changed);
        CHECK(sct_check_digit(changed) == (changed == right));
      }
    }
    for (std::size_t at = 0; at + 1 < right.size(); ++at) {
      std::string swapped = right;
      std::swap(swapped[at], swapped[at + 1]);
      CAPTURE(swapped);
      CHECK(sct_check_digit(swapped) == (swapped == right));
    }
  }
}

TEST_CASE("what is not shaped like a SNOMED CT identifier fails") {
  // Digits only, 6 to 18 of them, no leading zero. " 401238003" stands with its blank in published C-CDA
  // examples.
  for (const auto* code : {"", "0", "12343", "0138875005", " 401238003", "138875005 ", "13887500a",
                           "-138875005", "013887509", "1388750051388750050", "13882"}) {
    CAPTURE(code);
    CHECK_FALSE(sct_check_digit(code));
  }
}
