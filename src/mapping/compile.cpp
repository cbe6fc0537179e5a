// Turns the template files of a mapping set into parts. A template is JSON that looks like the resource, with
// holes
// ("{size.length}") and directives ("$for"); the language is described in mappings/README.md.
#include <algorithm>
#include <deque>
#include <unordered_map>

#include "base/escape.hpp"
#include "base/text.hpp"
#include "mapping/likeness.hpp"
#include "mapping/mapping.hpp"
#include "mapping/prove.hpp"
#include "mapping/write.hpp"
#include "record/leaf.hpp"
#include "syntax/csv.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using syntax::Node;
using syntax::NodeKind;

namespace {

struct File {
  std::string_view path;
  std::string_view bytes;
  std::vector<std::uint32_t> line_ends;  // offset of each line feed
};

// What "<name>" stands for: here, or in what surrounds it.
struct Parameters {
  std::vector<std::pair<std::string_view, std::string_view>> rows{};
  const Parameters* around = nullptr;

  const std::string_view* find(std::string_view name) const {
    for (const auto& [known, text] : rows) {
      if (known == name) return &text;
    }
    return around == nullptr ? nullptr : around->find(name);
  }
  std::string_view text(std::string_view name) const {
    const auto* found = find(name);
    return found == nullptr ? std::string_view{} : *found;
  }
};

// One member of an object after its frames were laid under it.
struct Entry {
  std::string_view name;
  const Node* value;
  const File* file;
  const Parameters* parameters;
};

// A group whose members can be named without their path.
struct Lexical {
  Accessor base;
  const Field* field;
};

// What a template means depends on where it stands.
struct Surroundings {
  std::vector<Lexical> lexical;
  std::uint8_t levels = 0;  // enclosing loops
  bool mirror = false;
  bool in_leaf = false;  // inside a datatype: ".value" names a facet of this leaf
  bool in_also = false;  // inside a loop over the further codings of that leaf
  Accessor leaf;
  record::Kind leaf_kind = record::Kind::text;
  const terms::Domain* domain = nullptr;
};

bool is_directive(std::string_view name) {
  return name.starts_with('$');
}

}  // namespace

// Thrown inside this file only, so that a fault deep in a template ends the load; load() turns it into an
// Error.
struct MappingFault {
  Error error;
};

class Compiler {
 public:
  Compiler(const Tables& tables, Mapping& mapping, std::string_view folder, std::string_view form,
           const std::set<std::string, std::less<>>& alone)
      : tables_(tables), mapping_(mapping), folder_(folder), form_(form), alone_(alone) {}

  void run() {
    const File& set = file("set.json");
    choose_form(set);
    const Node* root = parse(set);
    canonical_ = mapping_.terms_->canonical();
    const Node* index = root->member("index");
    mapping_.is_document_ = index == nullptr;
    const Node* own = mapping_.is_document_ ? root->member("template") : nullptr;
    const Node* files = own == nullptr ? need(root, "files", set) : root->member("files");
    std::vector<std::pair<const Node*, const File*>> templates;
    if (own != nullptr) templates.push_back({own, &set});
    if (mapping_.is_document_) {
      read_layout(root, set);
      if (const Node* frames = root->member("frames")) collect(frames, set, frames_);
    }
    for (const Node* at = files == nullptr ? nullptr : files->first; at != nullptr; at = at->next) {
      const File& part_file = file(at->text);
      const Node* part_root = parse(part_file);
      if (const Node* types = part_root->member("types")) collect(types, part_file, types_);
      if (const Node* frames = part_root->member("frames")) collect(frames, part_file, frames_);
      if (const Node* list = part_root->member("templates")) {
        for (const Node* one = list->first; one != nullptr; one = one->next)
          templates.push_back({one, &part_file});
      }
    }
    const Node* defaults = mapping_.is_document_ ? root->member("types") : need(root, "types", set);
    for (const Node* at = defaults == nullptr ? nullptr : defaults->first; at != nullptr; at = at->next) {
      default_types_[std::string(at->name_text)] = at->text;
    }
    for (const Node* at = index == nullptr ? nullptr : index->first; at != nullptr; at = at->next) {
      mapping_.index_members_[std::string(at->name_text)] = at->text;
    }
    if (const Node* list = root->member("bookkeeping")) {
      for (const Node* at = list->first; at != nullptr; at = at->next)
        mapping_.bookkeeping_.push_back(names_on(at->text));
    }
    if (const Node* elsewhere = root->member("elsewhere")) read_elsewhere(elsewhere, set);
    // Names first: a reference may point to a template that comes later.
    for (const auto& [node, where] : templates) declare(name_of(node, *where), *where, node);
    std::deque<std::pair<Parameters, Place>> rows;  // entries point to their parameters
    if (const Node* row_files = root->member("rows")) {
      for (const Node* at = row_files->first; at != nullptr; at = at->next) read_rows(at->text, rows);
    }
    for (const auto& [parameters, place] : rows) declare(parameters.text("name"), place);
    mapping_.templates_.reserve(templates.size() + rows.size());
    for (const auto& [node, where] : templates) compile_template(node, *where);
    for (const auto& [parameters, place] : rows) compile_row(parameters, place);
    std::sort(mapping_.templates_.begin(), mapping_.templates_.end(),
              [](const Template& a, const Template& b) { return a.number < b.number; });
    for (const auto& [name, where] : keys_elsewhere_)
      mapping_.elsewhere_.key.push_back(number_of(name, where));
    for (const auto& [name, where] : says_of_visit_)
      mapping_.elsewhere_.visit.push_back(number_of(name, where));
    read_not_carried(root, set);
    if (!mapping_.is_document_) return;
    if (mapping_.templates_.size() != 1) {
      fault(
          {set.path, 0},
          "a set without \"index\" has one template, this has " + std::to_string(mapping_.templates_.size()),
          "put everything into one template");
    }
    const Part& body = *mapping_.templates_.front().body;
    shape_of(body, mapping_.layout_.shape);
    for (const auto& [name, sign] : mapping_.layout_.lists) need_member(body, name, set);
    for (const auto& [name, way] : mapping_.layout_.numbered) need_member(body, name, set);
    take_columns(body, {set.path, 0});
    if (mapping_.layout_.syntax == LayoutSyntax::hl7v2) {
      const File& structures = file_at("sites/er7-groups.csv");
      auto loaded = syntax::Er7Structures::load(structures.bytes, std::string(structures.path));
      if (!loaded) throw MappingFault{loaded.error()};
      mapping_.layout_.structures = std::make_shared<const syntax::Er7Structures>(std::move(*loaded));
    }
  }

 private:
  static bool has_member(const Node& constant, std::string_view name) {
    for (const Node* at = constant.first; at != nullptr; at = at->next)
      if (at->name_text == name || has_member(*at, name)) return true;
    return false;
  }
  bool has_member(const Part& part, std::string_view name) const {
    if (part.constant != nullptr && has_member(*part.constant, name)) return true;
    return std::any_of(part.parts.begin(), part.parts.end(), [&](const Part* below) {
      return mapping_.names_.text(below->name) == name || has_member(*below, name);
    });
  }
  // Of what the layout says of a member, wherever it stands.
  void need_member(const Part& body, const std::string& name, const File& set) const {
    if (!has_member(body, name))
      fault({set.path, 0}, "the template has no member '" + name + "'",
            "give the member's own name, without the way to it");
  }

  [[noreturn]] void fault(const Place& place, std::string message, std::string mend) const {
    throw MappingFault{
        {Error::mapping_broken, std::move(message), std::string(place.file), place.line, 0, std::move(mend)}};
  }

  // "meta.profile", by the numbers of its names.
  std::vector<std::uint32_t> names_on(std::string_view way) {
    std::vector<std::uint32_t> names;
    for (std::size_t begin = 0, end = 0; end != way.size(); begin = end + 1) {
      end = std::min(way.find('.', begin), way.size());
      names.push_back(mapping_.names_.add(way.substr(begin, end - begin)));
    }
    return names;
  }

  // --- files
  // ---------------------------------------------------------------------------------------------------

  // Of the set's folder, which a site may have anywhere.
  const File& file(std::string_view name) { return file_at(std::string(folder_) + "/" + std::string(name)); }
  // Of the tables.
  const File& file_at(const std::string& path) {
    const auto known = files_.find(path);
    if (known != files_.end()) return known->second;
    const auto* text = tables_.find(path);
    if (text == nullptr)
      fault({folder_, 0}, "there is no file " + path, "add it, or take it out of set.json");
    const auto placed = files_.emplace(path, File{}).first;
    placed->second.path = keep(path);
    placed->second.bytes = keep(*text);
    for (std::size_t at = text->find('\n'); at != std::string_view::npos; at = text->find('\n', at + 1)) {
      placed->second.line_ends.push_back(static_cast<std::uint32_t>(at));
    }
    return placed->second;
  }

  std::string_view keep(std::string_view text) const { return mapping_.arena_.keep(text); }

  template <class T>
  std::span<T> keep(const std::vector<T>& row) const {
    T* kept = mapping_.arena_.make_row<T>(row.size());
    std::copy(row.begin(), row.end(), kept);
    return {kept, row.size()};
  }

  Part* make(Part::Kind kind, const Place& where) const {
    Part* made = mapping_.arena_.make<Part>();
    made->kind = kind;
    made->place = where;
    return made;
  }

  Node* parse_json(const File& source) {
    auto tree = syntax::read_json(source.bytes, mapping_.arena_, mapping_.names_);
    if (!tree) {
      fault({source.path, static_cast<std::uint32_t>(tree.error().line)}, tree.error().message,
            "correct the JSON");
    }
    return *tree;
  }

  // A file as it is for the form that is loaded.
  const Node* parse(const File& source) {
    Node* root = parse_json(source);
    adapt(*root);
    return root;
  }

  // --- forms: what differs between versions of one standard
  // ---------------------------------------------------

  // The form's row in set.json; its members are parameters that may stand anywhere in the files of the set.
  void choose_form(const File& set) {
    const Node* forms = parse_json(set)->member("forms");
    if (forms == nullptr) return;
    const Node* row = forms->member(form_);
    if (row == nullptr) {
      fault(place(set, forms), "there is no form '" + std::string(form_) + "' in this set",
            "name one of its forms");
    }
    for (const Node* at = row->first; at != nullptr; at = at->next) {
      form_parameters_.rows.emplace_back(at->name_text, at->text);
    }
  }

  bool is_for_this_form(const Node& node) const {
    const Node* only = node.is_object() ? node.member("$form") : nullptr;
    if (only == nullptr || !only->is_array()) return only == nullptr || only->text == form_;
    for (const Node* at = only->first; at != nullptr; at = at->next) {
      if (at->text == form_) return true;
    }
    return false;
  }

