// Makes wound visit records from the dictionary: invented, seeded, the same on every machine. For tests,
// benches and exports to other judges. Gives canonical text that it writes itself, so that the writer under
// test is not its own measure.
//
//   minimal   the required fields only
//   typical   one realistic visit of about 2.3 kB
//   wild      each field with some probability, in any form that it can take
//   covering  as many records as it takes until every field has said all it can say (coverage.hpp)
#pragma once
#include <algorithm>
#include <initializer_list>
#include <map>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "record/coverage.hpp"
#include "record/random.hpp"
#include "record/reading.hpp"

namespace charpie::tests {

/// A code of a standard system that a foreign coding may use.
struct StandardCoding {
  std::string system, code, display;
};

struct GeneratorOptions {
  /// Words of a domain; by default three invented ones (the real ones for the four that the record itself
  /// reads).
  Words words = {};
  /// What a field may hold; by default everything. Labels are those of coverage.hpp.
  Allowed allowed = {};
  /// Standard codes used half of the time in foreign codings; by default all are invented.
  std::function<std::vector<StandardCoding>(std::string_view domain)> standard = {};
};

/// GeneratorOptions::allowed for records that every character set holds: ASCII, and no words beside codes.
inline bool plain_texts(const record::Field&, std::string_view label) {
  return label == "text:ascii" || label.find("text") == label.npos;
}

/// The words used when nobody supplies any.
inline std::vector<std::string> invented_words(std::string_view domain) {
  if (domain == "record-status") return {"preliminary", "final", "amended", "corrected", "entered-in-error"};
  if (domain == "visit-kind") return {"dressing-change", "assessment", "both"};
  if (domain == "performed-status") return {"completed", "stopped", "not-done"};
  const std::string name(domain.empty() ? "own" : domain);
  return {name + "-one", name + "-two", name + "-three"};
}

class Generator {
 public:
  explicit Generator(std::uint64_t seed, GeneratorOptions options = {})
      : random_(seed), seed_(seed), options_(std::move(options)) {
    if (!options_.words) options_.words = invented_words;
  }

  const Words& words() const { return options_.words; }
  const Allowed& allowed() const { return options_.allowed; }

  std::string minimal() {
    presence_ = 0;
    return visit();
  }

  /// Each field that is not required with `percent`; a record of 35 percent has about 4 kB.
  std::string wild(unsigned percent = 35) {
    presence_ = percent;
    return visit();
  }

  /// At least `least` records that together say everything; throws std::runtime_error naming what never
  /// occurred within 4000. `coverage`, when given, gets the counts.
  std::vector<std::string> covering(std::size_t least, Coverage* coverage = nullptr) {
    std::vector<std::string> records;
    Coverage counted;
    least_used_first_ = true;
    presence_ = 90;
    constexpr std::size_t most = 4000, step = 20;
    while (records.size() < most) {
      records.push_back(visit());
      counted.count(read(records.back()).record);
      if (records.size() >= least && records.size() % step == 0 &&
          counted.missing(words(), allowed()).empty())
        break;
    }
    least_used_first_ = false;
    const auto never = counted.missing(words(), allowed());
    if (!never.empty()) throw std::runtime_error("never generated: " + never.front());
    if (coverage != nullptr) *coverage = std::move(counted);
    return records;
  }

  std::string typical() {
    const auto visit = static_cast<unsigned>(++made_);
    return typical(1 + visit / 20, 1, visit % 20);
  }
  /// The visit of that number (from 0) to a wound of a patient: a surgical wound that heals, charted every
  /// second day.
  std::string typical(unsigned patient, unsigned wound, unsigned visit);

 private:
  using Field = record::Field;
  using FieldId = record::FieldId;
  using Kind = record::Kind;

  // --- choosing
  // --------------------------------------------------------------------------------------------------

  bool may(const Field& field, std::string_view label) {
    return !options_.allowed || options_.allowed(field, label);
  }

  // One of the labels that are allowed, without "unit:" and the like; nothing when none is.
  std::optional<std::string> choose(const Field& field, const std::vector<std::string>& labels) {
    std::vector<const std::string*> open;
    for (const auto& label : labels) {
      if (may(field, label)) open.push_back(&label);
    }
    if (open.empty()) return std::nullopt;
    const std::string* chosen = open[random_.below(open.size())];
    if (least_used_first_) {
      const auto used = [&](const std::string* label) {
        return used_[std::string(field.path) + ' ' + *label];
      };
      for (const auto* label : open) {
        if (used(label) < used(chosen)) chosen = label;
      }
      ++used_[std::string(field.path) + ' ' + *chosen];
    }
    return chosen->substr(chosen->find(':') + 1);
  }

