#include "mapping/spelling.hpp"

#include <algorithm>
#include <charconv>

#include "base/time.hpp"
#include "syntax/csv.hpp"

namespace charpie::mapping {

namespace {

constexpr NumberForm number_forms[] = {{"text", '.'}, {"decimal-comma", ','}};

constexpr std::string_view absent_begin = "(absent ";

Error table_fault(const std::string& file, std::size_t line, std::string message, std::string mend) {
  return {Error::mapping_broken, std::move(message), file, line, 0, std::move(mend)};
}

}  // namespace

const NumberForm* find_number_form(std::string_view name) {
  for (const auto& one : number_forms) {
    if (one.name == name) return &one;
  }
  return nullptr;
}

// --- identifiers
// ---------------------------------------------------------------------------------------------------

namespace {

constexpr std::string_view oid_begin = "urn:oid:", uuid_begin = "urn:uuid:";

// ISO/IEC 8824: arcs of digits, the first 0 to 2, none with a leading zero; here at least two.
bool is_oid(std::string_view text) {
  if (text.empty() || text.front() < '0' || text.front() > '2' || text.find('.') != 1) return false;
  for (std::size_t begin = 0; begin <= text.size();) {
    const auto end = std::min(text.find('.', begin), text.size());
    const auto arc = text.substr(begin, end - begin);
    if (arc.empty() || (arc.size() > 1 && arc.front() == '0')) return false;
    if (arc.find_first_not_of("0123456789") != std::string_view::npos) return false;
    begin = end + 1;
  }
  return true;
}

// RFC 4122 section 3.
bool is_uuid(std::string_view text) {
  if (text.size() != 36) return false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool dash = i == 8 || i == 13 || i == 18 || i == 23;
    if (dash ? text[i] != '-'
             : std::string_view("0123456789abcdefABCDEF").find(text[i]) == std::string_view::npos)
      return false;
  }
  return true;
}

std::string in_case(std::string_view text, char first, char other) {
  std::string made(text);
  for (char& c : made) {
    if (c >= first && c <= first + 5) c = static_cast<char>(c - first + other);
  }
  return made;
}

}  // namespace

std::string uri_of_root(std::string_view root) {
  if (is_oid(root)) return std::string(oid_begin).append(root);
  if (is_uuid(root)) return std::string(uuid_begin).append(in_case(root, 'A', 'a'));
  return {};
}

std::string root_of_uri(std::string_view uri) {
  if (uri.starts_with(oid_begin) && is_oid(uri.substr(oid_begin.size())))
    return std::string(uri.substr(oid_begin.size()));
  if (!uri.starts_with(uuid_begin)) return {};
  const auto uuid = uri.substr(uuid_begin.size());
  // Capitals would come back small.
  return is_uuid(uuid) && in_case(uuid, 'A', 'a') == uuid ? in_case(uuid, 'a', 'A') : std::string{};
}

// --- words
// ---------------------------------------------------------------------------------------------------

