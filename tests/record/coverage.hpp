// What a set of records holds, counted field by field: which forms, words, units, reasons, shapes of number,
// time and text occurred. Counted on the records that were read, not where they were made, so that a
// generator cannot claim what it did not do.
#pragma once
#include <cstddef>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.hpp"
#include "base/utf8.hpp"
#include "record/read.hpp"
#include "record/record.hpp"

namespace charpie::tests {

/// What a target or a test allows in a field: labels as below ("form:none", "unit:cm", "text:astral").
using Allowed = std::function<bool(const record::Field&, std::string_view label)>;
/// The words of a domain.
using Words = std::function<std::vector<std::string>(std::string_view domain)>;

/// How the number's token is made.
inline std::string number_label(std::string_view token) {
  if (token.empty()) return "number:missing";
  if (token.size() >= 28) return "number:29-digits";
  if (token.find_first_of("eE") != token.npos) return "number:exponent";
  if (token.find_first_not_of("-0.") == token.npos && token[0] == '-') return "number:negative-zero";
  if (token[0] == '-') return "number:negative";
  const auto point = token.find('.');
  if (point == token.npos) return "number:whole";
  return token.back() == '0' ? "number:trailing-zero" : "number:fraction";
}

inline std::vector<std::string> time_labels(std::string_view text) {
  const auto time = parse_time(text).time;
  switch (time.precision) {
    case TimePrecision::year:
      return {"time:year"};
    case TimePrecision::month:
      return {"time:month"};
    case TimePrecision::day:
      return {"time:day"};
    default:
      break;
  }
  const std::string precision = time.precision == TimePrecision::minute ? "time:minute"
                                : !time.fraction.empty()                ? "time:fraction"
                                : time.second == 60                     ? "time:leap-second"
                                                                        : "time:second";
  const std::string offset = text.ends_with("Z")        ? "offset:Z"
                             : text.ends_with("-00:00") ? "offset:-00:00"
                             : time.offset_minutes < 0  ? "offset:west"
                                                        : "offset:east";
  return {precision, offset};
}

/// The most demanding thing that the text holds.
inline std::string text_label(std::string_view text) {
  bool rtl = false, astral = false, combining = false, control = false, upper_control = false, bmp = false;
  bool edge = false, markup = false;
  for (std::size_t at = 0; at < text.size();) {
    const char32_t c = next_code_point(text, at);
    control |= c < 0x20;
    upper_control |= c >= 0x7F && c < 0xA0;
    markup |=
        c < 0x80 && std::string_view("\"\\<>&'|^~").find(static_cast<char>(c)) != std::string_view::npos;
    combining |= c >= 0x300 && c < 0x370;
    rtl |= c >= 0x590 && c < 0x700;
    astral |= c >= 0x10000;
    edge |= c == 0xD7FF || c == 0xE000 || c == 0xFFFD;
    bmp |= c >= 0xA0 && c < 0x10000;
  }
  if (text.size() >= 1000) return "text:long";
  if (text.front() == ' ' || text.back() == ' ') return "text:blank-at-end";
  if (control) return "text:control";
  if (upper_control) return "text:upper-control";
  if (edge) return "text:edge-of-xml";
  if (markup) return "text:markup";
  if (rtl) return "text:right-to-left";
  if (combining) return "text:combining";
  if (astral) return "text:astral";
  return bmp ? "text:bmp" : "text:ascii";
}

inline std::string code_label(const record::Code& code) {
  std::string label = !code.word.empty() ? "code:word" : code.has_foreign() ? "code:foreign" : "code:text";
  if (!code.foreign.display.empty()) label += "+display";
  if (!code.text.empty() && label != "code:text") label += "+text";
  if (code.also_count > 0) label += "+also";
  return label;
}

/// The units that the generator uses, by dimension as the dictionary names it.
inline const std::vector<std::string>& units_of(std::string_view dimension) {
  static const std::map<std::string, std::vector<std::string>, std::less<>> units = {
      {"L", {"cm", "mm", "[in_i]", "m"}},
      {"L2", {"cm2", "mm2", "[sin_i]"}},
      {"L|L2", {"cm", "mm", "[in_i]", "cm2", "mm2"}},
      {"L3", {"mL", "cm3", "L", "[foz_us]"}},
      {"T", {"min", "h", "d", "wk", "s", "mo", "a"}},
      {"pressure", {"[psi]", "mm[Hg]", "kPa"}},
      {"", {"Cel", "mmol/L", "%", "1", "cm"}},  // a site's own finding may be of any dimension
  };
  static const std::vector<std::string> none;
  const auto found = units.find(dimension);
  return found == units.end() ? none : found->second;
}

/// All that can be said in a field, grouped by the choice to be made: {"number": {"number:whole", …}, …}.
inline std::map<std::string, std::vector<std::string>> choices(const record::Field& field, record::Kind kind,
                                                               const Words& words) {
  using record::Kind;
  std::map<std::string, std::vector<std::string>> all;
  const auto codes = [&](bool word_only) {
    for (const auto& word : words(field.argument)) {
      if (!(word == "none" && field.may_be_none())) all["word"].push_back("word:" + word);
    }
    all["code"] = {"code:word"};
    if (word_only) return;
    for (const auto* label : {"code:word+text", "code:word+also", "code:word+text+also", "code:foreign",
                              "code:foreign+display", "code:foreign+display+text",
                              "code:foreign+display+also", "code:foreign+display+text+also", "code:text"}) {
      all["code"].push_back(label);
    }
  };
  switch (kind) {
    case Kind::key:
    case Kind::text:
      if (field.name == "system" || field.name == "url") {
        all["text"] = {"text:ascii"};
      } else if (field.name == "format" || field.name == "zone" || field.name == "contentType" ||
                 field.name == "hash") {
        all["text"] = {"text:ascii"};
      } else {
        all["text"] = {"text:ascii",         "text:bmp",          "text:astral",        "text:combining",
                       "text:right-to-left", "text:control",      "text:upper-control", "text:edge-of-xml",
                       "text:markup",        "text:blank-at-end", "text:long"};
      }
      break;
    case Kind::time:
      all["time"] = {"time:year",   "time:month",    "time:day",        "time:minute",
                     "time:second", "time:fraction", "time:leap-second"};
      all["offset"] = {"offset:Z", "offset:east", "offset:west", "offset:-00:00"};
      break;
    case Kind::clocktime:
      all["clocktime"] = {"clocktime:00:00", "clocktime:23:59", "clocktime:other"};
      break;
    case Kind::word:
      codes(true);
      break;
    case Kind::code:
      codes(false);
      break;
    case Kind::quantity:
      for (const auto& unit : units_of(field.argument)) all["unit"].push_back("unit:" + unit);
      all["number"] = {"number:whole",    "number:fraction",      "number:trailing-zero", "number:exponent",
                       "number:negative", "number:negative-zero", "number:29-digits"};
      all["comparator"] = {"comparator:no", "comparator:<", "comparator:<=", "comparator:>=", "comparator:>"};
      all["estimated"] = {"estimated:no", "estimated:true", "estimated:false"};
      break;
    case Kind::count:
      all["count"] = {"count:0", "count:1", "count:2147483647", "count:other"};
      if (field.name == "birthYear") all["count"] = {"count:other"};
      break;
    case Kind::percent:
      all["number"] = {"number:whole",    "number:fraction",      "number:trailing-zero",
                       "number:exponent", "number:negative-zero", "number:29-digits"};
      break;
    case Kind::decimal:
      all["number"] = {"number:whole",    "number:fraction",      "number:trailing-zero", "number:exponent",
                       "number:negative", "number:negative-zero", "number:29-digits"};
      break;
    case Kind::flag:
      all["flag"] = {"flag:true", "flag:false"};
      break;
    case Kind::clock:
      for (int hour = 1; hour <= 12; ++hour) all["clock"].push_back("clock:" + std::to_string(hour));
      break;
    case Kind::coding:
      all["coding"] = {"code:foreign", "code:foreign+display"};
      break;
    case Kind::any:
      all["any"] = {"any:quantity", "any:code", "any:count", "any:flag", "any:text"};
      break;
    case Kind::group:
      break;
  }
  return all;
}

inline constexpr record::Kind any_kinds[] = {record::Kind::quantity, record::Kind::code, record::Kind::count,
                                             record::Kind::flag, record::Kind::text};

/// The forms that a field can take as a whole: value (or a list of 1 to 5), none, absent for each reason.
inline std::vector<std::string> forms(const record::Field& field) {
  std::vector<std::string> all;
  if (field.is_list()) {
    for (int length = 1; length <= 5; ++length) all.push_back("form:list-" + std::to_string(length));
  } else {
    all.push_back("form:value");
  }
  if (field.may_be_none()) all.push_back("form:none");
  if (field.may_be_absent()) {
    for (const auto reason : record::absent_reasons()) all.push_back("form:absent-" + std::string(reason));
  }
  return all;
}

/// Counts of "path label".
class Coverage {
 public:
  void count(const record::Record& record) {
    ++records_;
    count(record::field(record::FieldId::visit), *record.root);
  }