  std::optional<std::string> choose(const Field& field, Kind kind, const std::string& choice) {
    const auto all = choices(field, kind, options_.words);
    const auto labels = all.find(choice);
    return labels == all.end() ? std::nullopt : choose(field, labels->second);
  }

  // --- the record
  // --------------------------------------------------------------------------------------------------

  std::string visit() {
    ++made_;
    outcome_.clear();
    return *group(record::field(FieldId::visit), presence_);
  }

  // Nothing when no member could be made.
  std::optional<std::string> group(const Field& shape, unsigned presence) {
    std::string text;
    for (auto id = shape.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
      const Field& inner = record::field(id);
      const bool needed = inner.occurs == record::Occurs::required || id == FieldId::patient_system ||
                          (id == FieldId::performed_start && outcome_ != "not-done");
      if (!needed && !random_.chance(presence)) continue;
      const auto said = member(inner, needed);
      if (!said) continue;
      text += text.empty() ? "" : ",";
      text.append("\"").append(inner.name).append("\":").append(*said);
    }
    if (!text.empty()) return "{" + text + "}";
    return presence < 100 ? group(shape, 100) : std::nullopt;
  }

  std::optional<std::string> member(const Field& field, bool needed) {
    const auto all = forms(field);
    std::vector<std::string> values, answers;
    for (const auto& form : all) {
      (form.starts_with("form:value") || form.starts_with("form:list") ? values : answers).push_back(form);
    }
    const bool answer = !needed && !answers.empty() && random_.chance(least_used_first_ ? 33 : 15);
    auto form = choose(field, answer ? answers : values);
    if (!form) form = choose(field, answer ? values : answers);
    if (!form) return std::nullopt;
    if (*form == "none") return quoted("none");
    if (form->starts_with("absent-")) return "{\"absent\":" + quoted(form->substr(7)) + "}";
    if (*form == "value") return one(field, field.kind);
    std::string list;
    for (int left = std::stoi(form->substr(5)); left > 0; --left) {
      const auto element = one(field, field.kind);
      if (!element) return std::nullopt;
      list += (list.empty() ? "" : ",") + *element;
    }
    return "[" + list + "]";
  }

  std::optional<std::string> one(const Field& field, Kind kind) {
    switch (kind) {
      case Kind::group:
        return group(field, presence_);
      case Kind::key:
      case Kind::text:
        return text(field);
      case Kind::time:
        return time(field);
      case Kind::clocktime:
        return clocktime(field);
      case Kind::code:
      case Kind::word:
        return code(field, kind);
      case Kind::quantity:
        return quantity(field);
      case Kind::count:
        return count(field);
      case Kind::percent:
      case Kind::decimal: {
        const auto label = choose(field, kind, "number");
        return label ? std::optional(number(*label)) : std::nullopt;
      }
      case Kind::flag:
        return choose(field, kind, "flag");
      case Kind::clock:
        return choose(field, kind, "clock");
      case Kind::coding: {
        const auto label = choose(field, kind, "coding");
        return label ? std::optional(coding(field, label->ends_with("+display"))) : std::nullopt;
      }
      case Kind::any: {
        const auto label = choose(field, Kind::any, "any");
        for (const auto inner : any_kinds) {
          if (label && *label == record::kind_name(inner)) return one(field, inner);
        }
        return std::nullopt;
      }
    }
    return std::nullopt;
  }

  // --- texts
  // -------------------------------------------------------------------------------------------------------

  std::optional<std::string> text(const Field& field) {
    const auto label = choose(field, Kind::text, "text");
    if (!label) return std::nullopt;
    const auto number = std::to_string(random_.below(100000));
    if (field.id == FieldId::format) return quoted("wound-visit/1");
    // Whatever else its key holds, no two records share it.
    if (field.id == FieldId::id) {
      return quoted("v" + std::to_string(seed_) + "-" + std::to_string(made_) + " " + words_of_kind(*label));
    }
    if (field.name == "system")
      return quoted("https://ward" + number + ".example.org/" + std::string(field.path));
    if (field.name == "url") return quoted("https://pictures.example.org/" + number + ".jpg");
    if (field.name == "zone") return quoted(random_.one_of(zones));
    if (field.name == "contentType") return quoted(random_.chance(50) ? "image/jpeg" : "image/png");
    if (field.name == "hash") return quoted(digest());
    return quoted(words_of_kind(*label));
  }

