#include "fhir/content.hpp"

#include <algorithm>
#include <set>

#include "base/text.hpp"

namespace charpie::fhir {

using record::FindingId;
using syntax::Node;

namespace {

bool is_number(std::string_view text) {
  return !text.empty() && text.find_first_not_of("0123456789") == std::string_view::npos;
}

}  // namespace

ContentChecks::ContentChecks(const terms::Terms& terms, const units::Units& units)
    : units_(units), loinc_(terms.system("loinc")), sct_(terms.system("sct")), ucum_(terms.system("ucum")) {
  const auto add = [&](const std::string& system, const std::string& code, const std::string& display) {
    if (!system.empty() && !code.empty() && !display.empty()) displays_.emplace(system + '|' + code, display);
  };
  for (const auto& [key, one] : terms.standards()) add(one.system, one.code, one.display);
  for (const auto& domain : terms.domains()) {
    for (const auto& link : domain.links) add(link.system, link.code, link.standard);
    for (const auto& one : domain.concepts) add(domain.system, one.word, one.display);
  }
}

// One document.
class ContentChecks::Walk {
 public:
  Walk(const ContentChecks& checks, record::Findings& findings) : checks_(checks), findings_(findings) {}

  void document(const Node& root) {
    path_ = plain_text(root.member("resourceType"));
    const Node* entries = path_ == "Bundle" ? root.member("entry") : nullptr;
    in_bundle_ = entries != nullptr;
    const bool versions = plain_text(root.member("type")) == "history";
    for (const Node* entry = entries == nullptr ? nullptr : entries->first; entry != nullptr;
         entry = entry->next) {
      const auto url = plain_text(entry->member("fullUrl"));
      if (!url.empty()) urls_.insert(url);
    }
    std::size_t number = 0;
    for (const Node* entry = entries == nullptr ? nullptr : entries->first; entry != nullptr;
         entry = entry->next, ++number) {
      const Node* resource = entry->member("resource");
      if (resource != nullptr && !versions) identifiers(*resource, number);
    }
    walk(root);
  }

 private:
  // One business identifier names one thing (FHIR R4, resource.html#identifiers).
  void identifiers(const Node& resource, std::size_t number) {
    const Node* list = resource.member("identifier");
    if (list == nullptr) return;
    const auto look = [&](const Node& one) {
      const auto system = plain_text(one.member("system")), value = plain_text(one.member("value"));
      if (system.empty() || value.empty()) return;
      std::string key(plain_text(resource.member("resourceType")));
      key.append("|").append(system).append("|").append(value);
      if (named_.insert(std::move(key)).second) return;
      findings_.report(FindingId::fhir_identifier_twice,
                       "Bundle.entry[" + std::to_string(number) + "].resource.identifier", one.begin, {});
    };
    if (!list->is_array()) return look(*list);
    for (const Node* one = list->first; one != nullptr; one = one->next) look(*one);
  }

  void walk(const Node& node) {
    if (node.is_object()) {
      if (!plain_text(node.member("system")).empty() && !plain_text(node.member("code")).empty()) code(node);
      if (const Node* reference = node.member("reference"); reference != nullptr && reference->is_string())
        leads(*reference);
    }
    const auto length = path_.size();
    std::size_t index = 0;
    for (const Node* at = node.first; at != nullptr; at = at->next, ++index) {
      if (at->first == nullptr) continue;
      if (node.is_object())
        path_.append(".").append(at->name_text);
      else
        path_.append("[").append(std::to_string(index)).append("]");
      walk(*at);
      path_.resize(length);
    }
  }

  void leads(const Node& reference) {
    if (!in_bundle_ || !reference.text.starts_with("urn:uuid:") || urls_.contains(reference.text)) return;
    findings_.report(FindingId::fhir_reference_unresolved, path_ + ".reference", reference.begin, {});
  }

  void code(const Node& node) {
    const auto system = plain_text(node.member("system")), code = plain_text(node.member("code"));
    if (checks_.ucum_ != nullptr && system == checks_.ucum_->uri) return unit(node, code);
    const bool is_loinc = checks_.loinc_ != nullptr && system == checks_.loinc_->uri;
    const bool is_sct = checks_.sct_ != nullptr && system == checks_.sct_->uri;
    // An expression of SNOMED CT has no check digit; an answer of LOINC has a rule of its own.
    if ((is_loinc && !terms::loinc_check_digit(code)) ||
        (is_sct && is_number(code) && !terms::sct_check_digit(code))) {
      findings_.report(FindingId::fhir_check_digit, path_ + ".code", node.member("code")->begin, {code});
      return;
    }
    const auto display = plain_text(node.member("display"));
    if (display.empty()) return;
    std::string key(system);
    key.append("|").append(code);
    const auto [first, last] = checks_.displays_.equal_range(key);
    if (first == last) return;
    // Terminologies differ in capitals from release to release.
    const bool known =
        std::any_of(first, last, [&](const auto& one) { return same_ignoring_case(one.second, display); });
    if (!known) {
      findings_.report(FindingId::fhir_display_differs, path_ + ".display", node.member("display")->begin,
                       {code, first->second, display});
    }
  }

  void unit(const Node& node, std::string_view code) {
    if (!checks_.units_.valid(code)) {
      const auto meant = checks_.units_.suggest(code);
      findings_.report(FindingId::fhir_unit_not_ucum, path_ + ".code", node.member("code")->begin,
                       {code, meant.empty() ? std::string_view{"nothing that is known"}
                                            : std::string_view{meant.front()}});
      return;
    }
    // The unit is words for people; where the words are a code of UCUM themselves, they should not be another
    // one.
    const auto words = plain_text(node.member("unit"));
    if (words.empty() || words == code) return;
    const auto said = checks_.units_.reduce(words), coded = checks_.units_.reduce(code);
    if (!said || !coded) return;
    const auto meant = checks_.units_.suggest(words);
    if (std::find(meant.begin(), meant.end(), code) != meant.end()) return;
    if (checks_.units_.commensurable(words, code)) {
      const auto one = checks_.units_.convert("1", words, code);
      if (one && one->exact && one->text == "1") return;
    }
    findings_.report(FindingId::fhir_unit_differs, path_ + ".unit", node.member("unit")->begin,
                     {code, words});
  }

  const ContentChecks& checks_;
  record::Findings& findings_;
  std::string path_;
  bool in_bundle_ = false;
  std::set<std::string_view> urls_;
  std::set<std::string> named_;
};

void ContentChecks::read(const Node& document, record::Findings& findings) const {
  Walk(*this, findings).document(document);
}

}  // namespace charpie::fhir
