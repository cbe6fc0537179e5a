#include "fhir/elements.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <string>

#include "base/text.hpp"
#include "syntax/csv.hpp"

namespace charpie::fhir {

namespace {

constexpr std::array<std::string_view, 22> primitive_names = {
    "",     "base64Binary", "boolean", "canonical", "code",     "date", "dateTime",    "decimal",
    "id",   "instant",      "integer", "integer64", "markdown", "oid",  "positiveInt", "string",
    "time", "unsignedInt",  "uri",     "url",       "uuid",     "xhtml"};

Primitive primitive_of(std::string_view name) {
  const auto found = std::find(primitive_names.begin() + 1, primitive_names.end(), name);
  return found == primitive_names.end() ? Primitive::none
                                        : static_cast<Primitive>(found - primitive_names.begin());
}

std::string_view above(std::string_view path) {
  return path.substr(0, path.rfind('.'));
}

}  // namespace

std::string_view version_name(Version version) {
  return version == Version::r4 ? "r4" : "r5";
}

bool ValueSet::contains(std::string_view system, std::string_view code) const {
  return contains(code) && std::any_of(codes.begin(), codes.end(), [&](const auto& one) {
           return one.first == system && one.second == code;
         });
}

// Reads the two tables of a version; where they are wrong, `error_` says so and the work stops.
class ElementsLoader {
 public:
  ElementsLoader(Elements& into, const Tables& tables, syntax::Names& names)
      : into_(into), tables_(tables), names_(names) {}

  Outcome load() {
    const std::string version(version_name(into_.version_));
    if (auto done = read("fhir/bindings-" + version + ".csv", {"value_set", "system", "code"},
                         [this](const syntax::CsvTable::Row& row) { return add_code(row); });
        !done) {
      return done;
    }
    into_.resource_types_ = into_.value_set("resource-types");
    if (into_.resource_types_ == nullptr) return broken(0, "the value set resource-types is missing");
    if (auto done =
            read("fhir/elements-" + version + ".csv",
                 {"path", "types", "min", "max", "binding", "same_as", "xml", "invariants", "warnings"},
                 [this](const syntax::CsvTable::Row& row) { return add_row(row); });
        !done) {
      return done;
    }
    return join();
  }

 private:
  template <class Use>
  Outcome read(std::string file, std::vector<std::string> header, Use&& use) {
    file_ = std::move(file);
    const auto* text = tables_.find(file_);
    if (text == nullptr) return broken(0, "the table is missing");
    const auto table = syntax::read_csv_table(*text, file_);
    if (!table) return table.error();
    if (table->header != header) return broken(1, "the header is not as expected");
    for (const auto& row : table->rows) {
      if (auto done = use(row); !done) return done;
    }
    return std::monostate{};
  }

  Error broken(std::size_t line, std::string message) const {
    return {Error::mapping_broken,
            std::move(message),
            "mappings/" + file_,
            line,
            0,
            "write the table anew with tests/interop/elements/compare.mjs --write"};
  }

  std::string_view keep(std::string_view text) { return into_.texts_.keep(text); }

  Outcome add_code(const syntax::CsvTable::Row& row) {
    auto*& set = into_.value_set_by_name_[row.cells[0]];
    if (set == nullptr) {
      into_.value_sets_.push_back(std::make_unique<ValueSet>());
      const auto name = keep(row.cells[0]);
      into_.value_set_by_name_.erase(row.cells[0]);  // its key viewed into the row
      into_.value_set_by_name_[name] = into_.value_sets_.back().get();
      into_.value_sets_.back()->name = name;
    }
    ValueSet& one = *into_.value_sets_[into_.value_sets_.size() - 1];
    if (one.name != row.cells[0]) return broken(row.line, "the rows of " + row.cells[0] + " stand apart");
    if (row.cells[2] == "*") return std::monostate{};
    one.listed = true;
    one.codes.emplace_back(keep(row.cells[1]), keep(row.cells[2]));
    one.words.insert(one.codes.back().second);
    return std::monostate{};
  }

  Shape* add_shape(std::string_view path) {
    into_.shapes_.push_back(std::make_unique<Shape>());
    Shape* shape = into_.shapes_.back().get();
    shape->path = path;
    shape->number = static_cast<std::uint32_t>(into_.shapes_.size() - 1);
    into_.by_path_[path] = shape;
    return shape;
  }

