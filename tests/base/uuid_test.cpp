#include "base/uuid.hpp"

#include <doctest/doctest.h>

#include <cstring>
#include <string>

using namespace charpie;

TEST_CASE("version 5 by the published examples") {
  // RFC 9562 appendix A.4.
  CHECK(uuid_text(uuid_v5(uuid_space_dns, "www.example.com")) == "2ed6657d-e927-568b-95e1-2665a8aea6a2");
  // Python's documentation of the module uuid, examples.
  CHECK(uuid_text(uuid_v5(uuid_space_dns, "python.org")) == "886313e1-3b8a-5372-9b90-0c9aee199e5d");
}

TEST_CASE("version 5 agrees with Python's uuid.uuid5") {
  CHECK(uuid_text(uuid_v5(uuid_space_url, "https://wounds.example.org/visit|A-17|2026-03-02")) ==
        "afc8f35b-7e64-516e-96c8-4f11554c915d");
  CHECK(uuid_text(uuid_v5(uuid_space_dns, "")) == "4ebd0208-8328-5d69-8c44-ec50939c0967");
  CHECK(uuid_text(uuid_v5(uuid_space_oid, std::string(55, 'a'))) == "e8dbed83-3646-5e73-9475-eb181e4dd25e");
  CHECK(uuid_text(uuid_v5(uuid_space_x500, "Größe | 3,5 cm")) == "70259b17-646f-5674-b0b6-5b80dd9613dc");
  CHECK(uuid_text(uuid_v5(uuid_space_url, std::string(200, 'x'))) == "cd3580b9-d244-586a-8077-74317319b48d");
  CHECK(uuid_text(uuid_v5(uuid_space_oid, "1.3.6.1")) == "1447fa61-5277-5fef-a9b3-fbc6e44f4af3");
}

TEST_CASE("the text form, both ways") {
  CHECK(uuid_text(uuid_space_url) == "6ba7b811-9dad-11d1-80b4-00c04fd430c8");  // RFC 4122 appendix C
  CHECK(uuid_text(uuid_space_oid) == "6ba7b812-9dad-11d1-80b4-00c04fd430c8");
  CHECK(uuid_text(uuid_space_x500) == "6ba7b814-9dad-11d1-80b4-00c04fd430c8");
  CHECK(parse_uuid("6ba7b810-9dad-11d1-80b4-00c04fd430c8") == uuid_space_dns);
  CHECK(parse_uuid("6BA7B810-9DAD-11D1-80B4-00C04FD430C8") == uuid_space_dns);
  char text[uuid_text_length + 1];
  text[uuid_text_length] = '!';
  write_uuid(uuid_space_dns, text);
  CHECK(std::string_view(text, sizeof text) == "6ba7b810-9dad-11d1-80b4-00c04fd430c8!");
  const char* bad[] = {"",
                       "6ba7b810-9dad-11d1-80b4-00c04fd430c",
                       "6ba7b810-9dad-11d1-80b4-00c04fd430c88",
                       "6ba7b8109dad-11d1-80b4-00c04fd430c8-",
                       "6ba7b810-9dad-11d1-80b4000c04fd430c8",
                       "gba7b810-9dad-11d1-80b4-00c04fd430c8",
                       "{ba7b810-9dad-11d1-80b4-00c04fd430c}",
                       "urn:uuid:6ba7b810-9dad-11d1-80b4-00c"};
  for (const auto* row : bad) {
    CAPTURE(row);
    CHECK_FALSE(parse_uuid(row).has_value());
  }
}
