#include "record/schema.hpp"

#include <nlohmann/json.hpp>

#include "record/dictionary.hpp"
#include "record/finding.hpp"
#include "record/leaf.hpp"

namespace charpie::record {

namespace {

using Json = nlohmann::ordered_json;

Json reference(std::string_view name) {
  return {{"$ref", "#/$defs/" + std::string(name)}};
}

Json described(Json schema, std::string_view meaning) {
  schema["description"] = meaning;
  return schema;
}

Json object(Json properties, Json required) {
  Json schema = {{"type", "object"}, {"properties", std::move(properties)}};
  if (!required.empty()) schema["required"] = std::move(required);
  schema["additionalProperties"] = false;
  schema["minProperties"] = 1;
  return schema;
}

// The forms that texts take, whatever field they stand in.
Json common_definitions() {
  Json all = Json::object();
  // XML 1.0 (5th edition), production 2, and something other than blanks.
  all["text"] = {
      {"type", "string"},
      {"allOf",
       {{{"pattern", "[^ \\t\\r\\n]"}},
        {{"not", {{"pattern", "[\\u0000-\\u0008\\u000B\\u000C\\u000E-\\u001F\\uFFFE\\uFFFF]"}}}}}}};
  all["token"] = {{"allOf", {reference("text"), {{"pattern", "^[^ \\t\\r\\n]+( [^ \\t\\r\\n]+)*$"}}}}};
  all["system"] = {{"allOf", {reference("text"), {{"pattern", "^[^ \\t\\r\\n]+$"}}}}};
  all["time"] = described(
      {{"type", "string"},
       {"pattern",
        "^(?!0000)[0-9]{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12][0-9]|3[01])(T([01][0-9]|2[0-3]):[0-5][0-9]"
        "(:([0-5][0-9]|60)(\\.[0-9]+)?)?(Z|[+-](0[0-9]|1[0-3]):[0-5][0-9]|[+-]14:00))?)?)?$"}},
      "year, month, day, minute or second; with an offset from the minute on");
  all["clocktime"] =
      described({{"type", "string"}, {"pattern", "^([01][0-9]|2[0-3]):[0-5][0-9]$"}}, "24-hour time");
  all["count"] = {{"type", "integer"}, {"minimum", 0}, {"maximum", std::stoll(std::string(largest_count))}};
  all["percent"] = {{"type", "number"}, {"minimum", 0}, {"maximum", 100}};
  all["decimal"] = {{"type", "number"}};
  all["flag"] = {{"type", "boolean"}};
  all["clock"] = described({{"type", "integer"}, {"minimum", 1}, {"maximum", 12}}, "clock position");
  all["coding"] =
      object({{"system", reference("system")}, {"code", reference("token")}, {"display", reference("text")}},
             {"system", "code"});
  all["also"] = described({{"type", "array"}, {"items", reference("coding")}, {"minItems", 1}},
                          "further codings that travelled beside the first");
  all["foreign-code"] = described(object({{"system", reference("system")},
                                          {"code", reference("token")},
                                          {"display", reference("text")},
                                          {"text", reference("text")},
                                          {"also", reference("also")}},
                                         {"system", "code"}),
                                  "a code of another system");
  // "none" answers for a whole list; an element that says it contradicts the others.
  all["word-none"] = {{"anyOf",
                       {{{"const", "none"}},
                        {{"type", "object"},
                         {"properties", {{"code", {{"const", "none"}}}}},
                         {"required", {"code"}},
                         {"not", {{"required", {"system"}}}}}}}};
  all["words-only"] = described(object({{"text", reference("text")}}, {"text"}), "words as charted");
  all["quantity"] = object({{"value", {{"type", "number"}}},
                            {"unit", described(reference("text"), "UCUM code, case sensitive")},
                            {"comparator", {{"enum", {"<", "<=", ">=", ">"}}}},
                            {"estimated", {{"type", "boolean"}}}},
                           {"value", "unit"});
  Json reasons = Json::array();
  for (const auto reason : absent_reasons()) reasons.push_back(reason);
  all["absent"] = described(object({{"absent", {{"enum", reasons}}}}, {"absent"}), "why there is no value");
  return all;
}

// A code in its four forms; `bare` when the word may also stand alone.
Json code(const Json& word, bool bare) {
  Json forms = Json::array();
  if (bare) forms.push_back(word);
  forms.push_back(
      object({{"code", word}, {"text", reference("text")}, {"also", reference("also")}}, {"code"}));
  forms.push_back(reference("foreign-code"));
  forms.push_back(reference("words-only"));
  return {{"anyOf", std::move(forms)}};
}

Json words_of(std::string_view domain, const DomainWords& words) {
  Json known = Json::array();
  if (words) {
    for (const auto& word : words(domain)) known.push_back(word);
  }
  if (known.empty()) return reference("token");
  return {{"enum", std::move(known)}};
}

// What stands in the field, or in one element of its list.
Json one(const Field& row);

Json group(const Field& shape) {
  Json properties = Json::object();
  Json required = Json::array();
  for (FieldId id = shape.first_member; id != FieldId::visit; id = field(id).next_sibling) {
    const Field& row = field(id);
    Json schema = one(row);
    if (row.is_list()) {
      if (row.may_be_none() && row.kind == Kind::code) {
        schema = {{"allOf", {std::move(schema), {{"not", reference("word-none")}}}}};
      }
      schema = {{"type", "array"}, {"items", std::move(schema)}, {"minItems", 1}};
    }
    if (row.may_be_absent()) {
      Json forms = {std::move(schema), reference("absent")};
      if (row.may_be_none()) forms.push_back({{"const", "none"}});
      schema = {{"anyOf", std::move(forms)}};
    }
    if (row.occurs == Occurs::required) required.push_back(row.name);
    properties[std::string(row.name)] = described(std::move(schema), row.meaning);
  }
  Json schema = object(std::move(properties), std::move(required));
  if (shape.id == FieldId::performed) {  // when it began is needed unless nothing was done
    schema["if"] = {{"properties", {{"outcome", {{"const", "not-done"}}}}}, {"required", {"outcome"}}};
    schema["else"] = {{"required", {"start"}}};
  }
  return schema;
}

Json one(const Field& row) {
  switch (row.kind) {
    case Kind::group:
      return group(row);
    case Kind::key:
      return reference("text");
    case Kind::text:
      if (row.id == FieldId::format) return {{"const", "wound-visit/1"}};
      return reference("text");
    case Kind::code:
      return reference("code-" + std::string(row.argument));
    case Kind::word:
      return reference("word-" + std::string(row.argument));
    case Kind::any:
      return {{"anyOf",
               {reference("text"), reference("count"), reference("flag"), reference("quantity"),
                code(reference("token"), false)}}};
    default:
      return reference(kind_name(row.kind));
  }
}

std::string kind_text(const Field& row) {
  std::string text(kind_name(row.kind));
  if (!row.argument.empty()) {
    text += '(';
    for (const char c : row.argument) text += c == '|' ? std::string(" or ") : std::string(1, c);
    text += ')';
  }
  return row.is_list() ? "list of " + text : text;
}

std::string_view empties_text(const Field& row) {
  return row.may_be_none() ? "none, absent" : row.may_be_absent() ? "absent" : "";
}

std::string_view severity_text(Severity severity) {
  switch (severity) {
    case Severity::information:
      return "information";
    case Severity::warning:
      return "warning";
    case Severity::error:
      return "error";
    case Severity::fatal:
      return "fatal";
  }
  return "";
}

// A bar would end the cell.
std::string cell(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '|') out += '\\';
    out += c;
  }
  return out;
}

