#include "syntax/er7_groups.hpp"

#include <algorithm>

#include "syntax/csv.hpp"

namespace charpie::syntax {

namespace {

Node* hang(Node& parent, Node* child) {
  append(parent, child);
  return child;
}

Node* first_value(const Node& segment, std::string_view field, std::string_view component) {
  const Node* list = segment.member(field);
  return list == nullptr || list->first == nullptr ? nullptr : list->first->member(component);
}

bool is_segment_name(std::string_view name) {
  return name.size() == 3 && name[0] >= 'A' && name[0] <= 'Z' &&
         std::all_of(name.begin() + 1, name.end(),
                     [](char c) { return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); });
}

}  // namespace

Result<Er7Structures> Er7Structures::load(std::string_view table, std::string_view file_name) {
  auto read = read_csv_table(table, file_name);
  if (!read) return read.error();
  const auto refuse = [&](std::size_t line, std::string message, std::string mend) {
    return Error{Error::invalid, std::move(message), std::string(file_name), line, 1, std::move(mend)};
  };
  for (const char* column : {"structure", "group", "segment", "repeats", "opens"}) {
    if (read->column(column) == CsvTable::none)
      return refuse(1, "the table has no column '" + std::string(column) + "'", "add it");
  }
  Er7Structures structures;
  for (const auto& row : read->rows) {
    const auto name = read->cell(row, "structure");
    const auto repeats = read->cell(row, "repeats");
    const auto opens = read->cell(row, "opens");
    Place place{std::string(read->cell(row, "group")), std::string(read->cell(row, "segment")),
                repeats == "many", opens == "yes"};
    if (name.empty() || !is_segment_name(place.segment))
      return refuse(row.line, "the row names no structure or no segment", "write ORU_R01 and OBX");
    if (!place.many && repeats != "one")
      return refuse(row.line, "'repeats' is neither one nor many", "write one of them");
    if (!place.opens && !opens.empty())
      return refuse(row.line, "'opens' is neither yes nor empty", "write yes, or leave it empty");
    if (structures.structures_.empty() || structures.structures_.back().name != name) {
      structures.structures_.push_back({std::string(name), {}});
    }
    auto& places = structures.structures_.back().places;
    const bool twice = std::any_of(places.begin(), places.end(), [&](const Place& one) {
      return one.group == place.group && one.segment == place.segment;
    });
    if (twice) return refuse(row.line, "the segment stands in its group twice", "leave one row out");
    places.push_back(std::move(place));
  }
  return structures;
}

// Walks the segments of one message and keeps the groups that are open, outermost first.
class Er7Grouping {
 public:
  Er7Grouping(const Er7Structures::Structure& structure, Node& root, Arena& arena, const Names& names)
      : places_(structure.places), arena_(arena), names_(names) {
    open_.push_back({&root, {}, 0, 0, nullptr});
  }

  void take(Node* segment) {
    const std::string_view name = segment->first->text;
    for (std::size_t depth = open_.size(); depth-- > 0;) {
      if (put(depth, segment, name)) return;
    }
    Node& group = *open_.back().node;
    Node* list = group.member(er7_others);
    if (list == nullptr) list = hang(group, named(NodeKind::array, er7_others));
    hang(*list, segment);
  }

 private:
  struct Open {
    Node* node;
    std::string_view group;
    std::size_t at;      // the place in the structure that was filled last
    std::size_t filled;  // 1 more than that place when a segment stands there
    Node* list;          // of its repetitions; nullptr for the message
  };

  Node* named(NodeKind kind, std::string_view name) {
    Node* node = arena_.make<Node>();
    node->kind = kind;
    node->name_text = arena_.keep(name);
    node->name = names_.find(name);
    return node;
  }

  static bool is_within(std::string_view group, std::string_view outer) {
    return group.size() > outer.size() && group.starts_with(outer) &&
           (outer.empty() || group[outer.size()] == '/');
  }

  // The name of the group in `outer` that holds `group`.
  static std::string_view next_level(std::string_view group, std::string_view outer) {
    const std::size_t end = group.find('/', outer.empty() ? 0 : outer.size() + 1);
    return group.substr(0, end);
  }

  std::size_t first_place(std::string_view group) const {
    for (std::size_t i = 0; i < places_.size(); ++i) {
      if (places_[i].group == group || is_within(places_[i].group, group)) return i;
    }
    return places_.size();
  }

  // Puts the segment into the open group of that depth, or into a new group within it.
  bool put(std::size_t depth, Node* segment, std::string_view name) {
    Open& outer = open_[depth];
    for (std::size_t i = 0; i < places_.size(); ++i) {
      const auto& place = places_[i];
      if (place.segment != name) continue;
      if (place.group == outer.group) {
        const bool again = outer.filled == i + 1;
        if (i < outer.at || (again && !place.many)) continue;
        open_.resize(depth + 1);
        hang_segment(open_.back(), i, segment);
        return true;
      }
      if (!place.opens || !is_within(place.group, outer.group)) continue;
      if (first_place(next_level(place.group, outer.group)) < outer.at) continue;
      open_.resize(depth + 1);
      while (open_.back().group != place.group) open_group(next_level(place.group, open_.back().group));
      hang_segment(open_.back(), i, segment);
      return true;
    }
    return false;
  }