Result<SiteWords> SiteWords::load(std::string_view text, const std::string& file) {
  auto table = syntax::read_csv_table(text, file);
  if (!table) {
    table.error().kind = Error::mapping_broken;
    return table.error();
  }
  SiteWords made;
  made.file_ = file;
  made.name_ = file.substr(file.rfind('/') + 1);
  for (const auto* column : {"cell", "means", "direction"}) {
    if (table->column(column) == syntax::CsvTable::none) {
      return table_fault(file, 1, std::string("the table has no column '") + column + "'",
                         "the columns are cell,means,direction");
    }
  }
  for (const auto& row : table->rows) {
    SiteWord word;
    word.line = static_cast<std::uint32_t>(row.line);
    word.cell = table->cell(row, "cell");
    const auto means = std::string(table->cell(row, "means"));
    const auto direction = table->cell(row, "direction");
    if (word.cell.empty() || means.empty()) {
      return table_fault(file, row.line, "the row has an empty cell",
                         "an empty cell is a missing field: it needs no row");
    }
    if (means == "(none)") {
      word.none = true;
    } else if (means.starts_with(absent_begin) && means.ends_with(')')) {
      word.absent = means.substr(absent_begin.size(), means.size() - absent_begin.size() - 1);
    } else {
      word.means = means;
    }
    if (direction != "both" && direction != "in" && direction != "out") {
      return table_fault(file, row.line, "unknown direction '" + std::string(direction) + "'",
                         "both, in or out");
    }
    word.read = direction != "out";
    word.written = direction != "in";
    const auto place = made.rows_.size();
    if (word.read) {
      const auto [known, fresh] = made.by_cell_.emplace(word.cell, place);
      if (!fresh) {
        return table_fault(file, row.line,
                           "the cell '" + word.cell + "' is read twice: here and in line " +
                               std::to_string(made.rows_[known->second].line),
                           "take one row out, or give it the direction 'out'");
      }
    }
    if (word.written) {
      const auto [known, fresh] = made.by_means_.emplace(means, place);
      if (!fresh) {
        return table_fault(file, row.line,
                           "'" + means + "' is written twice: here and in line " +
                               std::to_string(made.rows_[known->second].line),
                           "give all but one the direction 'in'");
      }
    }
    made.rows_.push_back(std::move(word));
  }
  return made;
}

const SiteWord* SiteWords::reading(std::string_view cell) const {
  const auto known = by_cell_.find(cell);
  return known == by_cell_.end() ? nullptr : &rows_[known->second];
}

const SiteWord* SiteWords::writing(std::string_view means) const {
  const auto known = by_means_.find(means);
  return known == by_means_.end() ? nullptr : &rows_[known->second];
}

const SiteWord* SiteWords::writing_absent(std::string_view reason) const {
  return writing(std::string(absent_begin) + std::string(reason) + ")");
}

const SiteWord* SiteWords::writing_none() const {
  return writing("(none)");
}

// --- times
// ---------------------------------------------------------------------------------------------------

bool TimeForm::Pattern::has(Piece piece) const {
  return std::any_of(tokens.begin(), tokens.end(), [&](const Token& token) { return token.piece == piece; });
}

std::optional<TimeForm::Pattern> TimeForm::parse(const std::string& text) {
  struct Row {
    std::string_view text;
    Token token;
  };
  // The longest of each letter first.
  static const Row rows[] = {
      {"YYYY", {Piece::year, 4}},    {"MM", {Piece::month, 2}},  {"M", {Piece::month, 1}},
      {"DD", {Piece::day, 2}},       {"D", {Piece::day, 1}},     {"+hh:mm", {Piece::offset, 4, true}},
      {"+hhmm", {Piece::offset, 4}}, {"hh", {Piece::hour, 2}},   {"h", {Piece::hour, 1}},
      {"mm", {Piece::minute, 2}},    {"ss", {Piece::second, 2}}, {"AP", {Piece::half, 2}},
  };
  Pattern pattern{text, {}};
  std::string_view rest = text;
  while (!rest.empty()) {
    const auto row = std::find_if(std::begin(rows), std::end(rows),
                                  [&](const Row& one) { return rest.starts_with(one.text); });
    if (row != std::end(rows)) {
      if (pattern.has(row->token.piece)) return std::nullopt;
      pattern.tokens.push_back(row->token);
      rest.remove_prefix(row->text.size());
      continue;
    }
    if (pattern.tokens.empty() || pattern.tokens.back().piece != Piece::literal) pattern.tokens.push_back({});
    pattern.tokens.back().text += rest.front();
    rest.remove_prefix(1);
  }
  // A part of a time stands only behind the greater ones: a day needs its month.
  const std::pair<Piece, Piece> needs[] = {{Piece::month, Piece::year},  {Piece::day, Piece::month},
                                           {Piece::hour, Piece::day},    {Piece::minute, Piece::hour},
                                           {Piece::hour, Piece::minute}, {Piece::second, Piece::minute},
                                           {Piece::half, Piece::hour},   {Piece::offset, Piece::hour}};
  if (!pattern.has(Piece::year)) return std::nullopt;
  for (const auto& [one, other] : needs) {
    if (pattern.has(one) && !pattern.has(other)) return std::nullopt;
  }
  return pattern;
}

