#include "cli/session.hpp"

#include <ostream>

#include "flow/file_source.hpp"

namespace charpie::cli {

Result<const Tables*> Session::tables() {
  if (tables_ == nullptr) {
    if (mappings.empty()) {
      tables_ = std::make_unique<Tables>(embedded_tables());
    } else {
      auto read = Tables::from_folder(mappings);
      if (!read) return read.error();
      tables_ = std::make_unique<Tables>(std::move(*read));
    }
  }
  return static_cast<const Tables*>(tables_.get());
}

Result<const flow::Form*> Session::form(const std::string& name, bool reads) {
  if (const auto* known = flow::find_form(name)) return known;
  auto& site = sites_[name];
  if (site == nullptr) {
    const auto found = tables();
    if (!found) return found.error();
    auto opened = flow::SiteForm::open(name, **found);
    if (!opened) return opened.error();
    site = std::move(*opened);
  }
  const auto& form = site->form();
  if (reads ? form.reads : form.writes) return &form;
  return Error{Error::usage,
               "the layout '" + name + (reads ? "' is not read" : "' is not written"),
               {},
               0,
               0,
               "its set.json says \"direction\": \"" + std::string(reads ? "out" : "in") + "\""};
}

Result<const flow::Engine*> Session::engine(std::initializer_list<flow::Wanted> wanted) {
  if (engine_ == nullptr) {
    const auto found = tables();
    if (!found) return found.error();
    std::string rules;
    if (!site_rules.empty()) {
      auto text = flow::read_whole(site_rules);
      if (!text) return text.error();
      rules = std::move(*text);
    }
    auto loaded = flow::Engine::load(**found, rules, site_rules, {wanted.begin(), wanted.size()}, claim);
    if (!loaded) return loaded.error();
    engine_ = std::move(*loaded);
  }
  return static_cast<const flow::Engine*>(engine_.get());
}

void Session::fail(const Error& error) {
  err << "charpie: ";
  if (!error.file.empty()) {
    err << error.file;
    if (error.line != 0) err << ':' << error.line;
    if (error.column != 0) err << ':' << error.column;
    err << ": ";
  }
  err << error.message;
  if (!error.mend.empty()) err << "\n  " << error.mend;
  err << '\n';
  switch (error.kind) {
    case Error::usage:
      exit_code = wrong_usage;
      break;
    case Error::unreadable:
    case Error::unwritable:
      exit_code = cannot_read_or_write;
      break;
    case Error::mapping_broken:
      exit_code = mapping_broken;
      break;
    case Error::invalid:
      exit_code = data_has_errors;
      break;
  }
}

}  // namespace charpie::cli
