// Forms of primitives, by the regular expressions and words of datatypes.html#primitive (R4 4.0.1, R5 5.0.0).
#include "fhir/forms.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace charpie::fhir;

namespace {

struct Form {
  Primitive type;
  std::string text;
  bool r4, r5;
};

const Form forms[] = {
    {Primitive::id, "a-1.B", true, true},
    {Primitive::id, "a_1", false, false},
    {Primitive::id, std::string(64, 'a'), true, true},
    {Primitive::id, std::string(65, 'a'), false, false},
    {Primitive::code, "entered-in-error", true, true},
    {Primitive::code, "two words", true, true},
    {Primitive::code, "two  words", false, false},
    {Primitive::code, " a", false, false},
    {Primitive::code, "a ", false, false},
    {Primitive::code, "a\tb", true, false},
    {Primitive::date, "2026", true, true},
    {Primitive::date, "2026-03", true, true},
    {Primitive::date, "2026-03-02", true, true},
    {Primitive::date, "2026-3-2", false, false},
    {Primitive::date, "2026-02-30", false, false},
    {Primitive::date, "2024-02-29", true, true},
    {Primitive::date, "0000", false, false},
    {Primitive::date, "2026-13", false, false},
    {Primitive::date, "2026-03-02T10:00:00Z", false, false},
    {Primitive::date, "20260302", false, false},
    {Primitive::date_time, "2026-03-02T13:30:00+01:00", true, true},
    {Primitive::date_time, "2026-03-02T13:30:00.123456Z", true, true},
    {Primitive::date_time, "2026-03-02T13:30:00.1234567890Z", true, false},
    {Primitive::date_time, "2026-03-02T13:30+01:00", false, false},
    {Primitive::date_time, "2026-03-02T13:30:00", false, false},
    {Primitive::date_time, "2026-03-02T24:00:00Z", false, false},
    {Primitive::date_time, "2026-03-02T23:59:60Z", true, true},
    {Primitive::date_time, "2026-03-02T23:59:61Z", false, false},
    {Primitive::date_time, "2026-03-02T10:00:00+14:00", true, true},
    {Primitive::date_time, "2026-03-02T10:00:00+14:01", false, false},
    {Primitive::date_time, "2026-03-02T10:00:00-1:00", false, false},
    {Primitive::date_time, "2026-03-02T10:00:00.Z", false, false},
    {Primitive::date_time, "2026-03T10:00:00Z", false, false},
    {Primitive::date_time, "2026-03-02 10:00:00Z", false, false},
    {Primitive::date_time, "2026-03-02Z", false, true},
    {Primitive::date_time, "2026-03-02+01:00", false, true},
    {Primitive::date_time, "2026-02-30Z", false, false},
    {Primitive::date_time, "Z", false, false},
    {Primitive::instant, "2026-03-02T13:30:00Z", true, true},
    {Primitive::instant, "2026-03-02", false, false},
    {Primitive::instant, "2026", false, false},
    {Primitive::time, "13:30:00", true, true},
    {Primitive::time, "13:30", false, false},
    {Primitive::time, "24:00:00", false, false},
    {Primitive::time, "13:30:00Z", false, false},
    {Primitive::time, "13:60:00", false, false},
    {Primitive::uri, "http://invented.example/a b", false, false},
    {Primitive::uri, "urn:oid:1.2", true, true},
    {Primitive::canonical, "http://invented.example/a|1.0", true, true},
    {Primitive::url, "http://invented.example\n", false, false},
    {Primitive::oid, "urn:oid:2.16.840", true, true},
    {Primitive::oid, "2.16.840", false, false},
    {Primitive::oid, "urn:oid:3.1", false, false},
    {Primitive::oid, "urn:oid:1.01", false, false},
    {Primitive::oid, "urn:oid:1.", false, false},
    {Primitive::oid, "urn:oid:1", false, false},
    {Primitive::oid, "urn:oid:1.0.5", true, true},
    {Primitive::uuid, "urn:uuid:c757873d-ec9a-4326-a141-556f43239520", true, true},
    {Primitive::uuid, "urn:uuid:C757873D-ec9a-4326-a141-556f43239520", false, false},
    {Primitive::uuid, "c757873d-ec9a-4326-a141-556f43239520", false, false},
    {Primitive::base64_binary, "AAAA", true, true},
    {Primitive::base64_binary, "AAA=", true, true},
    {Primitive::base64_binary, "AA==", true, true},
    {Primitive::base64_binary, "A===", false, false},
    {Primitive::base64_binary, "AAA", false, false},
    {Primitive::base64_binary, "AA=A", false, false},
    {Primitive::base64_binary, "AA-_", false, false},
    {Primitive::base64_binary, "AAAA\nAAAA", true, false},
    {Primitive::integer, "-1", true, true},
    {Primitive::integer, "0", true, true},
    {Primitive::integer, "1.0", false, false},
    {Primitive::integer, "1e2", false, false},
    {Primitive::integer, "2147483647", true, true},
    {Primitive::integer, "2147483648", false, false},
    {Primitive::integer, "-2147483648", true, true},
    {Primitive::integer, "-2147483649", false, false},
    {Primitive::integer64, "9223372036854775807", true, true},
    {Primitive::integer64, "9223372036854775808", false, false},
    {Primitive::unsigned_int, "0", true, true},
    {Primitive::unsigned_int, "-1", false, false},
    {Primitive::positive_int, "0", false, false},
    {Primitive::positive_int, "1", true, true},
    {Primitive::decimal, "4.00", true, true},
    {Primitive::decimal, "-4e-3", true, true},
    {Primitive::decimal, "1234567890123456789", true, false},
    {Primitive::decimal, "123456789012345678", true, true},
    {Primitive::decimal, "0.123456789012345678", true, false},
    {Primitive::decimal, "0.12345678901234567", true, true},
    {Primitive::string, "two\nlines", true, true},
    {Primitive::string, std::string("a\x01"), false, false},
    {Primitive::markdown, "* a\n* b", true, true},
};

}  // namespace

TEST_CASE("forms of primitives") {
  for (const auto& form : forms) {
    CAPTURE(form.text);
    CAPTURE(static_cast<int>(form.type));
    CHECK(form_fault(form.type, form.text, Version::r4).empty() == form.r4);
    CHECK(form_fault(form.type, form.text, Version::r5).empty() == form.r5);
  }
}