Result<TimeForm> TimeForm::make(std::string name, std::vector<std::string> patterns, std::string zone) {
  TimeForm made;
  made.name_ = std::move(name);
  made.zone_name_ = std::move(zone);
  if (!made.zone_name_.empty()) {
    made.zone_ = Zone::named(made.zone_name_);
    if (!made.zone_)
      return Error{Error::usage,
                   "there is no time zone '" + made.zone_name_ + "'",
                   {},
                   0,
                   0,
                   "write an IANA name such as Europe/Berlin"};
  }
  for (const auto& one : patterns) {
    auto pattern = parse(one);
    if (!pattern) {
      return Error{Error::usage,
                   "'" + one + "' is no pattern of a time",
                   {},
                   0,
                   0,
                   "YYYY, MM, DD, hh, mm, ss, AP, +hhmm, each once and none without the greater ones"};
    }
    if (pattern->has(Piece::hour) && !pattern->has(Piece::offset) && !made.zone_) {
      return Error{Error::usage,
                   "'" + one + "' has a time of day without offset",
                   {},
                   0,
                   0,
                   "give the zone of the site"};
    }
    made.patterns_.push_back(std::move(*pattern));
  }
  if (made.patterns_.empty()) return Error{Error::usage, "there is no pattern", {}, 0, 0, "give \"pattern\""};
  return made;
}

std::string TimeForm::patterns_text() const {
  std::string all;
  for (const auto& one : patterns_) all.append(all.empty() ? "" : ", ").append(one.text);
  return all;
}

TimeForm::Outcome TimeForm::read(std::string_view cell, std::string& text) const {
  Outcome outcome = Outcome::no_time;
  for (const auto& pattern : patterns_) {
    outcome = read(pattern, cell, text);
    if (outcome != Outcome::no_time) return outcome;
  }
  return outcome;
}

namespace {

bool digits(std::string_view& rest, std::size_t least, std::size_t most, int& value) {
  std::size_t count = 0;
  value = 0;
  while (count < most && count < rest.size() && rest[count] >= '0' && rest[count] <= '9') {
    value = value * 10 + (rest[count] - '0');
    ++count;
  }
  if (count < least) return false;
  rest.remove_prefix(count);
  return true;
}

void append_padded(int value, std::size_t width, std::string& out) {
  const auto number = std::to_string(value);
  if (number.size() < width) out.append(width - number.size(), '0');
  out += number;
}

}  // namespace

