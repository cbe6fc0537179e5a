// The forms that data comes in and goes out in, each a row: a syntax around a shape. A site's layout is a
// form, too.
#pragma once
#include <memory>
#include <span>
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "fhir/elements.hpp"
#include "mapping/layout.hpp"

namespace charpie::flow {

enum class Syntax : unsigned char { json, xml, csv, hl7v2 };

/// One form, as it is named on the command line everywhere.
struct Form {
  std::string_view name;
  std::string_view
      shape;  // the row of the mapping set's "forms" (mappings/fhir/set.json); empty: our own record
  Syntax syntax = Syntax::json;
  fhir::Version version =
      fhir::Version::r4;             // whose elements it has: R4B's are R4's for the resources in use
  std::string_view folder = "fhir";  // of the mapping set, among the tables
  const Tables* tables = nullptr;    // that hold the set, when it is not among those of the run
  bool is_site = false;
  bool reads = true, writes = true;
  bool is_record() const { return shape.empty(); }
};

/// A site's layout as a form: `site:NAME` (mappings/sites/NAME), or `site:FOLDER`, a path with a slash in it.
class SiteForm {
 public:
  /// Error::usage when there is no such layout (it names those there are), Error::unreadable for the folder,
  /// Error::mapping_broken for a set.json that cannot be read. `tables` must outlive the form.
  static Result<std::unique_ptr<SiteForm>> open(const std::string& name, const Tables& tables);
  const Form& form() const { return form_; }

 private:
  SiteForm() = default;
  std::string name_, folder_;
  std::unique_ptr<Tables> tables_;
  Form form_;
};

inline constexpr std::string_view site_prefix = "site:";
/// Whether it names a layout: with the prefix, or a layout of a standard by its own name, `c-cda` for
/// `site:c-cda`.
bool names_layout(std::string_view name);
/// The layouts that need no prefix.
std::span<const std::string_view> standard_layouts();
/// How a form's input is cut into pieces.
struct Cut {
  Syntax syntax = Syntax::json;
  const mapping::Layout* layout = nullptr;          // of a site
  std::size_t sort_memory = std::size_t{64} << 20;  // bytes, for putting rows together to visits
  Cut(Syntax cut_syntax = Syntax::json, const mapping::Layout* cut_layout = nullptr)
      : syntax(cut_syntax), layout(cut_layout) {}
};

/// A form that a run needs. Reading it is strict, and strict reading needs HL7's element tables; so does XML.
/// One that is only written, in XML, is laid out for that (Mapping::lay_out_in_xml).
struct Wanted {
  const Form* form;
  bool reads = true;
};

std::span<const Form> forms();
/// The form of that name, or nullptr.
const Form* find_form(std::string_view name);
/// Our own record, as JSON.
const Form& record_form();
/// FHIR R4 as JSON: what is sent when nothing else is asked for.
const Form& fhir_r4_form();
/// "record, fhir-r4, …", for messages.
std::string form_names();

}  // namespace charpie::flow