  std::size_t records() const { return records_; }
  std::size_t of(std::string_view path, std::string_view label) const {
    const auto found = counts_.find(std::string(path) + ' ' + std::string(label));
    return found == counts_.end() ? 0 : found->second;
  }
  const std::map<std::string, std::size_t>& counts() const { return counts_; }

  /// What every field can say and no record said.
  std::vector<std::string> missing(const Words& words, const Allowed& allowed) const {
    std::vector<std::string> never;
    const auto want = [&](const record::Field& field, const std::string& label) {
      if (allowed && !allowed(field, label)) return;
      if (of(field.path, label) == 0) never.push_back(std::string(field.path) + ' ' + label);
    };
    for (const auto& field : record::dictionary().subspan(1)) {
      for (const auto& form : forms(field)) want(field, form);
      for (const auto& [choice, labels] : choices(field, field.kind, words)) {
        for (const auto& label : labels) want(field, label);
      }
      if (field.kind != record::Kind::any) continue;
      for (const auto kind : any_kinds) {
        for (const auto& [choice, labels] : choices(field, kind, words)) {
          for (const auto& label : labels) want(field, label);
        }
      }
    }
    return never;
  }

 private:
  void add(const record::Field& field, const std::string& label) {
    ++counts_[std::string(field.path) + ' ' + label];
  }