TimeForm::Outcome TimeForm::read(const Pattern& pattern, std::string_view cell, std::string& text) const {
  int year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0, half = -1;
  std::string offset;
  for (const auto& token : pattern.tokens) {
    bool good = true;
    const std::size_t least = token.digits;
    switch (token.piece) {
      case Piece::literal:
        good = cell.starts_with(token.text);
        if (good) cell.remove_prefix(token.text.size());
        break;
      case Piece::year:
        good = digits(cell, 4, 4, year);
        break;
      case Piece::month:
        good = digits(cell, least, 2, month) && month >= 1;
        break;
      case Piece::day:
        good = digits(cell, least, 2, day) && day >= 1;
        break;
      case Piece::hour:
        good = digits(cell, least, 2, hour);
        break;
      case Piece::minute:
        good = digits(cell, 2, 2, minute);
        break;
      case Piece::second:
        good = digits(cell, 2, 2, second);
        break;
      case Piece::half:
        good = cell.starts_with("AM") || cell.starts_with("PM");
        if (good) {
          half = cell.front() == 'P' ? 12 : 0;
          cell.remove_prefix(2);
        }
        break;
      case Piece::offset: {
        int hours = 0, minutes = 0;
        good = !cell.empty() && (cell.front() == '+' || cell.front() == '-');
        if (!good) break;
        offset = cell.substr(0, 1);
        cell.remove_prefix(1);
        good = digits(cell, 2, 2, hours);
        if (good && token.colon) {
          good = cell.starts_with(':');
          if (good) cell.remove_prefix(1);
        }
        good = good && digits(cell, 2, 2, minutes);
        append_padded(hours, 2, offset);
        offset += ':';
        append_padded(minutes, 2, offset);
        break;
      }
    }
    if (!good) return Outcome::no_time;
  }
  if (!cell.empty()) return Outcome::no_time;
  if (half >= 0) {
    if (hour < 1 || hour > 12) return Outcome::no_time;
    hour = hour % 12 + half;
  }
  text.clear();
  append_padded(year, 4, text);
  if (pattern.has(Piece::month)) append_padded(month, 2, text += '-');
  if (pattern.has(Piece::day)) append_padded(day, 2, text += '-');
  if (pattern.has(Piece::hour)) {
    append_padded(hour, 2, text += 'T');
    append_padded(minute, 2, text += ':');
    if (pattern.has(Piece::second)) append_padded(second, 2, text += ':');
    const auto clock = text + "Z";
    if (!parse_time(clock)) return Outcome::no_time;
    if (offset.empty()) {
      // The clock on the wall, as seconds; a leap second is not met by any zone.
      const auto meeting = zone_->at_wall(seconds_since_epoch(parse_time(clock).time));
      if (meeting.clock == Zone::Clock::never) return Outcome::never;
      if (meeting.clock == Zone::Clock::twice) return Outcome::twice;
      // A local time that is level with UTC is still a local time: +00:00.
      offset = meeting.offset_minutes == 0 ? "+00:00" : offset_text(meeting.offset_minutes);
    }
    text += offset;
  }
  return parse_time(text) ? Outcome::good : Outcome::no_time;
}

bool TimeForm::write(std::string_view text, std::string& cell, std::string& back) const {
  const auto comes_back = [&](std::string_view wanted) {
    return std::any_of(patterns_.begin(), patterns_.end(), [&](const Pattern& pattern) {
      // What would come back as another text, or by an earlier pattern, is no cell of it.
      return write(pattern, wanted, cell) && read(cell, back) == Outcome::good && back == wanted;
    });
  };
  if (comes_back(text)) return true;
  // An offset of nothing has two spellings, and a pattern one of them.
  return text.ends_with('Z') && comes_back(std::string(text.substr(0, text.size() - 1)) + "+00:00");
}

bool TimeForm::write(const Pattern& pattern, std::string_view text, std::string& cell) const {
  const auto reading = parse_time(text);
  if (!reading) return false;
  const Time& time = reading.time;
  cell.clear();
  for (const auto& token : pattern.tokens) {
    switch (token.piece) {
      case Piece::literal:
        cell += token.text;
        break;
      case Piece::year:
        append_padded(time.year, 4, cell);
        break;
      case Piece::month:
        append_padded(time.month, token.digits, cell);
        break;
      case Piece::day:
        append_padded(time.day, token.digits, cell);
        break;
      case Piece::hour:
        append_padded(pattern.has(Piece::half) ? (time.hour + 11) % 12 + 1 : time.hour, token.digits, cell);
        break;
      case Piece::minute:
        append_padded(time.minute, 2, cell);
        break;
      case Piece::second:
        append_padded(time.second, 2, cell);
        break;
      case Piece::half:
        cell += time.hour < 12 ? "AM" : "PM";
        break;
      case Piece::offset: {
        const int size = time.offset_minutes < 0 ? -time.offset_minutes : time.offset_minutes;
        cell += time.offset_minutes < 0 ? '-' : '+';
        append_padded(size / 60, 2, cell);
        if (token.colon) cell += ':';
        append_padded(size % 60, 2, cell);
        break;
      }
    }
  }
  return true;
}

}  // namespace charpie::mapping