  std::string words_of_kind(std::string_view label) {
    const std::string number = std::to_string(random_.below(1000));
    if (label == "bmp") return "Wundgröße " + number + " × 2 · 傷の大きさ · рана…";
    if (label == "astral") return "𝛼" + number + " 🩹 𐍈";
    if (label == "combining") return "e\u0301tat n\u0303 a\u0308\u0323 " + number;
    if (label == "right-to-left") return "جرح " + number + " פצע";
    if (label == "control") return "first line " + number + "\r\nsecond\tline\nthird";
    if (label == "upper-control") return "one\u0085two " + number + " \u007Fthree\u009F";
    if (label == "edge-of-xml") return "\uD7FF\uE000\uFFFD\U00010000\U0010FFFF" + number;
    if (label == "markup") return "\"" + number + "\" \\ / <b a='1'> & &amp; ]]> | ^ ~ \\F\\ %7C {} $x";
    if (label == "blank-at-end") return "  charted " + number + " ";
    if (label == "long") {
      std::string text;
      while (text.size() < 1200)
        text += "granulating well, edges attached, " + std::to_string(random_.below(1000)) + "; ";
      return text + "end";
    }
    static const std::vector<std::string> plain = {
        "left as found", "moistened before removal", "seen with the family", "as ordered",
        "no change",     "2x2 folded once"};
    return random_.one_of(plain) + " " + number;
  }

  std::string digest() {
    static constexpr std::string_view alphabet =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text;  // 20 bytes in base64: 26 free digits, one of four bits, and the padding
    for (int i = 0; i < 26; ++i) text += alphabet[random_.below(64)];
    text += alphabet[4 * random_.below(16)];
    return text + '=';
  }

  static std::string two(int number) { return (number < 10 ? "0" : "") + std::to_string(number); }

  std::optional<std::string> time(const Field& field) {
    const auto precision = choose(field, Kind::time, "time");
    if (!precision) return std::nullopt;
    std::string text = std::to_string(random_.between(2019, 2027));
    if (*precision == "year") return quoted(text);
    text += "-" + two(random_.between(1, 12));
    if (*precision == "month") return quoted(text);
    text += "-" + two(random_.between(1, 28));
    if (*precision == "day") return quoted(text);
    text += "T" + two(random_.between(0, 23)) + ":" + two(random_.between(0, 59));
    if (*precision == "leap-second") text += ":60";
    if (*precision == "second" || *precision == "fraction") text += ":" + two(random_.between(0, 59));
    if (*precision == "fraction") text += random_.chance(50) ? ".5" : ".250";
    const auto offset = choose(field, Kind::time, "offset");
    if (!offset) return std::nullopt;
    static const std::vector<std::string> east = {"+01:00", "+05:30", "+12:45", "+14:00", "+00:00"};
    static const std::vector<std::string> west = {"-05:00", "-03:30", "-11:00"};
    return quoted(text + (*offset == "east"   ? random_.one_of(east)
                          : *offset == "west" ? random_.one_of(west)
                                              : *offset));
  }

  std::optional<std::string> clocktime(const Field& field) {
    const auto label = choose(field, Kind::clocktime, "clocktime");
    if (!label) return std::nullopt;
    return quoted(*label == "other" ? two(random_.between(1, 22)) + ":" + two(random_.between(0, 59))
                                    : *label);
  }

  // --- numbers
  // -------------------------------------------------------------------------------------------------------

  // All are at most 100, so that they serve percentages too.
  std::string number(std::string_view label) {
    const std::string digit = std::to_string(random_.between(1, 9));
    if (label == "whole") return std::to_string(random_.between(0, 100));
    if (label == "fraction")
      return std::to_string(random_.between(0, 99)) + "." + (random_.chance(50) ? "0" : "") + digit;
    if (label == "trailing-zero")
      return std::to_string(random_.between(0, 99)) + "." + (random_.chance(50) ? digit : "0") + "0";
    if (label == "exponent") {
      static const std::vector<std::string> exponents = {"e1", "E+1", "e-2", "E-1", ".5e0", ".50E+01"};
      return random_.chance(10) ? "1e2" : digit + random_.one_of(exponents);
    }
    if (label == "negative") return "-" + std::to_string(random_.between(0, 9)) + "." + digit;
    if (label == "negative-zero") return random_.chance(50) ? "-0" : "-0.00";
    std::string text = std::to_string(random_.between(10, 99)) + ".";  // 29 digits
    for (int i = 0; i < 27; ++i) text += static_cast<char>('0' + random_.between(0, 9));
    return text;
  }

