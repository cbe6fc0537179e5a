// The forms that data comes in and goes out in, each a row: a syntax around a shape.
#pragma once
#include <span>
#include <string>
#include <string_view>

#include "fhir/elements.hpp"

namespace charpie::flow {

enum class Syntax : unsigned char { json, xml };

/// One form, as it is named on the command line everywhere.
struct Form {
  std::string_view name;
  std::string_view shape;   // the row of the mapping set's "forms" (mappings/fhir/set.json); empty: our own record
  Syntax syntax = Syntax::json;
  fhir::Version version = fhir::Version::r4;  // whose elements it has: R4B's are R4's for the resources in use
  bool is_record() const { return shape.empty(); }
};

/// A form that a run needs. Reading it is strict, and strict reading needs HL7's element tables; so does XML.
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
