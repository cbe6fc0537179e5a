// What a version of FHIR says about each element: order, types, cardinality, required binding, invariants by
// key. Read from mappings/fhir/elements-*.csv and bindings-*.csv, which are held against HL7's definitions.
#pragma once
#include <cstdint>
#include <memory>
#include <string_view>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "syntax/tree.hpp"

namespace charpie::fhir {

enum class Version : std::uint8_t { r4, r5 };

/// The version as the tables write it: "r4", "r5".
std::string_view version_name(Version version);

/// The primitive types (R4 and R5, datatypes.html#primitive); `none` for everything else.
enum class Primitive : std::uint8_t {
  none,
  base64_binary,
  boolean,
  canonical,
  code,
  date,
  date_time,
  decimal,
  id,
  instant,
  integer,
  integer64,
  markdown,
  oid,
  positive_int,
  string,
  time,
  unsigned_int,
  uri,
  url,
  uuid,
  xhtml
};

enum class Kind : std::uint8_t { primitive, data_type, backbone, resource };

struct Shape;

/// A shape has at most so many elements (the loader sees to it).
inline constexpr std::size_t most_elements = 64;

/// A value set that a code must come from.
struct ValueSet {
  std::string_view name;  // the last part of its URL: "observation-status"
  bool listed = false;    // false: codes of another standard (MIME types, languages), which are not listed
  std::vector<std::pair<std::string_view, std::string_view>> codes;  // system and code, in the table's order
  std::unordered_set<std::string_view> words;                        // the codes alone
  bool contains(std::string_view code) const { return words.contains(code); }
  bool contains(std::string_view system, std::string_view code) const;
};

/// One of the types that an element may have.
struct ElementType {
  std::string_view name;                  // "Quantity", "Reference"
  const Shape* shape = nullptr;           // of the type; for SimpleQuantity and its like of the narrower one
  std::vector<std::string_view> targets;  // of a Reference or canonical: the resource types it may point to
};

/// One element of a type, a resource or a backbone.
struct Element {
  static constexpr std::uint16_t no_limit = 0xFFFF;
  std::string_view path;     // "Observation.value[x]"
  std::string_view name;     // "value"
  std::uint16_t order = 0;   // place in its shape, from 0: also the order in XML
  std::uint32_t number = 0;  // among all elements of the version
  std::uint16_t min = 0;
  std::uint16_t max = 1;              // no_limit for *
  bool choice = false;                // value[x]: the member's name says the type
  bool attribute = false;             // an attribute in XML (Element.id, Extension.url)
  std::vector<ElementType> types;     // one, unless `choice`
  const ValueSet* binding = nullptr;  // only required bindings
  // Keys of rules that stand here and are none of the type's own. Those of a backbone stand at its shape.
  std::vector<std::string_view> invariants, warnings;
  bool repeats() const { return max > 1; }  // an array in JSON, also when it holds one
};

/// What a member's name in JSON (or a child's in XML) stands for: valueQuantity, _birthDate.
struct Member {
  const Element* element = nullptr;
  const ElementType* type = nullptr;
  std::uint32_t name = 0;     // its own number
  std::uint32_t partner = 0;  // of a primitive: the number of _x for x, of x for _x
  bool companion = false;     // this is _x: id and extensions of a primitive
};

/// A data type, a resource type, or a backbone element ("Observation.component"). Elements that refer to
/// another's content (contentReference) share its shape.
struct Shape {
  std::string_view path;
  std::uint32_t name = 0;    // number of the path, for types
  std::uint32_t number = 0;  // among all shapes of the version
  Kind kind = Kind::data_type;
  Primitive primitive = Primitive::none;
  bool abstract = false;        // Resource, DomainResource, Element ...: never written by its own name
  const Shape* base = nullptr;  // nullptr at the top
  std::vector<Element> elements;
  std::vector<std::string_view> invariants, warnings;  // keys of its own; those of `base` hold too
  std::uint64_t required = 0;                          // a bit for each element with min > 0, by order

  /// What the member with that number stands for, or nullptr.
  const Member* member(std::uint32_t number) const {
    if (number == 0) return nullptr;
    for (auto slot = number & mask_; slots_[slot].name != 0; slot = (slot + 1) & mask_) {
      if (slots_[slot].name == number) return &slots_[slot];
    }
    return nullptr;
  }
  /// Whether this is that type, or one made from it.
  bool is(std::string_view type) const {
    for (const Shape* at = this; at != nullptr; at = at->base) {
      if (at->path == type) return true;
    }
    return false;
  }

 private:
  friend class Elements;
  std::uint32_t mask_ = 0;
  std::vector<Member> slots_;
};

/// Whether values of that type are resources.
inline bool holds_resource(const ElementType& type) {
  return type.shape->kind == Kind::resource || type.shape->is("Resource");
}

/// The tables of one version. Views point into itself and into the Tables it was loaded from, which must
/// outlive it. Not changed after loading: any thread may ask.
class Elements {
 public:
  /// Loads mappings/fhir/elements-VERSION.csv and bindings-VERSION.csv. Adds every member name (also `_x` and
  /// `valueQuantity`) to `names`, by which trees must then be read. Error::mapping_broken with file and line.
  static Result<Elements> load(const Tables& tables, Version version, syntax::Names& names);

  Version version() const { return version_; }
  const syntax::Names& names() const { return *names_; }
  /// The data type, primitive or resource type of that name, or nullptr: not in the table.
  const Shape* type(std::string_view name) const;
  /// The same by the path of a backbone too: "Bundle.entry".
  const Shape* shape(std::string_view path) const;
  /// Whether the version has a resource type of that name, also one that the table does not cover.
  bool is_resource_type(std::string_view name) const { return resource_types_->contains(name); }
  const ValueSet* value_set(std::string_view name) const;
  const std::vector<std::unique_ptr<Shape>>& shapes() const { return shapes_; }
  std::uint32_t element_count() const { return element_count_; }

 private:
  friend class ElementsLoader;
  static void index(Shape& shape, syntax::Names& names);
  Version version_ = Version::r4;
  const syntax::Names* names_ = nullptr;
  Arena texts_;
  std::vector<std::unique_ptr<Shape>> shapes_;
  std::vector<std::unique_ptr<ValueSet>> value_sets_;
  std::unordered_map<std::string_view, Shape*> by_path_;
  std::unordered_map<std::string_view, ValueSet*> value_set_by_name_;
  const ValueSet* resource_types_ = nullptr;
  std::uint32_t element_count_ = 0;
};

}  // namespace charpie::fhir