  std::optional<std::string> count(const Field& field) {
    const auto label = choose(field, Kind::count, "count");
    if (!label) return std::nullopt;
    if (field.id == FieldId::patient_birthYear) return std::to_string(random_.between(1920, 2015));
    return *label == "other" ? std::to_string(random_.between(2, 40)) : *label;
  }

  std::optional<std::string> quantity(const Field& field) {
    const auto value = choose(field, Kind::quantity, "number");
    const auto unit = choose(field, Kind::quantity, "unit");
    const auto comparator = choose(field, Kind::quantity, "comparator");
    const auto estimated = choose(field, Kind::quantity, "estimated");
    if (!value || !unit || !comparator || !estimated) return std::nullopt;
    std::string text = "{\"value\":" + number(*value) + ",\"unit\":" + quoted(*unit);
    if (*comparator != "no") text += ",\"comparator\":" + quoted(*comparator);
    if (*estimated != "no") text += ",\"estimated\":" + *estimated;
    return text + "}";
  }

  // --- codes
  // -------------------------------------------------------------------------------------------------------

  std::optional<std::string> code(const Field& field, Kind kind) {
    const auto shape = choose(field, kind, "code");
    if (!shape) return std::nullopt;
    const auto has = [&](std::string_view part) { return shape->find(part) != std::string::npos; };
    if (*shape == "text") return "{\"text\":" + quoted(charted_words()) + "}";
    std::string text = "{";
    if (shape->starts_with("word")) {
      const auto word = choose(field, kind, "word");
      if (!word) return std::nullopt;
      if (field.id == FieldId::performed_outcome) outcome_ = *word;
      if (*shape == "word" && field.kind != Kind::any) return quoted(*word);
      text += "\"code\":" + quoted(*word);
    } else {
      const std::string inside = coding(field, has("+display"));
      text += inside.substr(1, inside.size() - 2);
    }
    if (has("+text")) text += ",\"text\":" + quoted(charted_words());
    if (has("+also")) {
      text += ",\"also\":[" + coding(field, random_.chance(70));
      if (random_.chance(30)) text += "," + coding(field, random_.chance(70));
      text += "]";
    }
    return text + "}";
  }

  std::string charted_words() {
    static const std::vector<std::string> kinds = {"ascii",     "ascii",         "bmp",   "astral",
                                                   "combining", "right-to-left", "markup"};
    return words_of_kind(random_.one_of(kinds));
  }

  std::string coding(const Field& field, bool display) {
    if (options_.standard && random_.chance(50)) {
      const auto known = options_.standard(field.argument);
      if (!known.empty()) {
        const auto& one = random_.one_of(known);
        return coding(one.system, one.code, display ? one.display : "");
      }
    }
    const std::string number = std::to_string(random_.below(100000));
    return coding("https://codes.example.org/" + std::string(field.argument.empty() ? "own" : field.argument),
                  (random_.chance(80) ? "X-" : "X ") + number, display ? "invented concept " + number : "");
  }

  static std::string coding(const std::string& system, const std::string& code, const std::string& display) {
    std::string text = "{\"system\":" + quoted(system) + ",\"code\":" + quoted(code);
    if (!display.empty()) text += ",\"display\":" + quoted(display);
    return text + "}";
  }

  // RFC 8259 section 7, with the short escapes where there are any.
  static std::string quoted(std::string_view text) {
    static constexpr std::string_view digits = "0123456789abcdef";
    std::string out = "\"";
    for (const char c : text) {
      switch (c) {
        case '"':
          out += "\\\"";
          break;
        case '\\':
          out += "\\\\";
          break;
        case '\n':
          out += "\\n";
          break;
        case '\r':
          out += "\\r";
          break;
        case '\t':
          out += "\\t";
          break;
        default:
          if (c >= 0 && c < 0x20) {
            out += "\\u00";
            out += digits[static_cast<std::size_t>(c) >> 4];
            out += digits[static_cast<std::size_t>(c) & 15];
          } else {
            out += c;
          }
      }
    }
    return out + "\"";
  }

