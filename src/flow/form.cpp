#include "flow/form.hpp"

#include <algorithm>

#include "base/arena.hpp"
#include "flow/undecided.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

namespace {

constexpr Form rows[] = {
    {"record", "", Syntax::json},
    {"fhir-r4", "fhir-r4", Syntax::json},
    {"fhir-r4-xml", "fhir-r4", Syntax::xml, fhir::Version::r4},
    {"fhir-r4b", "fhir-r4b", Syntax::json, fhir::Version::r4},
    {"fhir-r4b-xml", "fhir-r4b", Syntax::xml, fhir::Version::r4},
    {"fhir-r5", "fhir-r5", Syntax::json, fhir::Version::r5},
    {"fhir-r5-xml", "fhir-r5", Syntax::xml, fhir::Version::r5},
};

constexpr std::string_view layouts_of_standards[] = {"c-cda"};

}  // namespace

std::span<const std::string_view> standard_layouts() {
  return layouts_of_standards;
}

bool names_layout(std::string_view name) {
  return name.starts_with(site_prefix) ||
         std::find(std::begin(layouts_of_standards), std::end(layouts_of_standards), name) !=
             std::end(layouts_of_standards);
}

std::span<const Form> forms() {
  return rows;
}
const Form& record_form() {
  return rows[0];
}
const Form& fhir_r4_form() {
  return rows[1];
}

const Form* find_form(std::string_view name) {
  for (const auto& one : rows) {
    if (one.name == name) return &one;
  }
  return nullptr;
}

Result<std::unique_ptr<SiteForm>> SiteForm::open(const std::string& name, const Tables& tables) {
  std::unique_ptr<SiteForm> made(new SiteForm);
  made->name_ = name;
  const auto wanted = name.starts_with(site_prefix) ? name.substr(site_prefix.size()) : name;
  const Tables* all = &tables;
  if (wanted.find('/') != std::string::npos) {
    made->folder_ = wanted.substr(0, wanted.find_last_not_of('/') + 1);
    auto read = tables.with_folder(made->folder_, wanted);
    if (!read) return read.error();
    made->tables_ = std::make_unique<Tables>(std::move(*read));
    all = made->form_.tables = made->tables_.get();
  } else {
    made->folder_ = "sites/" + wanted;
  }
  const auto* set = all->find(made->folder_ + "/set.json");
  if (set == nullptr) {
    std::string names;
    for (const auto& file : tables.below("sites/")) {
      if (!file.path.ends_with("/set.json")) continue;
      const auto one = file.path.substr(6, file.path.size() - 6 - 9);
      names.append(names.empty() ? "" : ", ").append(site_prefix).append(one);
    }
    return Error{Error::usage,
                 "there is no layout '" + name + "'",
                 {},
                 0,
                 0,
                 "name one of " + names + ", or a folder with a set.json: site:./FOLDER"};
  }
  if (auto mark = undecided(*all, made->folder_)) return *mark;
  Arena arena;
  const syntax::Names nothing;
  const auto tree = syntax::read_json(*set, arena, nothing);
  if (!tree) {
    return Error{
        Error::mapping_broken, tree.error().message, made->folder_ + "/set.json", tree.error().line, 0,
        "correct the JSON"};
  }
  const auto text = [&](std::string_view member) {
    const auto* node = (*tree)->is_object() ? (*tree)->member(member) : nullptr;
    return node == nullptr ? std::string_view{} : node->text;
  };
  // What is none of these is told when the set is loaded.
  static constexpr std::pair<std::string_view, Syntax> syntaxes[] = {
      {"xml", Syntax::xml}, {"csv", Syntax::csv}, {"hl7v2", Syntax::hl7v2}};
  made->form_.name = made->name_;
  made->form_.shape = made->name_;
  made->form_.folder = made->folder_;
  made->form_.is_site = true;
  made->form_.reads = text("direction") != "out";
  made->form_.writes = text("direction") != "in";
  for (const auto& [word, syntax] : syntaxes) {
    if (text("syntax") == word) made->form_.syntax = syntax;
  }
  return made;
}

std::string form_names() {
  std::string names;
  for (const auto& one : rows) names.append(names.empty() ? "" : ", ").append(one.name);
  return names;
}

}  // namespace charpie::flow
