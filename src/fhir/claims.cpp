#include "fhir/claims.hpp"

#include <algorithm>

#include "base/text.hpp"
#include "base/time.hpp"
#include "syntax/csv.hpp"

namespace charpie::fhir {

using syntax::Node;

namespace {

constexpr std::string_view file = "fhir/claims.csv";

constexpr std::pair<std::string_view, Ask::Kind> ask_words[] = {
    {"present", Ask::Kind::present}, {"absent", Ask::Kind::absent}, {"at-most", Ask::Kind::at_most},
    {"is", Ask::Kind::is},           {"alone", Ask::Kind::alone},   {"to-the-day", Ask::Kind::to_the_day}};

bool has_code(const Node& object, std::string_view system, std::string_view code) {
  const Node* concept_shown = object.member("code");
  const Node* codings = concept_shown == nullptr ? nullptr : concept_shown->member("coding");
  for (const Node* at = codings == nullptr ? nullptr : codings->first; at != nullptr; at = at->next) {
    if (plain_text(at->member("code")) == code &&
        (system.empty() || plain_text(at->member("system")) == system))
      return true;
  }
  return false;
}

// Calls visit(node) for each node at the place; lists on the way are gone through. "value[x]" is any member
// that begins so.
template <class Visitor>
void at_place(const Node& node, std::string_view place, const Visitor& visit) {
  if (node.is_array()) {
    for (const Node* at = node.first; at != nullptr; at = at->next) at_place(*at, place, visit);
    return;
  }
  if (place.empty()) return visit(node);
  const auto dot = place.find('.');
  auto name = place.substr(0, dot);
  const auto rest = dot == std::string_view::npos ? std::string_view{} : place.substr(dot + 1);
  std::string_view code;
  if (const auto open = name.find('('); open != std::string_view::npos) {
    code = name.substr(open + 1, name.size() - open - 2);
    name = name.substr(0, open);
  }
  const bool choice = name.ends_with("[x]");
  if (choice) name.remove_suffix(3);
  for (const Node* at = node.first; at != nullptr; at = at->next) {
    const bool fits = choice ? at->name_text.size() > name.size() && at->name_text.starts_with(name) &&
                                   at->name_text[name.size()] >= 'A' && at->name_text[name.size()] <= 'Z'
                             : at->name_text == name;
    if (!fits) continue;
    if (code.empty()) {
      at_place(*at, rest, visit);
      continue;
    }
    for (const Node* item = at->first; item != nullptr; item = item->next) {
      if (has_code(*item, {}, code)) at_place(*item, rest, visit);
    }
  }
}

// "if status=completed": whether the condition of an ask holds; one without a condition is always asked.
bool is_asked(const Ask& ask, const Node& resource) {
  if (ask.kind != Ask::Kind::present || !ask.text.starts_with("if ")) return true;
  const auto equals = ask.text.find('=');
  const auto wanted = std::string_view(ask.text).substr(std::min(equals, ask.text.size() - 1) + 1);
  bool so = false;
  at_place(resource, std::string_view(ask.text).substr(3, equals - 3),
           [&](const Node& node) { so = so || node.text == wanted; });
  return so;
}

bool holds(const Ask& ask, const Node& resource, std::string_view& place) {
  if (!is_asked(ask, resource)) return true;
  bool some = false, good = true;
  for (const auto& one : ask.places) {
    const auto look = [&](const Node& node) {
      some = true;
      switch (ask.kind) {
        case Ask::Kind::is:
          good = good && node.text == ask.text;
          break;
        case Ask::Kind::alone: {
          const Node* codings = node.member("coding");
          good = good && codings != nullptr && codings->count == 1 && node.member("text") == nullptr;
          break;
        }
        case Ask::Kind::to_the_day: {
          // The record's grammar reads FHIR's dateTime as well.
          const auto time = parse_time(node.text);
          good = good && time && time.time.precision >= TimePrecision::day;
          break;
        }
        default:
          break;
      }
    };
    place = one;
    if (ask.kind == Ask::Kind::at_most) {
      const Node* list = resource.member(one);
      good =
          list == nullptr || std::to_string(list->count).size() < ask.text.size() ||
          (std::to_string(list->count).size() == ask.text.size() && std::to_string(list->count) <= ask.text);
    } else {
      at_place(resource, one, look);
    }
    if (!good) return false;
  }
  if (ask.kind == Ask::Kind::present) return some;
  if (ask.kind == Ask::Kind::absent) return !some;
  return true;
}

std::string words_of(const Ask& ask) {
  switch (ask.kind) {
    case Ask::Kind::present:
      return "something must stand there";
    case Ask::Kind::absent:
      return "nothing may stand there";
    case Ask::Kind::at_most:
      return "at most " + ask.text + " may stand there";
    case Ask::Kind::is:
      return "it must be '" + ask.text + "'";
    case Ask::Kind::alone:
      return "its one coding must stand alone";
    case Ask::Kind::to_the_day:
      return "a time must be known at least to the day";
  }
  return {};
}

}  // namespace

Result<Claims> Claims::load(const Tables& tables, std::string_view name) {
  const auto* text = tables.find(file);
  if (text == nullptr)
    return Error{
        Error::mapping_broken, "there is no file " + std::string(file), std::string(file), 0, 0, "add it"};
  auto table = syntax::read_csv_table(*text, file);
  if (!table) return table.error();
  const auto column = [&](std::string_view wanted) {
    return static_cast<std::size_t>(std::find(table->header.begin(), table->header.end(), wanted) -
                                    table->header.begin());
  };
  const std::string_view needed[] = {"claim", "type", "system", "code", "profile", "place", "asks"};
  for (const auto one : needed) {
    if (column(one) == table->header.size())
      return Error{Error::mapping_broken,
                   "there is no column '" + std::string(one) + "'",
                   std::string(file),
                   1,
                   0,
                   "add it"};
  }
  Claims claims;
  std::string known;
  for (const auto& row : table->rows) {
    const auto cell = [&](std::string_view wanted) -> const std::string& {
      return row.cells[column(wanted)];
    };
    if (known.find("'" + cell("claim") + "'") == std::string::npos)
      known += (known.empty() ? "'" : ", '") + cell("claim") + "'";
    if (cell("claim") != name) continue;
    auto& profiles = claims.profiles_;
    auto profile = std::find_if(profiles.begin(), profiles.end(), [&](const Profile& one) {
      return one.type == cell("type") && one.system == cell("system") && one.code == cell("code");
    });
    if (profile == profiles.end()) {
      profiles.push_back({cell("type"), cell("system"), cell("code"), cell("profile"), {}});
      profile = profiles.end() - 1;
    }
    const auto& asks = cell("asks");
    const auto blank = asks.find(' ');
    const auto word = std::find_if(std::begin(ask_words), std::end(ask_words),
                                   [&](const auto& one) { return one.first == asks.substr(0, blank); });
    if (word == std::end(ask_words)) {
      return Error{Error::mapping_broken,
                   "'" + asks + "' is nothing that a profile asks",
                   std::string(file),
                   row.line,
                   0,
                   "present, present if PATH=TEXT, absent, at-most N, is TEXT, alone or to-the-day"};
    }
    auto& ask = profile->asks.emplace_back(
        Ask{word->second, blank == std::string::npos ? std::string{} : asks.substr(blank + 1), {}});
    for (const auto place : split(cell("place"), '|')) ask.places.emplace_back(place);
  }
  if (claims.profiles_.empty()) {
    return Error{Error::usage,         "there is no claim '" + std::string(name) + "'", {}, 0, 0,
                 "use one of " + known};
  }
  return claims;
}

std::set<std::string, std::less<>> Claims::alone() const {
  std::set<std::string, std::less<>> codes;
  for (const auto& profile : profiles_) {
    for (const auto& ask : profile.asks) {
      if (ask.kind != Ask::Kind::alone) continue;
      for (const auto& place : ask.places) {
        const auto open = place.find('(');
        codes.insert(
            profile.system + "|" +
            (open == std::string::npos ? profile.code : place.substr(open + 1, place.find(')') - open - 1)));
      }
    }
  }
  return codes;
}

std::string_view Claims::fitting(const Node& resource, Misfit& misfit) const {
  misfit = {};
  const auto type = plain_text(resource.member("resourceType"));
  // A profile of the instance's code goes before one of its type.
  const Profile* found = nullptr;
  for (const auto& one : profiles_) {
    if (one.type != type || (!one.code.empty() && !has_code(resource, one.system, one.code))) continue;
    if (found == nullptr || (found->code.empty() && !one.code.empty())) found = &one;
  }
  if (found == nullptr) return {};
  for (const auto& ask : found->asks) {
    std::string_view place;
    if (holds(ask, resource, place)) continue;
    misfit = {found->url, std::string(place), words_of(ask)};
    return {};
  }
  return found->url;
}

}  // namespace charpie::fhir