  // Takes out what is not for this form, and lists that are empty for that; fills the form's parameters.
  void adapt(Node& node) {
    if (node.is_string() && node.text.find('<') != std::string_view::npos) {
      node.text = substitute(node.text, form_parameters_);
    }
    Node** link = &node.first;
    node.last = nullptr;
    while (Node* at = *link) {
      const bool had_items = at->count != 0;
      const bool fits = is_for_this_form(*at);
      if (fits) adapt(*at);
      if (!fits || (had_items && at->count == 0)) {
        *link = at->next;
        --node.count;
        continue;
      }
      at->name_text = substitute(at->name_text, form_parameters_);
      if (!is_directive(at->name_text)) at->name = mapping_.names_.add(at->name_text);
      node.last = at;
      link = &at->next;
    }
  }

  Place place(const File& source, const Node* node) const {
    const auto& ends = source.line_ends;
    const auto before = std::lower_bound(ends.begin(), ends.end(), node->begin) - ends.begin();
    return {source.path, static_cast<std::uint32_t>(before) + 1};
  }

  const Node* need(const Node* node, std::string_view name, const File& source) const {
    const Node* found = node->member(name);
    if (found == nullptr) fault(place(source, node), "'" + std::string(name) + "' is missing", "add it");
    return found;
  }

  std::string need_text(const Node* node, std::string_view name, const File& source) const {
    return std::string(need(node, name, source)->text);
  }

  struct Named {
    const Node* node;
    const File* file;
  };

  void collect(const Node* group, const File& source, std::map<std::string, Named, std::less<>>& into) {
    for (const Node* at = group->first; at != nullptr; at = at->next) {
      if (!into.emplace(std::string(at->name_text), Named{at, &source}).second) {
        fault(place(source, at), "'" + std::string(at->name_text) + "' is defined twice", "rename one");
      }
    }
  }

  void read_rows(std::string_view name, std::deque<std::pair<Parameters, Place>>& rows) {
    const File& source = file(name);
    auto table = syntax::read_csv_table(source.bytes, source.path);
    if (!table) throw MappingFault{table.error()};
    std::vector<std::string_view> header;
    for (const auto& column : table->header) header.push_back(keep(column));
    for (const auto& row : table->rows) {
      Parameters parameters;
      for (std::size_t i = 0; i < row.cells.size(); ++i)
        parameters.rows.emplace_back(header[i], keep(row.cells[i]));
      const Place where{source.path, static_cast<std::uint32_t>(row.line)};
      for (const auto* column : {"name", "frame", "field"}) {
        if (parameters.text(column).empty())
          fault(where, std::string("the row has no ") + column, "fill the cell");
      }
      rows.emplace_back(std::move(parameters), where);
    }
  }

  // --- sites
  // ---------------------------------------------------------------------------------------------------

  std::string text_or(const Node* node, std::string_view name, std::string_view otherwise) const {
    const Node* found = node->member(name);
    return std::string(found == nullptr ? otherwise : found->text);
  }

  static std::vector<std::string> texts(const Node* node) {
    std::vector<std::string> all;
    if (node == nullptr) return all;
    if (!node->is_array()) return {std::string(node->text)};
    for (const Node* at = node->first; at != nullptr; at = at->next) all.emplace_back(at->text);
    return all;
  }

  void read_layout(const Node* root, const File& set) {
    static constexpr std::string_view known[] = {
        "name",      "what",       "syntax",  "direction", "files", "template", "types",   "frames",
        "others",    "notCarried", "records", "empty",     "lists", "joined",   "given",   "inferred",
        "gathered",  "numbered",   "sorted",  "leftOut",   "times", "root",     "element", "namespaces",
        "delimiter", "encoding",   "lineEnd", "columns",   "key",   "rows",     "tables",  "modifiers"};
    for (const Node* at = root->first; at != nullptr; at = at->next) {
      if (std::find(std::begin(known), std::end(known), at->name_text) == std::end(known)) {
        fault(place(set, at), "a layout has no '" + std::string(at->name_text) + "'",
              "see the table in mappings/README.md");
      }
    }
    Layout& layout = mapping_.layout_;
    static constexpr std::pair<std::string_view, LayoutSyntax> syntaxes[] = {{"json", LayoutSyntax::json},
                                                                             {"xml", LayoutSyntax::xml},
                                                                             {"csv", LayoutSyntax::csv},
                                                                             {"hl7v2", LayoutSyntax::hl7v2}};
    const auto syntax = need_text(root, "syntax", set);
    const auto row = std::find_if(std::begin(syntaxes), std::end(syntaxes),
                                  [&](const auto& one) { return one.first == syntax; });
    if (row == std::end(syntaxes)) {
      fault(place(set, root->member("syntax")), "there is no syntax '" + syntax + "'",
            "json, xml, csv or hl7v2");
    }
    layout.syntax = row->second;
    const auto direction = text_or(root, "direction", "both");
    if (direction != "both" && direction != "in" && direction != "out") {
      fault(place(set, root->member("direction")), "unknown direction '" + direction + "'",
            "both, in or out");
    }
    layout.reads = direction != "out";
    layout.writes = direction != "in";
    layout.others = text_or(root, "others", "");
    layout.keeps_empty = text_or(root, "empty", "missing") == "kept";
    if (const Node* records = root->member("records")) {
      const bool bare = records->is_string();
      const auto way = bare ? std::string(records->text) : need_text(records, "list", set);
      for (const auto piece : split(way, '.')) layout.records.emplace_back(piece);
      if (!bare) layout.records_by = text_or(records, "by", "");
    }
    if (const Node* lists = root->member("lists")) {
      for (const Node* at = lists->first; at != nullptr; at = at->next)
        layout.lists[std::string(at->name_text)] = at->text;
    }
    layout.left_out = texts(root->member("leftOut"));
    if (const Node* modifiers = root->member("modifiers")) {
      for (const Node* at = modifiers->first; at != nullptr; at = at->next)
        layout.modifiers.push_back(
            {need_text(at, "of", set), need_text(at, "at", set), texts(at->member("but"))});
    }
    if (const Node* numbered = root->member("numbered")) {
      for (const Node* at = numbered->first; at != nullptr; at = at->next) {
        for (const auto piece : split(at->text, '.'))
          layout.numbered[std::string(at->name_text)].emplace_back(piece);
      }
    }
    if (const Node* joined = root->member("joined")) {
      for (const Node* at = joined->first; at != nullptr; at = at->next) {
        layout.joined.push_back(
            {std::string(at->name_text), text_or(at, "by", " "), texts(need(at, "of", set))});
      }
    }
    if (const Node* times = root->member("times")) {
      for (const Node* at = times->first; at != nullptr; at = at->next) {
        auto made = TimeForm::make(std::string(at->name_text), texts(need(at, "pattern", set)),
                                   text_or(at, "zone", ""));
        if (!made) fault(place(set, at), made.error().message, made.error().mend);
        mapping_.times_[std::string(at->name_text)] = std::make_unique<TimeForm>(std::move(*made));
      }
    }
    if (const Node* given = root->member("given")) {
      for (const Node* at = given->first; at != nullptr; at = at->next) read_given(at, set);
    }
    if (const Node* inferred = root->member("inferred")) {
      for (const Node* at = inferred->first; at != nullptr; at = at->next) read_inferred(at, set);
    }
    if (const Node* gathered = root->member("gathered")) {
      const auto known_by = need_text(gathered, "knownBy", set);
      const auto dot = known_by.find(".@");
      if (dot == std::string::npos || layout.records.empty()) {
        fault(place(set, gathered), "'gathered' names an attribute of a child, and 'records' where they go",
              "such as templateId.@root");
      }
      layout.gathered = {need_text(gathered, "element", set), known_by.substr(0, dot),
                         known_by.substr(dot + 2), need_text(gathered, "is", set),
                         text_or(gathered, "unless", "")};
    }
    layout.root = text_or(root, "root", "");
    layout.element = text_or(root, "element", "");
    if (layout.syntax == LayoutSyntax::xml && layout.element.empty()) {
      fault({set.path, 0}, "'element' is missing", "name the element that is one document");
    }
    if (const Node* spaces = root->member("namespaces")) {
      for (const Node* at = spaces->first; at != nullptr; at = at->next) {
        layout.spaces.push_back({std::string(at->name_text), std::string(at->text)});
      }
    }
    const auto delimiter = text_or(root, "delimiter", ",");
    if (delimiter.size() != 1)
      fault(place(set, root->member("delimiter")), "the delimiter is one character", "such as ; or a tab");
    layout.delimiter = delimiter.front();
    layout.encoding = text_or(root, "encoding", "");
    layout.line_end = text_or(root, "lineEnd", "\n");
    layout.is_sorted = text_or(root, "sorted", "false") == "true";
    if (layout.syntax == LayoutSyntax::csv) read_tables(root, set);
  }

  // The files of a CSV layout: one, or the several that "tables" names.
  void read_tables(const Node* root, const File& set) {
    Layout& layout = mapping_.layout_;
    const auto key = texts(root->member("key"));
    const Node* several = root->member("tables");
    if (several == nullptr) {
      layout.tables.push_back({key.empty() ? std::string{} : text_or(root, "rows", "rows"),
                               {},
                               texts(root->member("columns")),
                               key,
                               false});
      return;
    }
    for (const char* const alone : {"columns", "rows"}) {
      if (const Node* at = root->member(alone))
        fault(place(set, at), "a layout of several tables has no '" + std::string(alone) + "' of its own",
              "say it in the table");
    }
    for (const Node* at = several->first; at != nullptr; at = at->next) {
      const bool bare = at->is_string();
      Layout::Table table{
          std::string(at->name_text), bare ? std::string(at->text) : need_text(at, "file", set),
          bare ? std::vector<std::string>{} : texts(at->member("columns")),
          bare || at->member("key") == nullptr ? key : texts(at->member("key")), layout.tables.empty()};
      if (table.key.empty() ||
          (!layout.tables.empty() && table.key.size() != layout.tables.front().key.size())) {
        fault(place(set, at), "the tables of a layout have as many key columns each, at least one",
              "say \"key\" of the layout, or of each table");
      }
      const auto same = [&](const Layout::Table& one) { return one.file == table.file; };
      if (table.file.empty() || table.file.find_first_of("/\\") != std::string::npos ||
          std::any_of(layout.tables.begin(), layout.tables.end(), same)) {
        fault(place(set, at), "a table needs the base name of a file of its own", "such as visits.csv");
      }
      layout.tables.push_back(std::move(table));
    }
    if (layout.tables.empty())
      fault(place(set, several), "no table is named", "name the table of visits first");
  }

  // The columns of the tables that do not say them: as the template has them.
  void take_columns(const Part& body, const Place& where) {
    auto& tables = mapping_.layout_.tables;
    if (tables.empty()) return;
    if (tables.front().name.empty()) {
      check_cells(body);
      if (tables.front().columns.empty()) columns_of(body, tables.front().columns);
      return;
    }
    const auto member_name = [&](const auto& member) { return mapping_.names_.text(member->name); };
    for (auto& table : tables) {
      const auto member = std::find_if(body.parts.begin(), body.parts.end(),
                                       [&](const auto& one) { return member_name(one) == table.name; });
      if (member == body.parts.end()) {
        fault(where, "the template has no member '" + table.name + "' for the rows of that table",
              "add it, or take the table away");
      }
      check_cells(**member);
      if (table.columns.empty()) columns_of(**member, table.columns);
    }
    for (const auto& member : body.parts) {
      const auto is_of = [&](const Layout::Table& table) { return table.name == member_name(member); };
      if (std::none_of(tables.begin(), tables.end(), is_of)) {
        fault(where, "the template's member '" + std::string(member_name(member)) + "' is of no table",
              "put it into the rows of one");
      }
    }
  }

