// Templates after loading: a tree of parts that looks like the thing itself, with holes where record fields
// go. One tree serves both ways: write.cpp walks it to fill the holes, read.cpp to take the fields out of
// them. Parts live in the mapping's arena, with all that they view: a set has thousands, and they are made anew at
// each start of the program.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/facet.hpp"
#include "mapping/spelling.hpp"
#include "record/record.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

/// Where something was written in a mapping file, for messages and lineage.
struct Place {
  std::string_view file;
  std::uint32_t line = 0;
};

/// The way from a level (0: the record, 1 and more: the element of an enclosing list) to a value.
struct Accessor {
  std::uint8_t level = 0;
  std::uint8_t steps = 0;                          // 0: the level's own value
  std::uint8_t slots[4] = {};                      // slot of each group on the way
  record::FieldId ids[4] = {};                     // its field
  record::FieldId field = record::FieldId::visit;  // what it leads to
};

/// What a hole is filled from.
enum class Source : std::uint8_t {
  field,  // a facet of a record field
  key,    // record key, '#', name of the template, index: the business identifier of a visit's resource
  identity_system,  // source.system, else the user's namespace
  fixed,            // the first of `allowed`; the others are read alike
  resource_id,      // the resource's own id, where the pack gives it one
  uuid,             // the name-based UUID of the instance
  reference,        // how another instance of the same visit is referred to
  run               // what is the same for all of a run: Options::run, named by the part's literal
};

enum class Shape : std::uint8_t { string, number, boolean };

/// One test of a condition. All tests of a condition must hold.
struct Test {
  enum Kind : std::uint8_t {
    word,
    present,
    missing,
    none,
    absent,
    integer,
    positive,
    unsigned_text,
    kind_is
  };
  Kind kind = present;
  record::Kind value_kind = record::Kind::text;
  std::string_view text{};
};
struct Clause {
  std::string_view option{};  // "--refs"; empty for a field
  Accessor accessor;
  Facet facet = Facet::self;
  bool has_facet = false;
  const terms::Domain* domain = nullptr;  // of a coded field: its facets need it
  std::span<const Test> any{};            // one of them must hold
};
struct Condition {
  std::span<const Clause> all{};
  bool empty() const { return all.empty(); }
};

struct Part {
  enum class Kind : std::uint8_t {
    constant,    // stands as it is
    object,      // members
    array,       // items
    primitive,   // a hole that holds one scalar
    text,        // a string of literals and holes
    choose,      // inside an object: one of several sets of members
    loop,        // inside an array: an item for each element of a list
    references,  // inside an array: a reference to each member of a panel
    labels,      // inside an array: the security labels of the run
    typed        // a hole that holds a whole datatype: one child, the datatype's parts
  };
  Kind kind = Kind::constant;
  Shape shape = Shape::string;
  Source source = Source::field;
  Facet facet = Facet::self;
  Render render = Render::plain;
  bool mirror = false;             // this hole is a copy: written, and compared on reading
  bool each = false;               // this hole stands in several places, and each of them is its home
  bool has_hole = false;           // it or something below is a hole
  bool pure_mirror = false;        // every hole below is a copy: compared as a whole
  bool always = false;             // written even when its own holes are empty, as long as its parent is
  bool known_by_value = false;     // an item is one of its kind when this hole has one of `allowed`
  bool one_way = false;            // an item of a list that is read, never written
  bool takes_any = false;          // source fixed: anything is read alike, not only what is `allowed`
  bool tells_any = false;          // … and told
  bool first_of_many = false;      // an item that others like it may follow: they are told, not read
  bool also_loop = false;          // a loop over the further codings of a code
  bool beside_identifier = false;  // reference: an identifier of the target stands beside it
  bool discriminates = false;      // a constant that is always written with it tells it from other items
  bool is_fixed = false;           // a layout always says it, though not as a constant ({fixed …})
  bool refers = false;             // there is a reference in it
  bool is_noted = false;           // the three above are (mapping/likeness.hpp)
  std::uint32_t name = 0;          // number of the member name; 0 for array items and choices
  std::uint32_t shared =
      0;  // same bytes in every instance of a visit: number of the fragment, 0 = not shared
  std::uint32_t target = 0;  // reference: number of the template; references: number of the panel
  std::uint32_t loop_level = 0;
  record::Kind sets_kind = record::Kind::text;  // for a field of any kind: what reading makes of it
  bool has_sets_kind = false;
  Accessor accessor;
  Condition when;
  std::uint32_t step = 0;        // where its steps begin in the program that writes it
  std::string_view key{};        // "code": with quotes and colon, ready to copy
  std::string_view json{};       // constant: its bytes
  std::string_view literal{};    // text: a piece that stands as it is; source run: which fact; source fixed: why
                                 // it does not travel
  std::string_view type_name{};  // typed: the datatype
  std::span<const std::string_view> allowed{};  // the only texts this place can hold; empty = no such limit
  Spelling spelling;                            // a site's own
  const syntax::Node* constant = nullptr;
  const terms::Domain* domain = nullptr;
  std::span<Part* const> parts{};  // what stands in it; a part that templates share stands in each of them
  Place place;
};

/// How long a resource lives and how a second load treats it (design: shared and visit-scoped).
enum class Lifetime : std::uint8_t { visit, wound, patient, performer, program };

/// What happens when a resource is loaded that the server has already (FHIR R4, http.html: conditional create
/// and update).
enum class Repeat : std::uint8_t {
  create_once,  // left as it is: POST with ifNoneExist
  update,       // written over: PUT by its identifier
  create        // added once more: POST
};

/// The panel of all that a visit has of its own, its bookkeeping apart: {refs all}.
inline constexpr std::uint32_t all_of_visit = UINT32_MAX;

/// A word that a field has because an instance is what it is.
struct Setting {
  Accessor accessor;
  std::string word;
};

/// One kind of instance.
struct Template {
  std::string name;
  std::uint32_t number = 0;
  Lifetime lifetime = Lifetime::visit;
  std::string resource_type;
  std::string panel;               // the panel that lists it
  std::uint32_t panel_number = 0;  // 0 = none
  bool bookkeeping = false;        // says how the others were made: passed over on reading
  std::optional<Repeat> repeat;    // always so, because nothing identifies it
  bool has_loop = false;
  Accessor loop;
  std::vector<Accessor> any_of;  // written when one of these is there
  Condition when;
  Part* body = nullptr;
  std::string own_code;  // system|code that tells it apart, empty for types found by type alone
  std::vector<std::string> standard_codes;  // system|code also found on others' instances
  bool one_way = false;                     // read, never written: a shape of others
  std::vector<Setting> sets;
  Place place;
};

}  // namespace charpie::mapping