  // A row without a dot begins a type; the others are its elements, each after the one it belongs to.
  Outcome add_row(const syntax::CsvTable::Row& row) {
    const auto path = keep(row.cells[0]);
    if (path.find('.') == std::string_view::npos) {
      if (into_.by_path_.contains(path)) return broken(row.line, "the type stands there twice");
      Shape* shape = add_shape(path);
      shape->name = names_.add(path);
      shape->primitive = primitive_of(path);
      shape->kind = shape->primitive == Primitive::none ? Kind::data_type : Kind::primitive;
      shape->invariants = split(keep(row.cells[7]), ' ');
      shape->warnings = split(keep(row.cells[8]), ' ');
      bases_.emplace_back(shape, keep(row.cells[1]));
      return std::monostate{};
    }
    const auto owner = into_.by_path_.find(above(path));
    if (owner == into_.by_path_.end()) return broken(row.line, "no row above is its owner");
    Element element;
    element.path = path;
    element.name = path.substr(path.rfind('.') + 1);
    if (element.name.ends_with("[x]")) {
      element.choice = true;
      element.name.remove_suffix(3);
    }
    element.number = into_.element_count_++;
    element.order = static_cast<std::uint16_t>(owner->second->elements.size());
    if (!number(row.cells[2], element.min) || !number(row.cells[3], element.max))
      return broken(row.line, "min or max is no number");
    if (!row.cells[4].empty()) {
      element.binding = into_.value_set(row.cells[4]);
      if (element.binding == nullptr) return broken(row.line, "the value set has no rows");
    }
    element.attribute = row.cells[6] == "attribute";
    element.invariants = split(keep(row.cells[7]), ' ');
    element.warnings = split(keep(row.cells[8]), ' ');
    for (const auto written : split(keep(row.cells[1]), ' ')) {
      ElementType type;
      type.name = written.substr(0, written.find('('));
      if (type.name.size() < written.size())
        type.targets =
            split(written.substr(type.name.size() + 1, written.size() - type.name.size() - 2), '|');
      element.types.push_back(std::move(type));
    }
    if (!row.cells[5].empty()) {
      element.types.emplace_back();
      same_as_.push_back({owner->second, element.order, keep(row.cells[5]), row.line});
    } else if (element.types.empty()) {
      return broken(row.line, "the element has no type");
    }
    const auto& type = element.types[0].name;
    if (type == "BackboneElement" || type == "Element") {
      Shape* shape = add_shape(path);
      shape->kind = Kind::backbone;
      shape->invariants = std::move(element.invariants);
      shape->warnings = std::move(element.warnings);
      element.invariants.clear();
      element.warnings.clear();
      bases_.emplace_back(shape, type);
      element.types[0].shape = shape;
    }
    owner->second->elements.push_back(std::move(element));
    if (owner->second->elements.size() > most_elements) return broken(row.line, "more than 64 elements in one object");
    return std::monostate{};
  }

  static bool number(std::string_view text, std::uint16_t& out) {
    if (text == "*") {
      out = Element::no_limit;
      return true;
    }
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
    return error == std::errc{} && end == text.data() + text.size();
  }

  // All rows are there: types find their shapes, members their numbers.
  Outcome join() {
    for (const auto& [shape, base] : bases_) {
      if (base.empty()) continue;
      shape->base = into_.shape(base);
      if (shape->base == nullptr) return broken(0, std::string(base) + " has no row");
    }
    for (const auto& [owner, order, path, line] : same_as_) {
      const Shape* shape = into_.shape(path);
      if (shape == nullptr) return broken(line, "same_as names no element with elements");
      owner->elements[order].types[0] = {shape->base->path, shape, {}};
    }
    for (auto& shape : into_.shapes_) {
      if (shape->kind == Kind::data_type && shape->is("Resource")) shape->kind = Kind::resource;
      for (auto& element : shape->elements) {
        for (auto& type : element.types) {
          if (type.shape != nullptr) continue;
          const bool narrower = type.name == "Quantity" && !type.targets.empty();
          type.shape = into_.shape(narrower ? type.targets[0] : type.name);
          if (type.shape == nullptr) return broken(0, std::string(type.name) + " has no row");
          if (narrower) type.targets.clear();
        }
        if (element.min > 0) shape->required |= std::uint64_t{1} << element.order;
      }
      Elements::index(*shape, names_);
    }
    static constexpr std::string_view abstract[] = {
        "Base",          "Element",  "BackboneElement", "DataType",          "BackboneType",
        "PrimitiveType", "Resource", "DomainResource",  "CanonicalResource", "MetadataResource"};
    for (const auto name : abstract) {
      if (const auto found = into_.by_path_.find(name); found != into_.by_path_.end())
        found->second->abstract = true;
    }
    return std::monostate{};
  }

  struct SameAs {
    Shape* owner;
    std::uint16_t order;
    std::string_view path;
    std::size_t line;
  };
  Elements& into_;
  const Tables& tables_;
  syntax::Names& names_;
  std::string file_;
  std::vector<std::pair<Shape*, std::string_view>> bases_;
  std::vector<SameAs> same_as_;
};

void Elements::index(Shape& shape, syntax::Names& names) {
  std::vector<Member> members;
  for (const auto& element : shape.elements) {
    for (const auto& type : element.types) {
      std::string name(element.name);
      if (element.choice) {
        name += type.name;
        char& first = name[element.name.size()];
        if (first >= 'a' && first <= 'z') first = static_cast<char>(first - 'a' + 'A');
      }
      Member member{&element, &type, names.add(name), 0, false};
      if (type.shape->primitive == Primitive::none || type.shape->primitive == Primitive::xhtml ||
          element.attribute) {
        members.push_back(member);
        continue;
      }
      member.partner = names.add("_" + name);
      members.push_back(member);
      members.push_back({&element, &type, member.partner, member.name, true});
    }
  }
  std::uint32_t size = 4;
  while (size < members.size() * 2) size *= 2;
  shape.mask_ = size - 1;
  shape.slots_.assign(size, Member{});
  for (const auto& member : members) {
    auto slot = member.name & shape.mask_;
    while (shape.slots_[slot].name != 0) slot = (slot + 1) & shape.mask_;
    shape.slots_[slot] = member;
  }
}

Result<Elements> Elements::load(const Tables& tables, Version version, syntax::Names& names) {
  Elements elements;
  elements.version_ = version;
  elements.names_ = &names;
  names.add("resourceType");  // no element, but the first name that a reader looks for
  if (auto done = ElementsLoader(elements, tables, names).load(); !done) return done.error();
  return elements;
}

const Shape* Elements::type(std::string_view name) const {
  const Shape* found = shape(name);
  return found != nullptr && found->kind != Kind::backbone ? found : nullptr;
}

const Shape* Elements::shape(std::string_view path) const {
  const auto found = by_path_.find(path);
  return found == by_path_.end() ? nullptr : found->second;
}

const ValueSet* Elements::value_set(std::string_view name) const {
  const auto found = value_set_by_name_.find(name);
  return found == value_set_by_name_.end() ? nullptr : found->second;
}

}  // namespace charpie::fhir