  // A cell is one text: a list in it is cut from that.
  void check_cells(const Part& part) {
    using enum Part::Kind;
    if (part.kind == array || part.kind == choose || part.kind == loop) {
      for (const auto& one : part.parts) check_cells(*one);
      return;
    }
    for (const auto& cell : part.parts) {
      const std::string name(mapping_.names_.text(cell->name));
      if (cell->kind == choose)
        check_cells(*cell);
      else if (cell->kind == object)
        fault(cell->place, "the column '" + name + "' cannot hold members", "give each a column");
      else if (cell->kind == array && !mapping_.layout_.lists.contains(name))
        fault(cell->place, "the column '" + name + "' holds one text, and a list stands here",
              "say in \"lists\" what stands between its elements: \"lists\": { \"" + name + "\": \",\" }");
    }
  }

  // The columns of a CSV table.
  void columns_of(const Part& part, std::vector<std::string>& columns) {
    const auto add = [&](std::string_view name) {
      for (const auto& row : mapping_.layout_.joined) {
        if (row.name != name) continue;
        columns.insert(columns.end(), row.of.begin(), row.of.end());
        return;
      }
      if (std::find(columns.begin(), columns.end(), name) == columns.end()) columns.emplace_back(name);
    };
    if (part.kind == Part::Kind::array || part.kind == Part::Kind::choose || part.kind == Part::Kind::loop) {
      for (const auto& one : part.parts) columns_of(*one, columns);
      return;
    }
    if (part.constant != nullptr) {
      for (const Node* at = part.constant->first; at != nullptr; at = at->next) add(at->name_text);
    }
    for (const auto& one : part.parts) {
      if (one->kind == Part::Kind::choose)
        columns_of(*one, columns);
      else
        add(mapping_.names_.text(one->name));
    }
  }

  // "performed.kind": "assessment", or "id": ["source.message", "wound.id"].
  void read_inferred(const Node* at, const File& set) {
    const Place where = place(set, at);
    const auto plain = [&](std::string_view name) -> const Field& {
      const Field* field = record::find_field(name);
      bool stands = field != nullptr && !field->is_group() && !field->is_list();
      for (auto id = stands ? field->parent : FieldId::visit; id != FieldId::visit;
           id = record::field(id).parent) {
        stands = stands && !record::field(id).is_list();
      }
      if (!stands)
        fault(where, "'" + std::string(name) + "' is no field that can be inferred",
              "name one with a single text");
      return *field;
    };
    Layout::Inferred made{plain(at->name_text).id, {}, {}, where};
    if (at->is_string()) {
      made.text = at->text;
      if (const auto wrong = field_fault(record::field(made.field), made.text); !wrong.empty())
        fault(where, wrong, "give a value that the field can hold");
    } else {
      for (const auto& one : texts(at)) made.from.push_back(plain(one).id);
    }
    mapping_.layout_.inferred.push_back(std::move(made));
  }

  void read_given(const Node* at, const File& set) {
    const Place where = place(set, at);
    const Field* field = record::find_field(at->name_text);
    if (field == nullptr || field->is_group() || field->kind == record::Kind::quantity ||
        field->kind == record::Kind::coding || field->kind == record::Kind::any) {
      fault(where, "'" + std::string(at->name_text) + "' is no field that a layout can imply",
            "name one with a single text");
    }
    if (const auto wrong = field_fault(*field, at->text); !wrong.empty())
      fault(where, wrong, "give a value that the field can hold");
    mapping_.layout_.given.push_back({field->id, std::string(at->text), where});
  }

  // Why a text cannot stand in a field; empty when it can.
  std::string field_fault(const Field& field, std::string_view text) const {
    if (field.kind == record::Kind::code || field.kind == record::Kind::word) {
      const auto* words = domain(field, field.kind);
      if (words != nullptr && words->find(text) == nullptr) {
        return "'" + std::string(text) + "' is no word of " + std::string(field.argument);
      }
      return {};
    }
    if (record::leaf_fault(field.kind, text) == record::FindingId::count) return {};
    return "'" + std::string(text) + "' is no " + std::string(record::kind_name(field.kind));
  }

  // The site's words, each meaning one that the field can have.
  const SiteWords* site_words(std::string_view name, const Field& field, Facet facet, const Place& where) {
    auto& words = mapping_.words_[std::string(name)];
    const auto file_name = std::string(name) + ".csv";
    const File& source = file(file_name);
    if (words == nullptr) {
      auto loaded = SiteWords::load(source.bytes, std::string(source.path));
      if (!loaded) throw MappingFault{loaded.error()};
      words = std::make_unique<SiteWords>(std::move(*loaded));
    }
    for (const auto& row : words->rows()) {
      const Place at{source.path, row.line};
      const auto used = " (in " + std::string(where.file) + " line " + std::to_string(where.line) + ")";
      if (row.none && !field.may_be_none()) {
        fault(at, "'" + std::string(field.path) + "' cannot answer \"none\"" + used,
              "use another table there");
      }
      if (!row.absent.empty()) {
        const auto reasons = record::absent_reasons();
        if (!field.may_be_absent()) {
          fault(at, "'" + std::string(field.path) + "' cannot be absent" + used, "use another table there");
        }
        if (std::find(reasons.begin(), reasons.end(), row.absent) == reasons.end()) {
          fault(at, "'" + row.absent + "' is no data-absent-reason",
                "such as not-performed, not-asked, unknown");
        }
      }
      if (row.means.empty()) continue;
      if (field.is_group())
        fault(at, "'" + std::string(field.path) + "' is a group: it has no word" + used,
              "(none) or (absent …)");
      if (facet == Facet::unit) need_unit(row.means, field, at);
      if (facet != Facet::self && facet != Facet::word) continue;
      if (const auto wrong = field_fault(field, row.means); !wrong.empty()) {
        fault(at, wrong + used, "charpie codes lists the words");
      }
    }
    return words.get();
  }

  void need_unit(std::string_view unit, const Field& field, const Place& where) const {
    const auto& units = mapping_.fixed_units_->units();
    if (unit.empty() || units.measures(unit, field.argument)) return;
    std::string meant;
    for (const auto& one : units.suggest(unit))
      meant.append(meant.empty() ? "perhaps meant: " : ", ").append(one);
    fault(where, "'" + std::string(unit) + "' is no unit of '" + std::string(field.path) + "'",
          meant.empty() ? "declare a UCUM code of its dimension; a unit is never guessed" : meant);
  }

