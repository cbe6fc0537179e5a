// What a site's set.json says beside its template: the syntax of the files, and what stands between their
// tree and the template.
#pragma once
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "mapping/part.hpp"
#include "mapping/spelling.hpp"
#include "syntax/er7_groups.hpp"
#include "syntax/xml_members.hpp"

namespace charpie::mapping {

enum class LayoutSyntax : std::uint8_t { json, xml, csv, hl7v2 };

/// A field that the layout implies: it stands nowhere, and every record has this value.
struct Given {
  record::FieldId field;
  std::string text;
  Place place;
};

/// A site's layout, as far as it is no template. Read-only after loading.
struct Layout {
  LayoutSyntax syntax = LayoutSyntax::json;
  bool reads = true, writes = true;  // "direction"
  std::string others;                // why fields without a home do not travel; empty: each must have one
  std::vector<std::string>
      records;  // the way to the list whose elements are records; empty: the document is one
  std::string
      records_by;  // a member whose value tells records apart in that list (OBX-4); empty: each element
  bool keeps_empty = false;  // an empty text is a text
  std::map<std::string, std::string, std::less<>>
      lists;  // members whose text is several, and what stands between
  struct Joined {
    std::string name, by;
    std::vector<std::string> of;
  };
  std::vector<Joined> joined;  // members that are one text: a date and a time of day
  std::vector<Given> given;
  std::map<std::string, std::vector<std::string>, std::less<>>
      numbered;  // lists whose items count from 1, and where

  /// What turns the meaning of the object that it stands in.
  struct Modifier {
    std::string of, at;            // the object's name as a member, and the way from it
    std::vector<std::string> but;  // values that turn nothing
  };
  std::vector<Modifier> modifiers;

  std::vector<std::string> left_out;  // ways to what is known and does not travel

  // HL7 version 2
  std::shared_ptr<const syntax::Er7Structures> structures;

  /// A field that nobody says is taken from others, or is this text.
  struct Inferred {
    record::FieldId field;
    std::vector<record::FieldId> from;  // all must be there; joined by a slash
    std::string text;
    Place place;
  };
  std::vector<Inferred> inferred;

  // XML
  struct Gathered {
    std::string element, child, attribute, value;  // an element that has a child with such an attribute
    std::string unless;  // not below an element that has a child of this name: it is about somebody else
  };
  std::optional<Gathered>
      gathered;  // records stand anywhere in the document: they are put where `records` leads
  std::string root,
      element;  // the root around the documents and the document's element; no root: one document a line
  syntax::XmlSpaces spaces;  // prefix, namespace name
  syntax::Shape shape;       // what the template has as a list or an object

  // CSV
  char delimiter = ',';
  std::string encoding;  // by its iconv name; empty: UTF-8
  std::string line_end = "\n";
  /// A file of CSV.
  struct Table {
    std::string name;                  // the member that holds its rows; empty: a row is the document
    std::string file;                  // its base name; empty: any, and it is the only one
    std::vector<std::string> columns;  // in the order they are written; empty: as the template has them
    std::vector<std::string> key;      // the rows of one visit have these in common; empty: one row a visit
    bool once = false;                 // a visit has one row of it, which stands as an object
  };
  std::vector<Table> tables;  // the first is the one that every visit has a row of
  bool is_sorted = false;     // the files are, by their keys
  std::string records_way() const {  // "visit.wound"
    std::string way;
    for (const auto& step : records) way.append(way.empty() ? "" : ".").append(step);
    return way;
  }
  bool is_row() const { return tables.front().key.empty(); }                          // a visit is a row
  bool is_folder() const { return !tables.empty() && !tables.front().file.empty(); }  // of several files
};

}  // namespace charpie::mapping