  static inline const std::vector<std::string> zones = {"Europe/Berlin", "America/New_York", "Asia/Kolkata",
                                                        "Australia/Adelaide", "Pacific/Chatham"};

  Random random_;
  std::uint64_t seed_;
  GeneratorOptions options_;
  std::uint64_t made_ = 0;
  unsigned presence_ = 35;
  bool least_used_first_ = false;
  std::map<std::string, std::size_t> used_;
  std::string outcome_;
};

// Plausible rather than random: times in order, shares that add up, sizes that shrink.
inline std::string Generator::typical(unsigned patient, unsigned wound, unsigned visit) {
  ++made_;
  const auto tenths = [](int value) { return std::to_string(value / 10) + "." + std::to_string(value % 10); };
  // One of the preferred words that the domain has, else any of its words.
  const auto word = [&](std::string_view domain, std::initializer_list<std::string_view> preferred) {
    const auto all = options_.words(domain);
    std::vector<std::string> there;
    for (const auto want : preferred) {
      for (const auto& known : all) {
        if (known == want) there.push_back(known);
      }
    }
    return quoted(there.empty() ? random_.one_of(all) : random_.one_of(there));
  };
  const int day = static_cast<int>(visit) * 2;
  const auto date = [&](int later) {
    const int at = day + later;  // days from 2 March 2026, in months of 28 days: no such date is missing
    return "2026-" + two(3 + at / 28) + "-" + two(1 + at % 28);
  };
  const int minute = random_.between(0, 44);
  const auto at = [&](int hour, int minutes, int later = 0) {
    return quoted(date(later) + "T" + two(hour) + ":" + two(minutes) + "+01:00");
  };
  const bool inches = patient % 4 == 0;
  const auto length = [&](int millimetres) {
    return inches ? "{\"value\":" + tenths(millimetres / 3) + ",\"unit\":\"[in_i]\"}"
                  : "{\"value\":" + tenths(millimetres) + ",\"unit\":\"cm\"}";
  };
  const int long_side = std::max(8, 62 - 2 * static_cast<int>(visit) + random_.between(0, 1));
  const int granulation = std::min(95, 50 + 3 * static_cast<int>(visit));
  const std::string initials = quoted(std::string(1, static_cast<char>('A' + random_.between(0, 25))) +
                                      static_cast<char>('A' + random_.between(0, 25)));
  const std::string key = std::to_string(patient) + "-" + std::to_string(wound) + "-" + std::to_string(visit);

  std::string text = "{\"format\":\"wound-visit/1\",\"id\":\"visit-" + key + "\",\"status\":\"final\"";
  text += ",\"source\":{\"system\":\"https://charting.example.org\",\"message\":\"m-" + key +
          "\",\"charted\":" + at(13, minute + 15) + "}";
  text += ",\"patient\":{\"id\":\"p-" + std::to_string(patient) +
          "\",\"system\":\"https://hospital.example.org/patients\"}";
  text += ",\"encounter\":{\"id\":\"stay-" + std::to_string(patient) +
          "\",\"system\":\"https://hospital.example.org/stays\"}";
  text += ",\"wound\":{\"id\":\"" + std::to_string(wound) +
          "\",\"type\":" + word("wound-type", {"surgical-wound"}) +
          ",\"cause\":\"laparotomy\",\"site\":" + word("body-site", {"abdomen"}) +
          ",\"side\":" + word("laterality", {"midline"}) +
          ",\"onset\":\"2026-02-24\",\"presentOnAdmission\":false}";
  text += ",\"order\":{\"id\":\"order-" + std::to_string(patient) +
          "\",\"instruction\":\"pack lightly, cover, change every " +
          "second day and as needed\",\"repeat\":{\"every\":{\"value\":2,\"unit\":\"d\"},\"asNeeded\":true}}";
  text += ",\"performed\":{\"kind\":\"both\",\"outcome\":\"completed\",\"start\":" + at(13, minute) +
          ",\"end\":" + at(13, minute + 14) + ",\"zone\":\"Europe/Berlin\"}";
  text += ",\"performer\":[{\"id\":\"n-" + std::to_string(random_.between(1, 40)) +
          "\",\"role\":" + word("role", {"registered-nurse", "nurse", "wound-nurse"}) + "}]";
  text += ",\"removed\":{\"label\":{\"initials\":" + initials +
          ",\"date\":" + quoted(date(-2 + (visit == 0 ? 2 : 0))) + ",\"time\":\"13:30\"},\"state\":[" +
          word("dressing-state", {"intact", "moist", "stained"}) +
          "],\"packing\":1,\"drainage\":{\"amount\":" + word("exudate-amount", {"small", "moderate"}) +
          ",\"type\":" + word("exudate-type", {"serous", "serosanguineous"}) +
          ",\"odor\":" + word("odor", {"none"}) + "}}";
  text += ",\"size\":{\"method\":" + word("size-method", {"clock-axis", "greatest-dimension"}) +
          ",\"device\":" + word("measuring-device", {"measuring-tape", "ruler"}) +
          ",\"length\":" + length(long_side) + ",\"width\":" + length(long_side / 2) +
          ",\"depth\":" + length(long_side / 4) + "}";
  if (random_.chance(50)) {
    text += ",\"spaces\":[{\"kind\":" + word("space-kind", {"undermining"}) +
            ",\"from\":" + std::to_string(random_.between(1, 12)) +
            ",\"to\":" + std::to_string(random_.between(1, 12)) +
            ",\"extent\":" + length(random_.between(5, 20)) + "}]";
  } else {
    text += ",\"spaces\":\"none\"";
  }
  text += ",\"bed\":[{\"tissue\":" + word("wound-bed-tissue", {"granulation"}) +
          ",\"percent\":" + std::to_string(granulation) +
          "},{\"tissue\":" + word("wound-bed-tissue", {"slough"}) +
          ",\"percent\":" + std::to_string(100 - granulation) + "}]";
  text += ",\"edges\":[" + word("wound-edge", {"attached", "well-defined"}) + "]";
  text += ",\"periwound\":[{\"finding\":" + word("periwound-finding", {"erythema"}) + ",\"present\":" +
          (random_.chance(30) ? "true,\"extent\":" + length(random_.between(5, 15)) : std::string("false")) +
          "},{\"finding\":" + word("periwound-finding", {"maceration"}) + ",\"present\":false}]";
  text +=
      ",\"drainage\":{\"present\":true,\"amount\":" + word("exudate-amount", {"scant", "small", "moderate"}) +
      ",\"type\":" + word("exudate-type", {"serous", "serosanguineous"}) +
      ",\"color\":" + word("exudate-color", {"yellow", "straw"}) + ",\"odor\":" + word("odor", {"none"}) +
      "}";
  text += ",\"pain\":{\"before\":" + std::to_string(random_.between(0, 3)) +
          ",\"during\":" + std::to_string(random_.between(2, 5)) +
          ",\"after\":" + std::to_string(random_.between(0, 3)) +
          ",\"scale\":" + word("pain-scale", {"numeric-0-10"}) + "}";
  text += ",\"infectionSigns\":\"none\",\"trend\":" + word("healing-trend", {"improving", "stable"});
  text += ",\"cleansing\":[{\"solution\":" + word("solution", {"saline", "sodium-chloride-0.9"}) +
          ",\"volume\":{\"value\":100,\"unit\":\"mL\"},\"technique\":" + word("technique", {"irrigation"}) +
          ",\"direction\":" + word("cleansing-direction", {"clean-to-dirty", "center-out"}) + "}]";
  text += ",\"dressing\":[{\"role\":" + word("layer-role", {"filler"}) +
          ",\"material\":" + word("dressing-material", {"packing-strip", "gauze"}) +
          ",\"count\":1},{\"role\":" + word("layer-role", {"cover"}) +
          ",\"material\":" + word("dressing-material", {"abdominal-pad", "absorbent-pad"}) +
          ",\"size\":\"5 x 9 in\",\"count\":1}]";
  text +=
      ",\"packing\":{\"placed\":1},\"securement\":[" + word("securement", {"paper-tape", "cloth-tape"}) + "]";
  text += ",\"label\":{\"initials\":" + initials + ",\"date\":" + quoted(date(0)) +
          ",\"time\":" + quoted("13:" + two(minute + 14)) + "}";
  text += ",\"complications\":\"none\",\"tolerance\":" + word("tolerance", {"well", "fair"}) +
          ",\"teaching\":{\"given\":true,\"understood\":true}";
  text += ",\"plan\":{\"nextDue\":" + at(13, 30, 2) +
          "},\"notes\":[\"patient premedicated; wound edges pink, " +
          std::string("dressing laid without tension\"]}");
  return text;
}

}  // namespace charpie::tests