  // What XML leaves open: where the template has lists and objects.
  void shape_of(const Part& part, syntax::Shape& shape) const {
    switch (part.kind) {
      case Part::Kind::constant:
        shape_of(*part.constant, shape);
        return;
      case Part::Kind::array:
        shape.is_list = true;
        for (const auto& item : part.parts) shape_of(*item, shape);
        return;
      case Part::Kind::object:
        shape.is_object = true;
        for (const auto& member : part.parts) {
          if (member->kind == Part::Kind::choose) {
            for (const auto& alternative : member->parts) shape_of(*alternative, shape);
          } else {
            shape_of(*member, shape.members[std::string(mapping_.names_.text(member->name))]);
          }
        }
        return;
      case Part::Kind::loop:
      case Part::Kind::typed:
        shape_of(*part.parts.front(), shape);
        return;
      default:
        return;
    }
  }
  static void shape_of(const Node& node, syntax::Shape& shape) {
    shape.is_list = shape.is_list || node.is_array();
    shape.is_object = shape.is_object || node.is_object();
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      shape_of(*at, node.is_object() ? shape.members[std::string(at->name_text)] : shape);
    }
  }

  void read_not_carried(const Node* root, const File& set) {
    const Node* list = root->member("notCarried");
    if (list == nullptr) return;
    for (const Node* at = list->first; at != nullptr; at = at->next) {
      const auto path = need_text(at, "field", set);
      const Field* named = record::find_field(path);
      if (named == nullptr)
        fault(place(set, at), "unknown field '" + path + "'", "name a field of the dictionary");
      NotCarried row{named->id, {}, {}, need_text(at, "why", set)};
      if (const Node* unless = at->member("unless"); unless != nullptr && unless->first != nullptr) {
        row.unless_option = unless->first->name_text;
        row.unless_value = unless->first->text;
      }
      mapping_.not_carried_.push_back(std::move(row));
    }
  }

  // How instances of others are read. The templates that it names may come later.
  void read_elsewhere(const Node* node, const File& set) {
    auto& into = mapping_.elsewhere_;
    for (const Node* at = need(node, "key", set)->first; at != nullptr; at = at->next)
      keys_elsewhere_.emplace_back(at->text, place(set, at));
    for (const Node* at = need(node, "visit", set)->first; at != nullptr; at = at->next)
      says_of_visit_.emplace_back(at->text, place(set, at));
    for (const Node* at = need(node, "joins", set)->first; at != nullptr; at = at->next)
      into.joins.emplace_back(at->text);
    for (const Node* at = need(node, "times", set)->first; at != nullptr; at = at->next)
      into.times.emplace_back(at->text);
    for (const Node* at = need(node, "texts", set)->first; at != nullptr; at = at->next)
      into.texts.emplace_back(at->text);
    into.wound = need_text(node, "wound", set);
    into.patient = need_text(node, "patient", set);
    for (const Node* at = need(node, "withdrawn", set)->first; at != nullptr; at = at->next)
      into.withdrawn.emplace_back(at->name_text, at->text);
    for (const Node* at = need(node, "index", set)->first; at != nullptr; at = at->next)
      mapping_.elsewhere_members_[std::string(at->name_text)] = at->text;
  }

  // --- templates
  // -----------------------------------------------------------------------------------------------

  void declare(std::string_view name, const File& source, const Node* node) {
    declare(name, place(source, node));
  }
  void declare(std::string_view name, const Place& where) {
    const auto number = static_cast<std::uint32_t>(numbers_.size() + 1);
    if (!numbers_.emplace(name, number).second) {
      fault(where, "two templates are named '" + std::string(name) + "'", "give one another name");
    }
  }

  std::uint32_t panel_number(std::string_view name) {
    if (name.empty()) return 0;
    const auto known = std::find(mapping_.panels_.begin(), mapping_.panels_.end(), name);
    if (known != mapping_.panels_.end()) return static_cast<std::uint32_t>(known - mapping_.panels_.begin());
    mapping_.panels_.emplace_back(name);
    return static_cast<std::uint32_t>(mapping_.panels_.size() - 1);
  }

  // A template's own parameters, with what each has.
  Parameters with_title(const Parameters& own) const {
    Parameters parameters{{{"canonical", canonical_}}, &own};
    const auto* questions = mapping_.terms_->domain("question");
    const auto* question = questions == nullptr ? nullptr : questions->find(own.text("name"));
    if (question != nullptr) parameters.rows.emplace_back("title", question->display);
    return parameters;
  }

  std::string_view name_of(const Node* node, const File& source) const {
    if (!mapping_.is_document_) return need(node, "$name", source)->text;
    const Node* name = node->member("$name");
    return name == nullptr ? "document" : name->text;
  }

  void compile_template(const Node* node, const File& source) {
    const Parameters own{{{"name", name_of(node, source)}}};
    const Parameters parameters = with_title(own);
    const Node* panel = node->member("$panel");
    finish_template(own.text("name"), syntax::plain_text(panel), expand(node, source, &parameters),
                    place(source, node));
  }

  void compile_row(const Parameters& row, const Place& where) {
    const auto frame = frames_.find(row.text("frame"));
    if (frame == frames_.end()) {
      fault(where, "there is no frame '" + std::string(row.text("frame")) + "'", "use one of frames.json");
    }
    try {
      const Parameters parameters = with_title(row);
      finish_template(row.text("name"), row.text("panel"),
                      expand(frame->second.node, *frame->second.file, &parameters), where);
    } catch (MappingFault& fault) {
      // The frame is shared by many rows: what is wrong in it for this row is said at the row.
      if (fault.error.file != where.file) {
        fault.error.message +=
            " (in the frame, " + fault.error.file + " line " + std::to_string(fault.error.line) + ")";
        fault.error.file = std::string(where.file);
        fault.error.line = where.line;
      }
      throw;
    }
  }

  void finish_template(std::string_view name, std::string_view panel, const std::vector<Entry>& entries,
                       const Place& where) {
    Template made;
    made.name = name;
    made.number = numbers_.find(name)->second;
    made.panel = panel;
    made.panel_number = panel_number(panel);
    made.place = where;
    Surroundings around;
    around.lexical.push_back({Accessor{}, &record::field(FieldId::visit)});
    const auto text_of = [&](const Entry& entry) { return substitute(entry.value->text, *entry.parameters); };
    for (const auto& entry : entries) {
      if (entry.name == "$scope") {
        const auto scope = text_of(entry);
        if (scope == "visit")
          made.lifetime = Lifetime::visit;
        else if (scope == "wound")
          made.lifetime = Lifetime::wound;
        else if (scope == "patient")
          made.lifetime = Lifetime::patient;
        else if (scope == "performer")
          made.lifetime = Lifetime::performer;
        else if (scope == "program")
          made.lifetime = Lifetime::program;
        else
          fault(place(*entry.file, entry.value), "unknown scope '" + std::string(scope) + "'",
                "visit, wound, patient, performer or program");
      } else if (entry.name == "$bookkeeping") {
        made.bookkeeping = true;
      } else if (entry.name == "$repeat") {
        made.repeat = find_repeat(text_of(entry));
        if (!made.repeat) {
          fault(place(*entry.file, entry.value), "unknown repeat '" + std::string(text_of(entry)) + "'",
                "create-once, update or create");
        }
      } else if (entry.name == "$direction") {
        if (text_of(entry) != "in")
          fault(place(*entry.file, entry.value), "unknown direction '" + std::string(text_of(entry)) + "'",
                "in, or leave it out");
        made.one_way = true;
      } else if (entry.name == "$for") {
        const auto target = resolve(text_of(entry), around, place(*entry.file, entry.value));
        enter_loop(target, around, place(*entry.file, entry.value));
        made.has_loop = true;
        made.loop = target.accessor;
      }
    }
    std::vector<Clause> when;
    for (const auto& entry : entries) {
      if (entry.name == "$of") {
        made.any_of.push_back(resolve(text_of(entry), around, place(*entry.file, entry.value)).accessor);
      } else if (entry.name == "$when") {
        add_clauses(entry, around, when);
      } else if (entry.name == "$sets") {
        read_settings(entry, around, made);
      } else if (entry.name == "resourceType") {
        made.resource_type = text_of(entry);
      }
    }
    if (made.resource_type.empty() && !mapping_.is_document_)
      fault(where, "the template names no resourceType", "add it");
    made.when.all = keep(when);
    made.body = make(Part::Kind::object, where);
    fill_object(*made.body, entries, around, true);
    made.body->always = true;
    index(made);
    mapping_.templates_.push_back(std::move(made));
  }

  void read_settings(const Entry& entry, const Surroundings& around, Template& made) const {
    for (const Node* at = entry.value->first; at != nullptr; at = at->next) {
      const Place where = place(*entry.file, at);
      if (!made.one_way) fault(where, "only a template of direction in sets fields", "write them into holes");
      const auto target = resolve(substitute(at->name_text, *entry.parameters), around, where);
      const auto* words = domain(*target.field, target.field->kind);
      const auto word = substitute(at->text, *entry.parameters);
      if (words != nullptr && words->find(word) == nullptr)
        fault(where, "'" + std::string(word) + "' is no word of " + words->name,
              "use one of codes/" + words->name + ".csv");
      made.sets.push_back({target.accessor, std::string(word)});
    }
  }

  // The codings in the member that tells instances apart become the index for reading.
  void index(Template& made) {
    const auto& members = made.one_way ? mapping_.elsewhere_members_ : mapping_.index_members_;
    const auto member = members.find(made.resource_type);
    if (member == members.end()) return;
    const auto question_system = canonical_ + "/CodeSystem/question";
    std::vector<const Node*> codings;
    const std::string_view path = member->second;
    codings_of(*made.body, path.substr(0, path.find('.')), codings);
    for (const Node* coding : codings) {
      const Node* system = coding->member("system");
      const Node* code = coding->member("code");
      const auto entry = std::string(system->text) + "|" + std::string(code->text);
      if (system->text == question_system) {
        if (!made.own_code.empty() && made.own_code != entry) {
          // Two own codes on one template (a choice): both lead here.
          made.standard_codes.push_back(entry);
        } else {
          made.own_code = entry;
        }
      } else {
        made.standard_codes.push_back(entry);
      }
    }
    if (made.own_code.empty()) {
      for (const auto& part : made.body->parts) {
        const auto known = own_beside_.find(part->constant);
        if (part->constant != nullptr && known != own_beside_.end()) made.own_code = known->second;
      }
    }
    if (made.own_code.empty() && !made.one_way) {
      fault(made.place, "the template '" + made.name + "' has no code of its own",
            "add {own " + made.name + "} to its code");
    }
  }

  // The codings that a member can hold, whichever alternative is written.
  void codings_of(const Part& object, std::string_view member, std::vector<const Node*>& into) const {
    if (object.constant != nullptr) {
      if (const Node* shown = object.constant->member(member)) collect_codings(shown, into);
    }
    for (const auto& part : object.parts) {
      if (part->kind == Part::Kind::choose) {
        for (const auto& alternative : part->parts) codings_of(*alternative, member, into);
      } else if (mapping_.names_.text(part->name) == member) {
        collect_codings(*part, into);
      }
    }
  }

  static void collect_codings(const Part& part, std::vector<const Node*>& into) {
    if (part.constant != nullptr) collect_codings(part.constant, into);
    for (const auto& below : part.parts) collect_codings(*below, into);
  }
  static void collect_codings(const Node* node, std::vector<const Node*>& into) {
    if (node->is_object() && node->member("system") != nullptr && node->member("code") != nullptr) {
      into.push_back(node);
      return;
    }
    for (const Node* at = node->first; at != nullptr; at = at->next) collect_codings(at, into);
  }

  // --- frames and parameters
  // -----------------------------------------------------------------------------------

  // The text with its parameters filled in; lives as long as the mapping, as the text does.
  std::string_view substitute(std::string_view text, const Parameters& parameters) const {
    auto open = text.find('<');
    if (open == std::string_view::npos) return text;
    std::string out;
    for (; open != std::string_view::npos; open = text.find('<')) {
      out += text.substr(0, open);
      const auto close = text.find('>', open);
      const auto* known = close == std::string_view::npos
                              ? nullptr
                              : parameters.find(text.substr(open + 1, close - open - 1));
      if (known == nullptr) {
        out += '<';
        text.remove_prefix(open + 1);
      } else {
        out += *known;
        text.remove_prefix(close + 1);
      }
    }
    return keep(out += text);
  }

  // The members of an object with its frame's members under them.
  std::vector<Entry> expand(const Node* node, const File& source, const Parameters* parameters) {
    if (const Node* with = node->member("$with")) {
      Parameters& widened = widened_.emplace_back(Parameters{{}, parameters});
      for (const Node* at = with->first; at != nullptr; at = at->next) {
        widened.rows.emplace_back(at->name_text, substitute(at->text, *parameters));
      }
      parameters = &widened;
    }
    std::vector<Entry> own;
    own.reserve(node->count);
    for (const Node* at = node->first; at != nullptr; at = at->next) {
      if (at->name_text == "$frame" || at->name_text == "$with") continue;
      own.push_back({substitute(at->name_text, *parameters), at, &source, parameters});
    }
    const Node* frame_name = node->member("$frame");
    if (frame_name == nullptr) return own;
    const auto frame = frames_.find(substitute(frame_name->text, *parameters));
    if (frame == frames_.end()) {
      fault(place(source, frame_name), "there is no frame '" + std::string(frame_name->text) + "'",
            "define it under frames");
    }
    auto base = expand(frame->second.node, *frame->second.file, parameters);
    const Node* without = node->member("$without");
    for (const Node* at = without == nullptr ? nullptr : without->first; at != nullptr; at = at->next) {
      std::erase_if(base, [&](const Entry& entry) { return entry.name == at->text; });
    }
    std::vector<Entry> merged;
    merged.reserve(base.size() + own.size());
    const auto replaced = [&](std::string_view name) {
      return !is_directive(name) &&
             std::any_of(own.begin(), own.end(), [&](const Entry& e) { return e.name == name; });
    };
    const bool has_marker =
        std::any_of(base.begin(), base.end(), [](const Entry& e) { return e.name == "$members"; });
    for (auto& entry : base) {
      if (entry.name == "$members") {
        merged.insert(merged.end(), own.begin(), own.end());
      } else if (!replaced(entry.name)) {
        merged.push_back(entry);
      }
    }
    if (!has_marker) merged.insert(merged.end(), own.begin(), own.end());
    return merged;
  }

  // --- names of fields
  // -----------------------------------------------------------------------------------------

  struct Target {
    Accessor accessor;
    const Field* field = nullptr;
    bool has_facet = false;
    Facet facet = Facet::self;
  };

  void step(Accessor& accessor, const Field& member, const Place& where) const {
    if (accessor.steps == 4) fault(where, "the path is too deep", "name a field of the dictionary");
    accessor.slots[accessor.steps] = static_cast<std::uint8_t>(member.slot);
    accessor.ids[accessor.steps] = member.id;
    ++accessor.steps;
    accessor.field = member.id;
  }

  Target resolve(std::string_view path, const Surroundings& around, const Place& where) const {
    if (path.starts_with('.')) {
      if (!around.in_leaf)
        fault(where, "'" + std::string(path) + "' stands outside a datatype", "name the field first");
      Target target{around.leaf, &record::field(around.leaf.field), true, Facet::self};
      if (!find_facet(path.substr(1), target.facet)) {
        fault(where, "there is no facet '" + std::string(path) + "'",
              "see the list of facets in mappings/README.md");
      }
      if (!around.in_also && !has_facet(around.leaf_kind, target.facet)) {
        fault(where,
              "a " + std::string(record::kind_name(around.leaf_kind)) + " has no '" + std::string(path) + "'",
              "use a datatype that fits the field's kind");
      }
      return target;
    }
    // Inside a loop "id" is the element's: "record.id" is the record's.
    constexpr std::string_view from_root = "record.";
    if (path.starts_with(from_root)) {
      if (const auto target = walk(path.substr(from_root.size()), around.lexical.front(), around, where);
          target.field != nullptr)
        return target;
    }
    for (auto at = around.lexical.rbegin(); at != around.lexical.rend(); ++at) {
      const auto full = at->field->path;
      if (!full.empty() && path == full) return {at->base, at->field, false, Facet::self};
      std::string_view rest = path;
      if (!full.empty() && path.size() > full.size() && path.starts_with(full) && path[full.size()] == '.') {
        rest.remove_prefix(full.size() + 1);
      }
      if (const auto target = walk(rest, *at, around, where); target.field != nullptr) return target;
    }
    fault(where, "unknown field '" + std::string(path) + "'",
          "name a field of the dictionary (charpie schema)");
  }

  Target walk(std::string_view path, const Lexical& from, const Surroundings& around,
              const Place& where) const {
    Target target{from.base, from.field, false, Facet::self};
    bool moved = false;
    while (!path.empty()) {
      const auto dot = path.find('.');
      const auto piece = path.substr(0, dot);
      const Field* member = target.field->is_group() ? record::find_member(*target.field, piece) : nullptr;
      if (member == nullptr) {
        if (!moved) return {};
        if (!find_facet(piece, target.facet) || dot != std::string_view::npos || target.has_facet) return {};
        target.has_facet = true;
        return target;
      }
      if (moved && target.field->is_list()) {
        fault(where, "'" + std::string(target.field->path) + "' is a list: its members have no single value",
              "stand inside a \"$for\": \"" + std::string(target.field->path) + "\"");
      }
      step(target.accessor, *member, where);
      target.field = member;
      moved = true;
      path = dot == std::string_view::npos ? std::string_view{} : path.substr(dot + 1);
      // Inside a loop over this list its name means the current element.
      for (const auto& enclosing : around.lexical) {
        if (enclosing.field == member && member->is_list()) target.accessor = enclosing.base;
      }
    }
    return moved ? target : Target{};
  }

  void enter_loop(const Target& target, Surroundings& around, const Place& where) const {
    if (!target.field->is_list()) {
      fault(where, "'" + std::string(target.field->path) + "' is not a list", "use $of instead of $for");
    }
    ++around.levels;
    Accessor element;
    element.level = around.levels;
    element.field = target.field->id;
    around.lexical.push_back({element, target.field});
  }

  // --- conditions
  // ----------------------------------------------------------------------------------------------

  void add_clauses(const Entry& entry, const Surroundings& around, std::vector<Clause>& into) const {
    for (const Node* at = entry.value->first; at != nullptr; at = at->next) {
      Clause clause;
      const auto name = substitute(at->name_text, *entry.parameters);
      const Place where = place(*entry.file, at);
      if (name.starts_with("--")) {
        clause.option = name;
      } else {
        const auto target = resolve(name, around, where);
        clause.accessor = target.accessor;
        clause.has_facet = target.has_facet;
        clause.facet = target.facet;
        if (target.has_facet)
          clause.domain = around.in_leaf ? around.domain : domain(*target.field, target.field->kind);
      }
      std::vector<Test> any;
      if (at->is_array()) {
        for (const Node* one = at->first; one != nullptr; one = one->next)
          any.push_back(test(one, entry, where));
      } else {
        any.push_back(test(at, entry, where));
      }
      clause.any = keep(any);
      into.push_back(clause);
    }
  }

  Test test(const Node* node, const Entry& entry, const Place& where) const {
    const auto text = substitute(node->text, *entry.parameters);
    if (!text.starts_with('(')) return {Test::word, {}, text};
    static constexpr std::pair<std::string_view, Test::Kind> tests[] = {
        {"(present)", Test::present},   {"(value)", Test::present},          {"(missing)", Test::missing},
        {"(none)", Test::none},         {"(absent)", Test::absent},          {"(integer)", Test::integer},
        {"(positive)", Test::positive}, {"(unsigned)", Test::unsigned_text},
    };
    for (const auto& [name, kind] : tests) {
      if (text == name) return {kind, {}, {}};
    }
    for (int kind = 0; kind <= static_cast<int>(record::Kind::group); ++kind) {
      if (text.substr(1) == std::string(record::kind_name(static_cast<record::Kind>(kind))) + ")") {
        return {Test::kind_is, static_cast<record::Kind>(kind), {}};
      }
    }
    fault(where, "unknown test '" + std::string(text) + "'",
          "(present), (missing), (none), (absent), (integer), (positive), (unsigned) or a kind");
  }

  // --- objects and arrays
  // --------------------------------------------------------------------------------------

  void fill_object(Part& object, const std::vector<Entry>& entries, const Surroundings& around,
                   bool of_template = false) {
    object.kind = Part::Kind::object;
    std::vector<Part*> members;
    members.reserve(entries.size());
    fill_members(object, members, entries, around, of_template);
    add_precision_marks(members);
    object.parts = keep(members);
    refuse_twins(object);
    settle(object);
  }

  // Where the form has left one alternative that always holds, there is nothing to choose.
  static const Node* only_alternative(const Entry& entry) {
    const Node* only = entry.value->is_array() && entry.value->count == 1 ? entry.value->first : nullptr;
    return only == nullptr || only->member("$when") != nullptr || only->member("$form") == nullptr ? nullptr
                                                                                                   : only;
  }

  void fill_members(Part& object, std::vector<Part*>& members, const std::vector<Entry>& entries,
                    const Surroundings& around, bool of_template) {
    for (const auto& entry : entries) {
      const Place where = place(*entry.file, entry.value);
      if (entry.name.starts_with("$choose")) {
        if (const Node* only = only_alternative(entry)) {
          fill_members(object, members, expand(only, *entry.file, entry.parameters), around, of_template);
          continue;
        }
        members.push_back(choose(entry, around));
      } else if (entry.name == "$value") {
        add_value_members(object, members, entry, around);
      } else if (entry.name == "$reference") {
        Part* part = make(Part::Kind::primitive, where);
        part->source = Source::reference;
        part->target = number_of(substitute(entry.value->text, *entry.parameters), where);
        part->has_hole = part->mirror = part->pure_mirror = true;
        part->beside_identifier = std::any_of(entries.begin(), entries.end(),
                                              [](const Entry& one) { return one.name == "identifier"; });
        members.push_back(named("reference", part));
      } else if (entry.name == "$always") {
        object.always = true;
      } else if (entry.name == "$first") {
        object.first_of_many = true;
      } else if (!is_directive(entry.name)) {
        const bool may_share = of_template && !mapping_.is_document_;
        Part* part = may_share ? fragment(entry, around) : value(entry, around);
        if (part != nullptr) members.push_back(named(entry.name, part));
      }
    }
  }

  // A member that could be written twice would make JSON that nobody reads.
  void refuse_twins(const Part& object) const {
    std::vector<std::uint32_t> names;
    for (const auto& part : object.parts) {
      if (part->kind != Part::Kind::choose) names.push_back(part->name);
    }
    for (const auto& part : object.parts) {
      if (part->kind != Part::Kind::choose) continue;
      std::vector<std::uint32_t> of_choice;
      for (const auto& alternative : part->parts) {
        const Node* constant = alternative->constant;
        for (const Node* at = constant == nullptr ? nullptr : constant->first; at != nullptr; at = at->next) {
          of_choice.push_back(mapping_.names_.find(at->name_text));
        }
        for (const auto& member : alternative->parts) {
          if (member->kind != Part::Kind::choose) of_choice.push_back(member->name);
        }
      }
      std::sort(of_choice.begin(), of_choice.end());
      of_choice.erase(std::unique(of_choice.begin(), of_choice.end()), of_choice.end());
      names.insert(names.end(), of_choice.begin(), of_choice.end());
    }
    std::sort(names.begin(), names.end());
    const auto twin = std::adjacent_find(names.begin(), names.end());
    if (twin != names.end()) {
      fault(object.place,
            "'" + std::string(mapping_.names_.text(*twin)) + "' can be written twice in one object",
            "take one out; a member of a frame by $without");
    }
  }

  // The part as a member of that name.
  Part* named(std::string_view name, Part* part) {
    part->name = mapping_.names_.add(name);
    if (keys_.size() <= part->name) keys_.resize(part->name + 1);
    auto& key = keys_[part->name];
    if (key.empty()) {
      std::string quoted;
      append_json_string(name, quoted);
      key = keep(quoted += ':');
    }
    part->key = key;
    return part;
  }

  // A member of a template. Templates that take it from one frame, and find the same fields around it, share it.
  Part* fragment(const Entry& entry, const Surroundings& around) {
    if (!stands_alone(*entry.value) || entry.name != entry.value->name_text || entry.name.starts_with('_')) {
      Part* part = value(entry, around);
      if (part != nullptr) share(*part, entry, around);
      return part;
    }
    const auto [known, fresh] = fragments_.try_emplace({entry.value, around.lexical.back().field}, nullptr);
    if (fresh) {
      known->second = value(entry, around);
      if (known->second != nullptr) share(*known->second, entry, around);
    }
    return known->second;
  }

  // Whether nothing in it depends on the template's parameters.
  static bool stands_alone(const Node& node) {
    if (node.text.find('<') != std::string_view::npos) return false;
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      if (at->name_text == "$frame" || at->name_text.find('<') != std::string_view::npos || !stands_alone(*at))
        return false;
    }
    return true;
  }

  // A part of a frame that says the same in every instance of a visit is written once and copied.
  void share(Part& part, const Entry& entry, const Surroundings& around) {
    if (!part.has_hole || around.in_leaf || depends_on_instance(part)) return;
    if (entry.value->kind == NodeKind::string && entry.value->text.find('<') != std::string_view::npos)
      return;
    auto& number = shared_[entry.value];
    if (number == 0) number = ++shared_count_;
    part.shared = number;
  }

  static bool depends_on_instance(const Part& part, std::uint8_t own_levels = 0) {
    if (part.kind == Part::Kind::primitive) {
      if (part.source == Source::key || part.source == Source::uuid || part.source == Source::resource_id)
        return true;
      if (part.source == Source::field && part.accessor.level > own_levels) return true;
      if (part.facet == Facet::words) return true;
    }
    if (part.kind == Part::Kind::references || part.kind == Part::Kind::labels) return true;
    for (const auto& clause : part.when.all) {
      if (clause.option.empty() && clause.accessor.level > own_levels) return true;
    }
    // Only loops from the record downward are the same everywhere.
    if (part.kind == Part::Kind::loop) {
      if (part.also_loop || part.accessor.level > own_levels ||
          part.loop_level != static_cast<std::uint32_t>(own_levels + 1))
        return true;
      own_levels = static_cast<std::uint8_t>(part.loop_level);
    }
    for (const auto& below : part.parts) {
      if (depends_on_instance(*below, own_levels)) return true;
    }
    return false;
  }

  Part* choose(const Entry& entry, const Surroundings& around) {
    Part* made = make(Part::Kind::choose, place(*entry.file, entry.value));
    if (!entry.value->is_array())
      fault(made->place, "$choose takes a list of alternatives", "write [ {…}, {…} ]");
    std::vector<Part*> alternatives;
    for (const Node* at = entry.value->first; at != nullptr; at = at->next) {
      const auto entries = expand(at, *entry.file, entry.parameters);
      Part* alternative = make(Part::Kind::object, place(*entry.file, at));
      std::vector<Clause> when;
      for (const auto& one : entries) {
        if (one.name == "$when") add_clauses(one, around, when);
      }
      alternative->when.all = keep(when);
      fill_object(*alternative, entries, around);
      alternatives.push_back(alternative);
    }
    made->parts = keep(alternatives);
    for (const auto& alternative : made->parts) made->has_hole = made->has_hole || alternative->has_hole;
    made->pure_mirror = std::all_of(made->parts.begin(), made->parts.end(),
                                    [](const auto& part) { return part->pure_mirror || !part->has_hole; });
    return made;
  }

  // "$value": the members of a datatype stand beside the object's own.
  void add_value_members(Part& object, std::vector<Part*>& members, const Entry& entry,
                         const Surroundings& around) {
    Part* part = value(entry, around);
    const Place where = place(*entry.file, entry.value);
    if (part == nullptr) return;
    const Part* whole = part->kind == Part::Kind::typed ? part->parts.front() : part;
    if (whole->kind != Part::Kind::object) {
      if (!members.empty()) fault(where, "a scalar cannot stand beside members", "give it a member name");
      object.kind = Part::Kind::primitive;
      scalar_item_ = part;
      return;
    }
    members.insert(members.end(), whole->parts.begin(), whole->parts.end());
    object.constant = nullptr;
    if (whole->constant != nullptr) fault(where, "a constant needs no $value", "write its members");
  }

  Part* array(const Node* node, const File& source, const Parameters* parameters,
              const Surroundings& around) {
    Part* made = make(Part::Kind::array, place(source, node));
    std::vector<Part*> items;
    for (const Node* at = node->first; at != nullptr; at = at->next) {
      Part* part =
          at->is_object() ? item(at, source, parameters, around) : value(at, source, parameters, around);
      if (part != nullptr) items.push_back(part);
    }
    made->parts = keep(items);
    settle(*made);
    return made;
  }

  Part* item(const Node* node, const File& source, const Parameters* parameters, Surroundings around) {
    const auto entries = expand(node, source, parameters);
    const Place where = place(source, node);
    Part* loop = nullptr;
    std::vector<Clause> when;
    for (const auto& entry : entries) {
      if (entry.name != "$for") continue;
      const auto name = substitute(entry.value->text, *entry.parameters);
      loop = make(Part::Kind::loop, where);
      if (name == ".also") {
        loop->also_loop = true;
        loop->accessor = around.leaf;
        around.in_also = true;
      } else {
        const auto target = resolve(name, around, where);
        loop->accessor = target.accessor;
        enter_loop(target, around, where);
        loop->loop_level = around.levels;
      }
    }
    for (const auto& entry : entries) {
      if (entry.name == "$when") add_clauses(entry, around, when);
      if (entry.name == "$of") {
        const auto target = resolve(substitute(entry.value->text, *entry.parameters), around, where);
        Clause clause;
        clause.accessor = target.accessor;
        static constexpr Test any_answer[] = {{Test::present}, {Test::none}, {Test::absent}};
        clause.any = any_answer;
        when.push_back(clause);
      }
    }
    Part* body = make(Part::Kind::object, where);
    scalar_item_ = nullptr;
    fill_object(*body, entries, around);
    if (scalar_item_ != nullptr) body = std::exchange(scalar_item_, nullptr);
    body->when.all = keep(when);
    body->one_way = std::any_of(entries.begin(), entries.end(),
                                [](const Entry& entry) { return entry.name == "$direction"; });
    if (loop == nullptr) return body;
    loop->has_hole = true;
    loop->one_way = body->one_way;
    loop->pure_mirror = body->pure_mirror;
    loop->parts = keep(std::vector{body});
    return loop;
  }

  Part* value(const Entry& entry, const Surroundings& around) {
    return value(entry.value, *entry.file, entry.parameters, around);
  }
  Part* value(const Node* node, const File& source, const Parameters* parameters,
              const Surroundings& around) {
    const Place where = place(source, node);
    if (is_constant(*node)) return constant(*node, where);
    switch (node->kind) {
      case NodeKind::object: {
        Part* made = make(Part::Kind::object, where);
        scalar_item_ = nullptr;
        fill_object(*made, expand(node, source, parameters), around);
        return scalar_item_ != nullptr ? std::exchange(scalar_item_, nullptr) : made;
      }
      case NodeKind::array:
        return array(node, source, parameters, around);
      default:
        return text(substitute(node->text, *parameters), where, around);
    }
  }

  // --- strings and holes
  // ---------------------------------------------------------------------------------------

  // Whether all of it stands as it is written: no hole, parameter, directive, or list or object of nothing.
  static bool is_constant(const Node& node) {
    if (node.is_string()) return node.text.find_first_of("{}<") == std::string_view::npos;
    if ((node.is_object() || node.is_array()) && node.count == 0) return false;
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      if (is_directive(at->name_text) || at->name_text.find('<') != std::string_view::npos || !is_constant(*at))
        return false;
    }
    return true;
  }

  Part* constant(const Node& node, const Place& where) const {
    Part* made = make(Part::Kind::constant, where);
    become_constant(*made, node);
    return made;
  }
  void become_constant(Part& part, const Node& node) const {
    std::string json;
    syntax::append_json(node, json);
    part.kind = Part::Kind::constant;
    part.constant = &node;
    part.json = keep(json);
  }

  Part* constant_string(std::string_view text, const Place& where) const {
    Node* node = mapping_.arena_.make<Node>();
    node->kind = NodeKind::string;
    node->text = text;
    return constant(*node, where);
  }

  // Literals and holes of a string; doubled braces stand for themselves.
  Part* text(std::string_view written, const Place& where, const Surroundings& around) {
    std::vector<Part*> pieces;
    std::string literal;
    std::string_view rest = written;
    const auto flush = [&] {
      if (literal.empty()) return;
      Part* piece = make(Part::Kind::constant, {});
      piece->literal = keep(literal);
      literal.clear();
      pieces.push_back(piece);
    };
    bool hole = false;
    while (!rest.empty()) {
      if (rest.starts_with("{{") || rest.starts_with("}}")) {
        literal += rest.front();
        rest.remove_prefix(2);
        continue;
      }
      if (rest.front() != '{') {
        literal += rest.front();
        rest.remove_prefix(1);
        continue;
      }
      const auto close = rest.find('}');
      if (close == std::string_view::npos)
        fault(where, "a hole is not closed in \"" + std::string(written) + "\"", "add }");
      flush();
      Part* made = this->hole(rest.substr(1, close - 1), where, around);
      rest.remove_prefix(close + 1);
      if (pieces.empty() && rest.empty()) return made;
      if (made->kind != Part::Kind::primitive)
        fault(where, "only a scalar fits inside a text", "use a facet of the field");
      hole = true;
      pieces.push_back(made);
    }
    if (!hole) return constant_string(keep(literal), where);
    flush();
    Part* made = make(Part::Kind::text, where);
    made->parts = keep(pieces);
    made->has_hole = true;
    made->mirror = around.mirror;
    made->pure_mirror = std::all_of(made->parts.begin(), made->parts.end(), [](const auto& piece) {
      return piece->kind != Part::Kind::primitive || piece->mirror;
    });
    return made;
  }

  std::uint32_t number_of(std::string_view name, const Place& where) const {
    const auto known = numbers_.find(name);
    if (known == numbers_.end())
      fault(where, "there is no template '" + std::string(name) + "'", "name a template of this set");
    return known->second;
  }

  Part* hole(std::string_view content, const Place& where, const Surroundings& around) {
    auto words = split(content, ' ');
    if (words.empty()) fault(where, "an empty hole", "name a field");
    if (mapping_.is_document_ && words.front() == "fixed")
      return fixed(content.substr(words.front().size()), where);
    if (mapping_.is_document_ && words.front() == "left-out") {
      Part* made = fixed(" *", where);
      made->literal = trim(content.substr(words.front().size()));
      return made;
    }
    if (words.front() == "own" || mapping_.terms_->system(words.front()) != nullptr)
      return codes(content, where);
    Part* made = make(Part::Kind::primitive, where);
    made->has_hole = true;
    made->mirror = made->pure_mirror = around.mirror;
    if (words.front() == "mirror") {
      made->mirror = made->pure_mirror = true;
      words.erase(words.begin());
      if (words.empty()) fault(where, "mirror of what?", "name a field");
    }
    if (words.front() == "each" && mapping_.is_document_) {
      made->each = true;
      words.erase(words.begin());
      if (words.empty()) fault(where, "each of what?", "name a field");
    }
    static constexpr std::pair<std::string_view, Source> functions[] = {
        {"key", Source::key},
        {"identity-system", Source::identity_system},
        {"resource-id", Source::resource_id},
        {"uuid", Source::uuid}};
    for (const auto& [name, source] : functions) {
      if (words.front() == name) {
        made->source = source;
        made->mirror = made->pure_mirror = true;
        return made;
      }
    }
    if (words.front() == "labels") {
      made->kind = Part::Kind::labels;
      made->mirror = made->pure_mirror = true;
      return made;
    }
    if (words.front() == "run") {
      if (words.size() != 2 || (words[1] != "record" && Options{}.run(words[1]) == nullptr)) {
        fault(where, "a run has no such fact", "{run stamp}, {run version}, {run mapping} or {run record}");
      }
      made->source = Source::run;
      made->literal = words[1];
      made->mirror = made->pure_mirror = true;
      return made;
    }
    if (words.front() == "ref" || words.front() == "refs") {
      if (words.size() != 2) fault(where, "a reference names one template", "{ref wound}");
      if (words.front() == "refs") {
        made->kind = Part::Kind::references;
        made->target = words[1] == "all" ? all_of_visit : panel_number(std::string(words[1]));
        made->mirror = made->pure_mirror = true;
        return made;
      }
      made->source = Source::reference;
      made->target = number_of(words[1], where);
      made->mirror = made->pure_mirror = true;
      Part* object = make(Part::Kind::object, where);
      object->parts = keep(std::vector{named("reference", made)});
      settle(*object);
      return object;
    }
    bool in_words = false;
    if (words.front() == "words") {
      words.erase(words.begin());
      if (words.empty()) fault(where, "words of what?", "name a field");
      in_words = true;
    }
    // Which code system is ours follows from the field's domain: a constant, by which reading knows the local
    // word.
    if (words.front() == ".own-system" && around.in_leaf) {
      return constant_string(
          around.domain != nullptr ? around.domain->system : keep(canonical_ + "/CodeSystem/extra"), where);
    }
    const auto target = resolve(words.front(), around, where);
    words.erase(words.begin());
    made->accessor = target.accessor;
    made->facet = target.facet;
    if (in_words) {
      made->facet = Facet::words;
      made->render = Render::xhtml;
      made->mirror = made->pure_mirror = true;
      return made;
    }
    std::string_view as, site_table;
    while (!words.empty()) {
      const auto word = words.front();
      words.erase(words.begin());
      if (word == "as" && !words.empty()) {
        as = words.front();
        words.erase(words.begin());
      } else if (word == "in" && !words.empty() && mapping_.is_document_) {
        made->spelling.unit = words.front();
        words.erase(words.begin());
      } else if (word == "by" && !words.empty() && mapping_.is_document_) {
        site_table = words.front();
        words.erase(words.begin());
      } else if (word == "of") {
        made->allowed = keep(words);
        made->known_by_value = mapping_.is_document_;
        words.clear();
      } else if (word == "else" && words.size() == 1 && words.front() == "identity-system") {
        made->source = Source::identity_system;
        words.clear();
      } else {
        fault(where, "'" + std::string(word) + "' is not understood here",
              "{FIELD as FORM}, {FIELD of A B C}");
      }
    }
    const Field& field = *target.field;
    auto kind = around.in_leaf && target.has_facet ? around.leaf_kind : field.kind;
    const bool is_spelled =
        mapping_.is_document_ && spell(*made, field, kind, target.has_facet, as, site_table, where);
    if (mapping_.is_document_ && field.is_list() && target.accessor.steps != 0) refuse_elements(*made, field);
    if (is_spelled) {
      made->domain = around.in_leaf ? around.domain : domain(field, kind);
      made->also_loop = around.in_also;
      return made;
    }
    if (as.empty() && !target.has_facet) {
      const auto known = default_types_.find(record::kind_name(kind));
      if (known == default_types_.end()) {
        fault(where, "a " + std::string(record::kind_name(kind)) + " cannot stand here by itself",
              "say as what: {" + std::string(field.path) + " as …}");
      }
      as = known->second;
    }
    const auto type = types_.find(as);
    if (type != types_.end()) return typed(*made, target, type->second, as, where, around);
    if (!as.empty() && !find_render(as, made->render)) {
      fault(where, "there is no form '" + std::string(as) + "'",
            "a datatype of types.json, or dateTime, time, code, url, integer, …");
    }
    const auto domain_of_leaf = domain(field, kind);
    made->domain = around.in_leaf ? around.domain : domain_of_leaf;
    if (kind == record::Kind::any && !target.has_facet) {
      made->has_sets_kind = true;
      made->sets_kind = as == "boolean"   ? record::Kind::flag
                        : as == "integer" ? record::Kind::count
                                          : record::Kind::text;
      kind = made->sets_kind;
    }
    if (!target.has_facet && kind == record::Kind::time) made->render = Render::date_time;
    const bool numeric =
        kind == record::Kind::count || kind == record::Kind::percent || kind == record::Kind::decimal;
    if (made->render == Render::year) {
      made->shape = Shape::string;
    } else if ((!target.has_facet && numeric) || made->facet == Facet::number ||
               made->facet == Facet::value || made->facet == Facet::fixed_value) {
      made->shape = Shape::number;
    } else if ((!target.has_facet && kind == record::Kind::flag) || made->facet == Facet::estimated ||
               made->facet == Facet::fixed_rounded) {
      made->shape = Shape::boolean;
    }
    made->also_loop = around.in_also;
    return made;
  }

  // Outside of its loop a list has no value but "none" or the reason for its absence.
  void refuse_elements(const Part& hole, const Field& list) const {
    const auto* words = hole.spelling.words;
    const bool says_none = words != nullptr && std::all_of(words->rows().begin(), words->rows().end(),
                                                           [](const auto& row) { return row.means.empty(); });
    if (says_none || hole.facet == Facet::none || hole.facet == Facet::absent) return;
    const std::string path(list.path);
    fault(hole.place, "'" + path + "' is a list, and a hole holds one of its elements",
          "write [ { \"$for\": \"" + path + "\", … } ], with \"$value\" where an element is one text");
  }

  // "fixed F | C": written F; C is read alike, and told. "?" stands for anything, "*" too, and is not told.
  Part* fixed(std::string_view content, const Place& where) const {
    Part* made = make(Part::Kind::primitive, where);
    made->source = Source::fixed;
    made->has_hole = true;
    std::vector<std::string_view> allowed;
    for (const auto one : split(content, '|')) {
      const auto text = trim(one);
      made->takes_any = made->takes_any || text == "*" || text == "?";
      made->tells_any = made->tells_any || text == "?";
      if (!text.empty()) allowed.push_back(text);
    }
    made->allowed = keep(allowed);
    if (made->allowed.empty()) fault(where, "fixed to what?", "{fixed TEXT}, {fixed TEXT | TEXT READ ALIKE}");
    return made;
  }

  // A hole of a site's layout. False when it is one as everywhere else: with a datatype, or JSON's own
  // spelling.
  bool spell(Part& made, const Field& field, record::Kind kind, bool has_facet, std::string_view as,
             std::string_view table, const Place& where) {
    if (!as.empty() && types_.contains(as)) return false;
    if (as.empty() && table.empty() && made.spelling.unit.empty() && !has_facet &&
        default_types_.contains(record::kind_name(kind)))
      return false;
    const bool text_only = mapping_.layout_.syntax != LayoutSyntax::json;
    Spelling& spelling = made.spelling;
    if (!table.empty()) spelling.words = site_words(table, field, made.facet, where);
    if (kind == record::Kind::quantity && !has_facet) {
      if (spelling.unit.empty() && spelling.words == nullptr) {
        fault(where, "'" + std::string(field.path) + "' is a quantity, and nothing says its unit",
              "declare it, {" + std::string(field.path) + " in cm}, or give {" + std::string(field.path) +
                  ".unit} a place of its own");
      }
      if (!spelling.unit.empty()) made.facet = Facet::value;
      need_unit(spelling.unit, field, where);
    } else if (!spelling.unit.empty() && made.facet != Facet::value) {
      fault(where, "only a quantity has a unit", "leave 'in " + std::string(spelling.unit) + "' out");
    }
    if (kind == record::Kind::group && spelling.words == nullptr) {
      fault(where, "'" + std::string(field.path) + "' is a group", "name one of its fields");
    }
    if (kind == record::Kind::coding && !has_facet)
      fault(where, "'" + std::string(field.path) + "' is a coding", "use .system, .code, .display");
    if (const auto time = mapping_.times_.find(as); !as.empty() && time != mapping_.times_.end()) {
      if (kind != record::Kind::time)
        fault(where, "'" + std::string(field.path) + "' is no time", "leave 'as' out");
      spelling.time = time->second.get();
      as = {};
    }
    if (as == "root") {
      if (kind != record::Kind::text)
        fault(where, "'" + std::string(field.path) + "' is no URI", "leave 'as root' out");
      spelling.is_root = true;
      as = {};
    }
    spelling.number = find_number_form(as);
    if (spelling.number == nullptr && !as.empty() && !find_render(as, made.render)) {
      fault(where, "there is no form '" + std::string(as) + "'",
            "one of \"times\", text, decimal-comma, integer, …");
    }
    if (made.render == Render::date_time || made.render == Render::time_of_day) {
      fault(where, "FHIR's form of a time stands in FHIR",
            "leave 'as' out, or give a pattern under \"times\"");
    }
    if (kind == record::Kind::any && !has_facet) {
      made.has_sets_kind = true;
      made.sets_kind = as == "boolean"   ? record::Kind::flag
                       : as == "integer" ? record::Kind::count
                                         : record::Kind::text;
      kind = made.sets_kind;
    }
    const bool is_number = made.facet == Facet::value || made.facet == Facet::number ||
                           (!has_facet && (kind == record::Kind::count || kind == record::Kind::percent ||
                                           kind == record::Kind::decimal));
    if (spelling.number != nullptr && as != "text" && !is_number)
      fault(where, "only a number has a decimal comma", "leave 'as' out");
    const bool is_flag = made.facet == Facet::estimated || (!has_facet && kind == record::Kind::flag);
    const bool as_text = text_only || spelling.number != nullptr || spelling.words != nullptr;
    if (as_text && is_number && spelling.number == nullptr) spelling.number = find_number_form("text");
    if (!as_text) made.shape = is_number ? Shape::number : is_flag ? Shape::boolean : Shape::string;
    return true;
  }

  const terms::Domain* domain(const Field& field, record::Kind kind) const {
    if (kind == record::Kind::clock) return mapping_.terms_->domain("clock-position");
    return field.argument.empty() ? nullptr : mapping_.terms_->domain(field.argument);
  }

  // A hole that holds a datatype: the datatype's parts, looking at this field.
  Part* typed(const Part& made, const Target& target, const Named& type, std::string_view type_name,
              const Place& where, Surroundings around) {
    const Field& field = *target.field;
    const Node* kinds = type.node->member("$kinds");
    auto kind = field.kind;
    if (kind == record::Kind::any) {
      if (kinds == nullptr || kinds->first == nullptr)
        fault(where, "the datatype says no kinds", "add $kinds");
      record::Kind first = record::Kind::text;
      for (int k = 0; k <= static_cast<int>(record::Kind::group); ++k) {
        if (record::kind_name(static_cast<record::Kind>(k)) == kinds->first->text)
          first = static_cast<record::Kind>(k);
      }
      kind = first;
    } else {
      bool fits = false;
      for (const Node* at = kinds == nullptr ? nullptr : kinds->first; at != nullptr; at = at->next) {
        fits = fits || at->text == record::kind_name(kind);
      }
      if (!fits) {
        fault(where,
              "'" + std::string(field.path) + "' is a " + std::string(record::kind_name(kind)) + ", which " +
                  std::string(type_name) + " does not hold",
              "use a datatype for that kind");
      }
    }
    const Parameters parameters{{{"canonical", canonical_}}};
    auto entries = expand(type.node, *type.file, &parameters);
    std::erase_if(entries, [](const Entry& entry) { return entry.name == "$kinds"; });
    if (field.is_group()) {
      // A group: the datatype names its members, or, for absent and none, the group itself.
      around.lexical.push_back({target.accessor, &field});
    }
    around.mirror = made.mirror;
    around.in_leaf = true;
    around.leaf = target.accessor;
    around.leaf_kind = kind;
    around.domain = domain(field, kind);
    if (kind == record::Kind::coding) around.domain = nullptr;
    Part* body = make(Part::Kind::object, where);
    fill_object(*body, entries, around);
    if (field.is_group()) return body;
    Part* whole = make(Part::Kind::typed, where);
    whole->accessor = target.accessor;
    whole->domain = around.domain;
    whole->type_name = type.node->name_text;
    whole->has_hole = true;
    whole->mirror = made.mirror;
    whole->pure_mirror = body->pure_mirror;
    whole->has_sets_kind = field.kind == record::Kind::any;
    whole->sets_kind = kind;
    whole->parts = keep(std::vector{body});
    return whole;
  }

  // "own size, loinc 72287-6": a CodeableConcept that stands as it is.
  Part* codes(std::string_view content, const Place& where) {
    std::string json = "{\"coding\":[";
    bool first = true;
    // The standard code comes first, as readers that look at one coding only expect.
    std::vector<std::string> codings;
    std::string own, own_entry;
    bool stands_alone = false;
    for (auto one : split(content, ',')) {
      one = trim(one);
      if (one.empty()) continue;
      const auto words = split(one, ' ');
      if (words.size() != 2)
        fault(where, "a code is a system and a code, not '" + std::string(one) + "'", "{loinc 72287-6}");
      std::string coding = "{\"system\":";
      if (words[0] == "own") {
        const auto* questions = mapping_.terms_->domain("question");
        const auto* question = questions == nullptr ? nullptr : questions->find(words[1]);
        if (question == nullptr) {
          fault(where, "'" + std::string(words[1]) + "' is not in codes/question.csv",
                "add a row with its display");
        }
        append_json_string(questions->system, coding);
        coding += ",\"code\":";
        append_json_string(question->word, coding);
        coding += ",\"display\":";
        append_json_string(question->display, coding);
        coding += "}";
        own = std::move(coding);
        own_entry = questions->system + "|" + question->word;
      } else {
        const auto* standard = mapping_.terms_->standard(words[0], words[1]);
        if (standard == nullptr) {
          fault(where, std::string(words[0]) + " " + std::string(words[1]) + " is not in codes/standard.csv",
                "add a row with its source");
        }
        append_json_string(standard->system, coding);
        coding += ",\"code\":";
        append_json_string(standard->code, coding);
        coding += ",\"display\":";
        append_json_string(standard->display, coding);
        coding += "}";
        codings.insert(codings.begin(), std::move(coding));
        stands_alone = stands_alone || alone_.contains(standard->system + "|" + standard->code);
      }
    }
    if (!own.empty() && !stands_alone) codings.push_back(std::move(own));
    for (const auto& coding : codings) {
      if (!first) json += ',';
      first = false;
      json += coding;
    }
    json += "]}";
    const auto tree = syntax::read_json(keep(json), mapping_.arena_, mapping_.names_);
    Part* made = constant(**tree, where);
    if (stands_alone) own_beside_.emplace(made->constant, own_entry);
    return made;
  }

  // --- finishing
  // -----------------------------------------------------------------------------------------------

  // A FHIR dateTime with a time of day has seconds. Where minutes were charted, a mark beside it says so.
  void add_precision_marks(std::vector<Part*>& members) {
    for (std::size_t i = 0; i < members.size(); ++i) {
      const Part& time = *members[i];
      if (time.kind != Part::Kind::primitive || time.render != Render::date_time) continue;
      const auto number = mapping_.names_.add("_" + std::string(mapping_.names_.text(time.name)));
      const auto known = std::find_if(members.begin(), members.end(),
                                      [&](const Part* member) { return member->name == number; });
      if (known == members.end()) {
        members.insert(members.begin() + static_cast<std::ptrdiff_t>(++i), mark_beside(time, number));
        continue;
      }
      for (Part* member : (*known)->parts) {
        if (mapping_.names_.text(member->name) != "extension") continue;
        std::vector<Part*> items{precision_mark(time)};
        items.insert(items.end(), member->parts.begin(), member->parts.end());
        member->parts = keep(items);
        settle(*member);
        settle(**known);
        break;
      }
    }
  }

  Part* precision_mark(const Part& time) {
    Part* hole = make(Part::Kind::primitive, time.place);
    hole->facet = Facet::precision;
    hole->accessor = time.accessor;
    hole->has_hole = true;
    hole->mirror = hole->pure_mirror = time.mirror;
    Part* mark = make(Part::Kind::object, time.place);
    const auto url = keep(canonical_ + "/StructureDefinition/charted-precision");
    mark->parts = keep(std::vector{named("url", constant_string(url, time.place)), named("valueCode", hole)});
    settle(*mark);
    return mark;
  }

  // The member of that name that holds the mark alone. It is shared as its time is.
  Part* mark_beside(const Part& time, std::uint32_t name) {
    auto& known = marks_[&time];
    if (known != nullptr) return known;
    Part* list = make(Part::Kind::array, time.place);
    list->parts = keep(std::vector{precision_mark(time)});
    settle(*list);
    Part* beside = make(Part::Kind::object, time.place);
    beside->parts = keep(std::vector{named("extension", list)});
    settle(*beside);
    if (time.shared != 0) {
      auto& number = shared_marks_[time.shared];
      if (number == 0) number = ++shared_count_;
      beside->shared = number;
    }
    return known = named(mapping_.names_.text(name), beside);
  }

  // What follows from the parts below: holes, pure copies; and a part without holes becomes a constant.
  void settle(Part& part) {
    part.has_hole = false;
    part.pure_mirror = true;
    for (const auto& below : part.parts) {
      part.has_hole = part.has_hole || below->has_hole;
      if (below->has_hole && !below->pure_mirror) part.pure_mirror = false;
      if (!below->when.empty()) part.has_hole = true;
    }
    if (part.kind == Part::Kind::primitive) return;
    // A list with an item that is always written is always written itself.
    if (part.kind == Part::Kind::array) {
      part.always = std::any_of(part.parts.begin(), part.parts.end(),
                                [](const auto& item) { return item->always && !item->one_way; });
    }
    if (part.has_hole) return;
    part.pure_mirror = false;
    // A choice between constants is decided by the record: it stays a choice.
    for (const auto& below : part.parts) {
      if (below->kind == Part::Kind::choose) {
        part.has_hole = true;
        part.pure_mirror = true;
        return;
      }
    }
    Node* node = mapping_.arena_.make<Node>();
    node->kind = part.kind == Part::Kind::array ? NodeKind::array : NodeKind::object;
    for (const Part* below : part.parts) {
      if (below->constant == nullptr) continue;  // an object or list of nothing
      Node* child = mapping_.arena_.make<Node>(*below->constant);
      child->name = below->name;
      child->name_text = mapping_.names_.text(below->name);
      append(*node, child);
    }
    if (node->count == 0) return;
    become_constant(part, *node);
    part.parts = {};
  }

  const Tables& tables_;
  Mapping& mapping_;
  std::string_view folder_;
  std::string_view form_;
  const std::set<std::string, std::less<>>& alone_;
  std::map<const Node*, std::string> own_beside_;  // of constants that leave out our code
  Parameters form_parameters_;
  std::string canonical_;
  std::map<std::string, File, std::less<>> files_;
  std::map<std::string, Named, std::less<>> types_;
  std::map<std::string, Named, std::less<>> frames_;
  std::map<std::string, std::string, std::less<>> default_types_;
  std::map<std::string, std::uint32_t, std::less<>> numbers_;
  std::vector<std::pair<std::string, Place>> keys_elsewhere_,
      says_of_visit_;  // templates that "elsewhere" names
  std::deque<Parameters> widened_;           // by "$with"
  std::vector<std::string_view> keys_;       // by number of the name: quoted, with a colon
  std::unordered_map<const Node*, std::uint32_t> shared_;
  std::unordered_map<std::uint32_t, std::uint32_t> shared_marks_;
  std::uint32_t shared_count_ = 0;
  std::map<std::pair<const Node*, const Field*>, Part*> fragments_;  // by value and innermost group around it
  std::unordered_map<const Part*, Part*> marks_;                     // by time
  Part* scalar_item_ = nullptr;
};

