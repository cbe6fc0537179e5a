#include "flow/claim.hpp"

#include "base/escape.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

using syntax::Node;

void Claimer::claim(std::string& json, record::Findings& findings) {
  arena_.reset();
  insertions_.clear();
  const syntax::Names names;
  auto tree = syntax::read_json(json, arena_, names);
  if (!tree) return;  // what is written elsewhere tells it
  const Node* type = (*tree)->member("resourceType");
  if (type == nullptr) return;
  if (type->text == "Bundle") {
    const Node* entries = (*tree)->member("entry");
    std::size_t number = 0;
    for (const Node* entry = entries == nullptr ? nullptr : entries->first; entry != nullptr;
         entry = entry->next, ++number) {
      if (const Node* resource = entry->member("resource"))
        claim_one(*resource, "Bundle.entry[" + std::to_string(number) + "].resource", findings);
    }
  } else {
    claim_one(**tree, std::string(type->text), findings);
  }
  if (insertions_.empty()) return;
  std::string claimed;
  std::size_t from = 0;
  for (const auto& one : insertions_) {
    claimed.append(json, from, one.at - from).append(one.text);
    from = one.at;
  }
  claimed.append(json, from);
  json = std::move(claimed);
}

void Claimer::claim_one(const Node& resource, const std::string& path, record::Findings& findings) {
  fhir::Claims::Misfit misfit;
  const auto url = claims_->fitting(resource, misfit);
  if (url.empty()) {
    if (!misfit.url.empty()) {
      findings.report(record::FindingId::claim_not_fit, path + "." + misfit.place, record::Findings::no_place,
                      {misfit.url, misfit.words});
    }
    return;
  }
  std::string profile = R"("profile":[)";
  append_json_string(url, profile);
  profile += ']';
  if (const Node* meta = resource.member("meta")) {
    insertions_.push_back({meta->begin + std::size_t{1}, profile + (meta->first == nullptr ? "" : ",")});
  } else {
    insertions_.push_back({resource.member("resourceType")->end, ",\"meta\":{" + profile + "}"});
  }
}

}  // namespace charpie::flow