  void open_group(std::string_view group) {
    Open& outer = open_.back();
    const std::string_view name = group.substr(outer.group.empty() ? 0 : outer.group.size() + 1);
    outer.at = first_place(group);
    outer.filled = 0;
    Node* list = outer.node->member(name);
    if (list == nullptr) list = hang(*outer.node, named(NodeKind::array, name));
    Node* node = arena_.make<Node>();
    node->kind = NodeKind::object;
    hang(*list, node);
    open_.push_back({node, group, 0, 0, list});
  }

  void hang_segment(Open& group, std::size_t at, Node* segment) {
    const auto& place = places_[at];
    group.at = at;
    group.filled = at + 1;
    segment->first = segment->first->next;  // "segment": the member's name says it
    --segment->count;
    if (segment->first == nullptr) segment->last = nullptr;
    Node* parent = group.node;
    if (place.many) {
      parent = group.node->member(place.segment);
      if (parent == nullptr) parent = hang(*group.node, named(NodeKind::array, place.segment));
      stretch(*parent, *segment);
    } else {
      segment->name_text = arena_.keep(place.segment);
      segment->name = names_.find(place.segment);
    }
    hang(*parent, segment);
    for (const Open& one : open_) {
      stretch(*one.node, *segment);
      if (one.list != nullptr) stretch(*one.list, *segment);
    }
  }

  // Groups, and lists of them, begin where their first segment does.
  static void stretch(Node& group, const Node& segment) {
    if (group.end == 0) group.begin = segment.begin;
    group.end = std::max(group.end, segment.end);
  }

  const std::vector<Er7Structures::Place>& places_;
  Arena& arena_;
  const Names& names_;
  std::vector<Open> open_;
};

bool Er7Structures::group(Node& message, Arena& arena, const Names& names) const {
  Node* segments = message.member("segments");
  if (segments == nullptr || segments->first == nullptr) return false;
  const Node& header = *segments->first;
  std::string wanted(plain_text(first_value(header, "9", "3")));
  if (wanted.empty())
    wanted = std::string(plain_text(first_value(header, "9", "1"))) + "_" +
             std::string(plain_text(first_value(header, "9", "2")));
  const auto structure = std::find_if(structures_.begin(), structures_.end(),
                                      [&](const Structure& one) { return one.name == wanted; });
  if (structure == structures_.end()) return false;
  message.first = message.last = nullptr;
  message.count = 0;
  Er7Grouping grouping(*structure, message, arena, names);
  for (Node* segment = segments->first; segment != nullptr;) {
    Node* next = segment->next;
    grouping.take(segment);
    segment = next;
  }
  return true;
}

namespace {

class Flattening {
 public:
  Flattening(Node& list, Arena& arena, const Names& names) : list_(list), arena_(arena), names_(names) {}

  Outcome take(Node& group) {
    for (Node* member = group.first; member != nullptr;) {
      Node* next = member->next;
      if (member->is_object() && is_segment_name(member->name_text)) {
        take_segment(member, member->name_text);
      } else if (member->is_array()) {
        if (auto taken = take_list(*member); !taken) return taken;
      } else {
        return wrong();
      }
      member = next;
    }
    return std::monostate{};
  }

 private:
  static Error wrong() {
    return {Error::invalid,
            "the tree is no grouped message",
            {},
            0,
            0,
            "name segments by their three characters, and give groups as lists of objects"};
  }

  Outcome take_list(Node& list) {
    const std::string_view name = list.name_text;
    for (Node* one = list.first; one != nullptr;) {
      Node* next = one->next;
      if (!one->is_object()) return wrong();
      if (name == er7_others) {
        hang(list_, one);
      } else if (is_segment_name(name)) {
        take_segment(one, name);
      } else if (auto taken = take(*one); !taken) {
        return taken;
      }
      one = next;
    }
    return std::monostate{};
  }

  void take_segment(Node* segment, std::string_view name) {
    Node* node = arena_.make<Node>();
    node->kind = NodeKind::string;
    node->name_text = "segment";
    node->name = names_.find("segment");
    node->text = name;
    node->begin = node->end = segment->begin;
    node->next = segment->first;
    segment->first = node;
    if (segment->last == nullptr) segment->last = node;
    ++segment->count;
    segment->name_text = {};
    segment->name = 0;
    hang(list_, segment);
  }

  Node& list_;
  Arena& arena_;
  const Names& names_;
};

}  // namespace

Outcome flatten_er7(Node& message, Arena& arena, const Names& names) {
  if (!message.is_object())
    return Error{Error::invalid, "the tree is no message", {}, 0, 0, "give an object"};
  if (message.member("segments") != nullptr) return std::monostate{};
  Node* list = arena.make<Node>();
  list->kind = NodeKind::array;
  list->name_text = "segments";
  list->name = names.find("segments");
  list->begin = message.begin;
  list->end = message.end;
  auto taken = Flattening(*list, arena, names).take(message);
  message.first = message.last = list;
  message.count = 1;
  return taken;
}

}  // namespace charpie::syntax