Result<std::unique_ptr<Mapping>> Mapping::load(const Tables& tables, const terms::Terms& terms,
                                               const FixedUnits& fixed_units, std::string_view folder,
                                               std::string_view form,
                                               const std::set<std::string, std::less<>>& alone) {
  std::unique_ptr<Mapping> mapping(new Mapping);
  mapping->form_ = form;
  mapping->terms_ = &terms;
  mapping->fixed_units_ = &fixed_units;
  try {
    Compiler(tables, *mapping, folder, form, alone).run();
  } catch (MappingFault& fault) {
    return std::move(fault.error);
  }
  for (auto& one : mapping->templates_) note_likeness(*one.body);
  if (auto proved = prove(*mapping); !proved) return proved.error();
  mapping->programs_[0].build(mapping->templates_);
  render_words(*mapping, Notation::json);
  return mapping;
}

void Mapping::lay_out_in_xml(const fhir::Elements& elements) {
  auto& program = programs_[static_cast<std::size_t>(Notation::xml)];
  if (program.size() != 0) return;
  program.build(templates_, elements);
  render_words(*this, Notation::xml);
}

std::optional<Repeat> find_repeat(std::string_view word) {
  if (word == "create-once") return Repeat::create_once;
  if (word == "update") return Repeat::update;
  if (word == "create") return Repeat::create;
  return {};
}

