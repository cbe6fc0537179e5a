#include "mapping/er7_results.hpp"

#include <algorithm>

namespace charpie::mapping {

using record::FindingId;

namespace {

// HL7 table 0085 as the HL7 v2-to-FHIR guide maps it (OBX[Observation]): C, F, P and A are results; D and W
// are entered in error, X and N say that there is none; the rest it does not map.
struct Status {
  std::string_view code;
  FindingId id;
};
constexpr Status statuses[] = {
    {"D", FindingId::instance_withdrawn}, {"W", FindingId::instance_withdrawn},
    {"X", FindingId::hl7_not_obtained},   {"N", FindingId::hl7_not_obtained},
    {"B", FindingId::hl7_status_refused}, {"I", FindingId::hl7_status_refused},
    {"O", FindingId::hl7_status_refused}, {"R", FindingId::hl7_status_refused},
    {"S", FindingId::hl7_status_refused}, {"U", FindingId::hl7_status_refused},
    {"V", FindingId::hl7_status_refused},
};

}  // namespace

std::optional<LeftResult> left_result(const syntax::Node& node) {
  if (!node.is_object()) return {};
  const syntax::Node* group = node.member("OBX");
  const syntax::Node* field = (group != nullptr && group->is_object() ? *group : node).member("11");
  const syntax::Node* value =
      field == nullptr || field->first == nullptr ? nullptr : field->first->member("1");
  if (value == nullptr) return {};
  const auto found = std::find_if(std::begin(statuses), std::end(statuses),
                                  [&](const Status& one) { return one.code == value->text; });
  if (found == std::end(statuses)) return {};
  return LeftResult{found->id, value->text};
}

}  // namespace charpie::mapping