std::string row_of(std::initializer_list<std::string_view> cells) {
  std::string row = "|";
  for (const auto text : cells) row += " " + cell(text) + " |";
  return row + "\n";
}

}  // namespace

Json record_schema(const DomainWords& words) {
  Json schema = {{"$schema", "https://json-schema.org/draft/2020-12/schema"},
                 {"$id", "http://charpie.example/schema/wound-visit/1"},
                 {"title", "wound visit record, version 1"}};
  schema["description"] =
      "One wound at one visit. Checks form only; charpie check also judges units, words and the wound's "
      "history. Not a "
      "medical device: local policy and the licensed clinician decide.";
  schema.update(group(field(FieldId::visit)));
  Json definitions = common_definitions();
  for (const Field& row : dictionary()) {
    const std::string name = std::string(kind_name(row.kind)) + "-" + std::string(row.argument);
    if ((row.kind != Kind::code && row.kind != Kind::word) || definitions.contains(name)) continue;
    const Json word = words_of(row.argument, words);
    definitions[name] = row.kind == Kind::word ? word : code(word, true);
  }
  schema["$defs"] = std::move(definitions);
  return schema;
}

std::string dictionary_page() {
  std::string page = row_of({"field", "kind", "required", "may also be", "meaning"});
  page += "| --- | --- | --- | --- | --- |\n";
  for (const Field& row : dictionary().subspan(1)) {
    page += row_of({"`" + std::string(row.path) + (row.is_list() ? "[]" : "") + "`", kind_text(row),
                    row.occurs == Occurs::required ? "yes" : "", empties_text(row), row.meaning});
  }
  return page;
}

std::string findings_page() {
  std::string page = row_of({"finding", "severity", "blocks", "says", "what to do"});
  page += "| --- | --- | --- | --- | --- |\n";
  for (const FindingKind& kind : finding_kinds()) {
    page += row_of({"`" + std::string(kind.slug) + "`", severity_text(kind.severity),
                    kind.blocks ? "yes" : "", kind.message, kind.mend});
  }
  return page;
}

}  // namespace charpie::record