  void count(const record::Field& field, const record::Value& value) {
    switch (value.form) {
      case record::Form::none:
        return add(field, "form:none");
      case record::Form::absent:
        return add(field, "form:absent-" + std::string(value.text));
      case record::Form::list:
        add(field, "form:list-" + std::to_string(value.count));
        for (std::uint32_t i = 0; i < value.count; ++i) element(field, *value.children[i]);
        return;
      default:
        add(field, "form:value");
        return element(field, value);
    }
  }

  void element(const record::Field& field, const record::Value& value) {
    if (value.form == record::Form::group) {
      for (auto id = field.first_member; id != record::FieldId::visit; id = record::field(id).next_sibling) {
        if (const auto* member = record::member(&value, id)) count(record::field(id), *member);
      }
      return;
    }
    if (field.kind == record::Kind::any) add(field, "any:" + std::string(record::kind_name(value.kind)));
    if (value.quantity != nullptr) {
      const auto& quantity = *value.quantity;
      add(field, "unit:" + std::string(quantity.unit));
      add(field, number_label(quantity.value));
      add(field, "comparator:" + std::string(quantity.comparator.empty() ? "no" : quantity.comparator));
      add(field, "estimated:" + std::string(quantity.estimated.empty() ? "no" : quantity.estimated));
      return;
    }
    if (value.code != nullptr) {
      add(field, code_label(*value.code));
      if (!value.code->word.empty()) add(field, "word:" + std::string(value.code->word));
      return;
    }
    const std::string text(value.text);
    switch (value.kind) {
      case record::Kind::time:
        for (const auto& label : time_labels(text)) add(field, label);
        return;
      case record::Kind::clocktime:
        return add(field, "clocktime:" + (text == "00:00" || text == "23:59" ? text : "other"));
      case record::Kind::count:
        return add(field, "count:" + (text == "0" || text == "1" || text == "2147483647" ? text : "other"));
      case record::Kind::percent:
      case record::Kind::decimal:
        return add(field, number_label(text));
      case record::Kind::flag:
        return add(field, "flag:" + text);
      case record::Kind::clock:
        return add(field, "clock:" + text);
      default:
        return add(field, text_label(text));
    }
  }

  std::map<std::string, std::size_t> counts_;
  std::size_t records_ = 0;
};

}  // namespace charpie::tests