std::string_view Options::find(std::string_view option) const {
  if (option == "--refs") return refs;
  if (option == "--units") return units;
  if (option == "--pack") return pack;
  if (option == "--stamp") return stamp;
  return {};
}

const std::string* Options::run(std::string_view fact) const {
  if (fact == "stamp") return &stamp;
  if (fact == "version") return &version;
  if (fact == "mapping") return &mapping_digest;
  return nullptr;
}

const Template* Mapping::find(std::string_view name) const {
  for (const auto& one : templates_) {
    if (one.name == name) return &one;
  }
  return nullptr;
}

namespace {

// What stands under "type|system|code", or under the type where there is no code.
std::uint32_t look_up(const std::unordered_map<std::string, std::uint32_t, HashOf>& index,
                      std::string_view type, std::string_view system, std::string_view code) {
  std::string key(type);
  if (!code.empty()) {
    key += '|';
    key += system;
    key += '|';
    key += code;
  }
  const auto known = index.find(key);
  return known == index.end() ? 0 : known->second;
}

std::string_view member_of(const std::map<std::string, std::string, std::less<>>& members,
                           std::string_view type) {
  const auto known = members.find(type);
  return known == members.end() ? std::string_view{} : std::string_view{known->second};
}

}  // namespace

const Template* Mapping::recognise(std::string_view resource_type, std::string_view system,
                                   std::string_view code) const {
  const auto number = look_up(index_, resource_type, system, code);
  return number == 0 ? nullptr : &templates_[number - 1];
}
const Template* Mapping::recognise_elsewhere(std::string_view resource_type, std::string_view system,
                                             std::string_view code) const {
  const auto number = look_up(elsewhere_index_, resource_type, system, code);
  return number == 0 ? nullptr : &templates_[number - 1];
}

std::string_view Mapping::index_member(std::string_view resource_type) const {
  return member_of(index_members_, resource_type);
}
std::string_view Mapping::elsewhere_member(std::string_view resource_type) const {
  return member_of(elsewhere_members_, resource_type);
}

}  // namespace charpie::mapping
