#include "fhir/invariants.hpp"

#include <algorithm>
#include <array>
#include <compare>
#include <set>
#include <unordered_set>

#include "base/decimal.hpp"
#include "base/time.hpp"
#include "fhir/narrative.hpp"

namespace charpie::fhir {

namespace {

using syntax::Node;
using syntax::NodeKind;
using Pair = RuleNames::Pair;

constexpr std::string_view ucum = "http://unitsofmeasure.org";
constexpr std::string_view condition_clinical = "http://terminology.hl7.org/CodeSystem/condition-clinical";
constexpr std::string_view condition_verification =
    "http://terminology.hl7.org/CodeSystem/condition-ver-status";
constexpr std::string_view condition_category = "http://terminology.hl7.org/CodeSystem/condition-category";

const Node* member(const Node* node, std::uint32_t name) {
  return node == nullptr || name == 0 || !node->is_object() ? nullptr : node->member(name);
}

// exists(): the member is there, with a value or with extensions only.
bool has(const Node* node, Pair name) {
  return member(node, name.plain) != nullptr || member(node, name.companion) != nullptr;
}

// The value of a member; nullptr when it has none.
const Node* value(const Node* node, Pair name) {
  const Node* found = member(node, name.plain);
  return found == nullptr || found->kind == NodeKind::null ? nullptr : found;
}

std::string_view text(const Node* node, Pair name) {
  const Node* found = value(node, name);
  return found == nullptr ? std::string_view{} : found->text;
}

// Whether a choice element has a value, of whatever type.
bool has_choice(const Place& place, std::string_view name) {
  for (const Node* child = place.node.first; child != nullptr; child = child->next) {
    const Member* known = place.shape.member(child->name);
    if (known != nullptr && known->element->choice && known->element->name == name) return true;
  }
  return false;
}

// Calls `use` for each item of an array, or for a lone value; until it gives false. True when it never did.
template <class Use>
bool all_of(const Node* list, Use&& use) {
  if (list == nullptr) return true;
  if (!list->is_array()) return use(*list);
  for (const Node* item = list->first; item != nullptr; item = item->next) {
    if (!use(*item)) return false;
  }
  return true;
}

template <class Use>
bool any_of(const Node* list, Use&& use) {
  return !all_of(list, [&](const Node& item) { return !use(item); });
}

// Whether a CodeableConcept has one of the codes of a system.
bool has_coding(const RuleNames& n, const Node* concept_node, std::string_view system,
                std::initializer_list<std::string_view> codes) {
  return any_of(member(concept_node, n.coding.plain), [&](const Node& coding) {
    return text(&coding, n.system) == system &&
           std::find(codes.begin(), codes.end(), text(&coding, n.code)) != codes.end();
  });
}

bool is_one_of(std::string_view text, std::initializer_list<std::string_view> words) {
  return std::find(words.begin(), words.end(), text) != words.end();
}

bool is_number(const Node* node) {
  return node != nullptr && node->kind == NodeKind::number && is_decimal(node->text);
}

bool at_least_zero(const Node* node) {
  return !is_number(node) || sign(Decimal(node->text)) >= 0;
}

// Whether a is not more than b; true when the two do not compare.
bool not_after(const Node* a, const Node* b) {
  if (a == nullptr || b == nullptr || !a->is_string() || !b->is_string()) return true;
  const auto first = parse_time(a->text);
  const auto second = parse_time(b->text);
  return !first || !second || compare(first.time, second.time) != std::partial_ordering::greater;
}

bool not_more(const RuleNames& n, const Node* low, const Node* high) {
  const Node* a = value(low, n.value);
  const Node* b = value(high, n.value);
  if (!is_number(a) || !is_number(b)) return true;
  // Quantities in different units are left to the rules for units.
  const bool coded = !text(low, n.code).empty() || !text(high, n.code).empty();
  if (coded ? text(low, n.code) != text(high, n.code) || text(low, n.system) != text(high, n.system)
            : text(low, n.unit) != text(high, n.unit)) {
    return true;
  }
  return compare(Decimal(a->text), Decimal(b->text)) <= 0;
}

// Both or neither, and then with an extension.
bool both_or_neither(bool first, bool second, bool extended) {
  return first == second && (first || extended);
}

// The resource type that a reference names, as far as its text tells: ".../Patient/1" is Patient.
std::string_view referenced_type(const RuleNames& n, const Node* reference) {
  auto told = text(reference, n.reference);
  const auto slash = told.rfind('/');
  if (slash == std::string_view::npos) return text(reference, n.type);
  told = told.substr(0, slash);
  return told.substr(told.rfind('/') + 1);
}

// The ids that strings below refer to, written "#id"; "#" is the empty id.
void add_references(const Node& node, std::unordered_set<std::string_view>& ids) {
  if (node.is_string() && node.text.starts_with('#')) ids.insert(node.text.substr(1));
  for (const Node* child = node.first; child != nullptr; child = child->next) add_references(*child, ids);
}

// Whether a string below is "#": the resource that contains this one.
bool refers_to_container(const Node& node) {
  if (node.is_string()) return node.text == "#";
  for (const Node* child = node.first; child != nullptr; child = child->next) {
    if (refers_to_container(*child)) return true;
  }
  return false;
}

bool every_entry(const Place& p, bool (*holds)(const RuleNames&, const Node&)) {
  return all_of(member(&p.node, p.names.entry.plain),
                [&](const Node& entry) { return !entry.is_object() || holds(p.names, entry); });
}

std::string_view bundle_type(const Place& p) {
  return text(&p.node, p.names.type);
}

// Whether the request of an entry brings a resource along.
bool brings_resource(const RuleNames& n, const Node& entry) {
  return is_one_of(text(member(&entry, n.request.plain), n.method), {"POST", "PATCH", "PUT"});
}

const Node* first_resource(const Place& p) {
  const Node* entries = member(&p.node, p.names.entry.plain);
  return entries == nullptr || !entries->is_array() ? nullptr
                                                    : member(entries->first, p.names.resource.plain);
}

std::string_view resource_type(const RuleNames& n, const Node* resource) {
  const Node* type = member(resource, n.resource_type);
  return type == nullptr ? std::string_view{} : type->text;
}

bool distinct_full_urls(const Place& p) {
  std::vector<std::pair<std::string_view, std::string_view>> seen;
  all_of(member(&p.node, p.names.entry.plain), [&](const Node& entry) {
    const auto url = text(&entry, p.names.fullUrl);
    const Node* meta = member(member(&entry, p.names.resource.plain), p.names.meta.plain);
    if (!url.empty()) seen.emplace_back(url, text(meta, p.names.versionId));
    return true;
  });
  std::sort(seen.begin(), seen.end());
  return std::adjacent_find(seen.begin(), seen.end()) == seen.end();
}

// No contained resource has something under `meta`.
bool contained_without(const Place& p, Pair name) {
  return all_of(member(&p.node, p.names.contained.plain),
                [&](const Node& one) { return !has(member(&one, p.names.meta.plain), name); });
}

bool contained_are_referenced(const Place& p) {
  const Node* contained = member(&p.node, p.names.contained.plain);
  if (contained == nullptr) return true;
  std::unordered_set<std::string_view> referenced;
  add_references(p.node, referenced);
  return all_of(contained, [&](const Node& one) {
    return !one.is_object() || referenced.contains(text(&one, p.names.id)) || refers_to_container(one);
  });
}

bool reference_is_contained(const Place& p) {
  const auto reference = text(&p.node, p.names.reference);
  if (!reference.starts_with('#')) return true;
  if (reference == "#") return &p.root != &p.resource;
  return p.contained.contains(reference.substr(1));
}

bool no_component_repeats_code(const Place& p) {
  const RuleNames& n = p.names;
  if (!has_choice(p, "value")) return true;
  const Node* components = member(&p.node, n.component.plain);
  if (components == nullptr) return true;
  // As FHIRPath intersects codings: the same in system, code and display.
  using Coding = std::array<std::string_view, 3>;
  const auto parts = [&](const Node& coding) {
    return Coding{text(&coding, n.system), text(&coding, n.code), text(&coding, n.display)};
  };
  std::set<Coding> own;
  all_of(member(member(&p.node, n.code.plain), n.coding.plain), [&](const Node& coding) {
    if (!text(&coding, n.code).empty()) own.insert(parts(coding));
    return true;
  });
  return all_of(components, [&](const Node& component) {
    return !any_of(member(member(&component, n.code.plain), n.coding.plain),
                   [&](const Node& coding) { return own.contains(parts(coding)); });
  });
}

// The items below that have answers ask each its own question.
bool distinct_answered_items(const RuleNames& n, const Node& owner) {
  std::set<std::string_view> asked;
  return all_of(member(&owner, n.item.plain), [&](const Node& item) {
    return !has(&item, n.answer) || text(&item, n.linkId).empty() ||
           asked.insert(text(&item, n.linkId)).second;
  });
}

bool unit_is_ucum(const Place& p) {
  const RuleNames& n = p.names;
  const bool coded = has(&p.node, n.code) || !has(&p.node, n.value);
  return coded && (!has(&p.node, n.system) || text(&p.node, n.system) == ucum);
}

bool is_expression_name(std::string_view name) {
  const auto letter = [](char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); };
  return !name.empty() && name.size() <= 64 && letter(name.front()) &&
         std::all_of(name.begin(), name.end(),
                     [&](char c) { return letter(c) || (c >= '0' && c <= '9') || c == '_'; });
}

#define HAS(name) has(&p.node, p.names.name)
#define TEXT(name) text(&p.node, p.names.name)
#define VALUE(name) value(&p.node, p.names.name)
#define MEMBER(name) member(&p.node, p.names.name.plain)
#define RULE(key, path, versions, words, ...)                                            \
  {                                                                                      \
    key, path, Rule::versions, [](const Place& p) -> bool { return __VA_ARGS__; }, words \
  }

constexpr Rule all_rules[] = {
    // --- resources
    RULE("dom-2", "DomainResource", both, "a contained resource contains none itself",
         all_of(MEMBER(contained), [&](const Node& one) { return !has(&one, p.names.contained); })),
    RULE("dom-3", "DomainResource", both,
         "a contained resource is referred to from the resource that contains it",
         contained_are_referenced(p)),
    RULE("dom-4", "DomainResource", both,
         "a contained resource has no meta.versionId and no meta.lastUpdated",
         contained_without(p, p.names.versionId) && contained_without(p, p.names.lastUpdated)),
    RULE("dom-5", "DomainResource", both, "a contained resource has no security label",
         contained_without(p, p.names.security)),
    RULE("dom-6", "DomainResource", both, "a resource that stands alone should have a narrative",
         HAS(text) || &p.root != &p.resource),
    RULE("txt-1", "Narrative.div", both,
         "a narrative is a well-formed div of XHTML with formatting, links and images only",
         judge_narrative(p.node.text).fault.empty()),
    RULE("txt-2", "Narrative.div", both, "a narrative says something", !judge_narrative(p.node.text).blank),

    // --- data types
    RULE("ext-1", "Extension", both,
         "an extension has either a value or extensions, not both and not neither",
         HAS(extension) != has_choice(p, "value")),
    RULE("qty-3", "Quantity", both, "a unit's code needs its system", !HAS(code) || HAS(system)),
    RULE("sqty-1", "SimpleQuantity", both, "no comparator stands here", !HAS(comparator)),
    RULE("age-1", "Age", both, "an age has a code of UCUM and is above zero",
         unit_is_ucum(p) && (!is_number(VALUE(value)) || sign(Decimal(VALUE(value)->text)) > 0)),
    RULE("cnt-3", "Count", both, "a count has the code 1 of UCUM and is a whole number",
         unit_is_ucum(p) && (!HAS(code) || TEXT(code) == "1") &&
             TEXT(value).find('.') == std::string_view::npos),
    RULE("dis-1", "Distance", both, "a distance has a code of UCUM", unit_is_ucum(p)),
    RULE("drt-1", "Duration", both, "a duration's code is one of UCUM and has a value",
         !HAS(code) || (TEXT(system) == ucum && HAS(value))),
    RULE("att-1", "Attachment", both, "data needs a contentType", !HAS(data) || HAS(contentType)),
    RULE("cpt-2", "ContactPoint", both, "a contact needs a system", !HAS(value) || HAS(system)),
    RULE("per-1", "Period", both, "a period does not end before it starts",
         not_after(VALUE(start), VALUE(end))),
    RULE("rng-2", "Range", both, "low is not more than high", not_more(p.names, MEMBER(low), MEMBER(high))),
    RULE("rat-1", "Ratio", both, "numerator and denominator are both there, or neither and an extension",
         both_or_neither(HAS(numerator), HAS(denominator), HAS(extension))),
    RULE("ratrng-1", "RatioRange", r5, "a numerator and the denominator are there, or none and an extension",
         both_or_neither(HAS(lowNumerator) || HAS(highNumerator), HAS(denominator), HAS(extension))),
    RULE("ratrng-2", "RatioRange", r5, "the low numerator is not more than the high one",
         not_more(p.names, MEMBER(lowNumerator), MEMBER(highNumerator))),
    RULE("ref-1", "Reference", both, "a reference to a contained resource finds it",
         reference_is_contained(p)),
    RULE("ref-2", "Reference", r5, "a reference has a reference, an identifier, a display or an extension",
         HAS(reference) || HAS(identifier) || HAS(display) || HAS(extension)),
    RULE("sdd-1", "SampledData", r5, "either interval or offsets", HAS(interval) != HAS(offsets)),
    RULE("cod-1", "Coding", r5, "a display should stand beside a code", HAS(code) || !HAS(display)),
    RULE("ident-1", "Identifier", r5, "an identifier should have a value", HAS(value)),
    RULE("dos-1", "Dosage", r5, "asNeededFor is not there when asNeeded is false",
         !HAS(asNeededFor) || !HAS(asNeeded) || TEXT(asNeeded) == "true"),
    RULE("av-1", "Availability.availableTime", r5, "allDay and times exclude each other",
         TEXT(allDay) != "true" || (!HAS(availableStartTime) && !HAS(availableEndTime))),
    RULE("exp-1", "Expression", both, "an expression has an expression or a reference",
         HAS(expression) || HAS(reference)),
    RULE("exp-2", "Expression", r5, "the name is a letter, then letters, digits and _, up to 64",
         VALUE(name) == nullptr || is_expression_name(TEXT(name))),
    RULE("drq-1", "DataRequirement.codeFilter", both, "either path or searchParam",
         HAS(path) != HAS(searchParam)),
    RULE("drq-2", "DataRequirement.dateFilter", both, "either path or searchParam",
         HAS(path) != HAS(searchParam)),
    RULE("trd-1", "TriggerDefinition", both, "data and timing exclude each other",
         !HAS(data) || !has_choice(p, "timing")),
    RULE("trd-2", "TriggerDefinition", both, "a condition needs data", !HAS(condition) || HAS(data)),
    RULE("trd-3", "TriggerDefinition", both,
         "a named event has a name, a periodic one a timing, one about data its data",
         (TEXT(type) != "named-event" || HAS(name)) &&
             (TEXT(type) != "periodic" || has_choice(p, "timing")) &&
             (!TEXT(type).starts_with("data-") || HAS(data))),
    RULE("tim-1", "Timing.repeat", both, "a duration needs its unit", !HAS(duration) || HAS(durationUnit)),
    RULE("tim-2", "Timing.repeat", both, "a period needs its unit", !HAS(period) || HAS(periodUnit)),
    RULE("tim-4", "Timing.repeat", both, "a duration is not negative", at_least_zero(VALUE(duration))),
    RULE("tim-5", "Timing.repeat", both, "a period is not negative", at_least_zero(VALUE(period))),
    RULE("tim-6", "Timing.repeat", both, "periodMax needs period", !HAS(periodMax) || HAS(period)),
    RULE("tim-7", "Timing.repeat", both, "durationMax needs duration", !HAS(durationMax) || HAS(duration)),
    RULE("tim-8", "Timing.repeat", both, "countMax needs count", !HAS(countMax) || HAS(count)),
    RULE("tim-9", "Timing.repeat", both, "an offset needs a when, and one that is no meal itself",
         !HAS(offset) || (HAS(when) && all_of(MEMBER(when),
                                              [](const Node& one) {
                                                return !is_one_of(one.text, {"C", "CM", "CD", "CV"});
                                              }))),
    RULE("tim-10", "Timing.repeat", both, "timeOfDay and when exclude each other",
         !HAS(timeOfDay) || !HAS(when)),

    // --- Observation
    RULE("obs-3", "Observation.referenceRange", both, "a reference range has low, high or text",
         HAS(low) || HAS(high) || HAS(text)),
    RULE("obs-6", "Observation", both, "dataAbsentReason stands only where there is no value",
         !HAS(dataAbsentReason) || !has_choice(p, "value")),
    RULE("obs-7", "Observation", both,
         "when a component has the code of the observation, the observation has no value",
         no_component_repeats_code(p)),
    RULE("obs-8", "Observation", r5, "bodySite and bodyStructure exclude each other",
         !HAS(bodySite) || !HAS(bodyStructure)),

    // --- Condition
    RULE("con-1", "Condition.stage", both, "a stage has a summary or an assessment",
         HAS(summary) || HAS(assessment)),
    RULE("con-2", "Condition.evidence", r4, "evidence has a code or a detail", HAS(code) || HAS(detail)),
    RULE("con-2", "Condition", r5,
         "an item of the problem list should have a clinical status other than unknown",
         !any_of(MEMBER(category),
                 [&](const Node& one) {
                   return has_coding(p.names, &one, condition_category, {"problem-list-item"});
                 }) ||
             !has_coding(p.names, MEMBER(clinicalStatus), condition_clinical, {"unknown"})),
    RULE("con-3", "Condition", r4,
         "an item of the problem list should have a clinical status unless it is an error",
         HAS(clinicalStatus) ||
             has_coding(p.names, MEMBER(verificationStatus), condition_verification, {"entered-in-error"}) ||
             !any_of(MEMBER(category),
                     [&](const Node& one) {
                       return has_coding(p.names, &one, condition_category, {"problem-list-item"});
                     })),
    RULE("con-3", "Condition", r5, "what has abated is inactive, resolved or in remission",
         !has_choice(p, "abatement") || has_coding(p.names, MEMBER(clinicalStatus), condition_clinical,
                                                   {"inactive", "resolved", "remission"})),
    RULE("con-4", "Condition", r4, "what has abated is inactive, resolved or in remission",
         !has_choice(p, "abatement") || has_coding(p.names, MEMBER(clinicalStatus), condition_clinical,
                                                   {"inactive", "resolved", "remission"})),
    RULE("con-5", "Condition", r4, "what was entered in error has no clinical status",
         !has_coding(p.names, MEMBER(verificationStatus), condition_verification, {"entered-in-error"}) ||
             !HAS(clinicalStatus)),

    // --- other resources
    RULE("prr-1", "ServiceRequest", both, "details of an order need its code",
         !HAS(orderDetail) || HAS(code)),
    RULE("bdystr-1", "ServiceRequest", r5, "bodySite and bodyStructure exclude each other",
         !HAS(bodySite) || !HAS(bodyStructure)),
    RULE("pat-1", "Patient.contact", both, "a contact has a name, a telecom, an address or an organization",
         HAS(name) || HAS(telecom) || HAS(address) || HAS(organization)),
    RULE("org-1", "Organization", both, "an organization has an identifier or a name",
         HAS(identifier) || HAS(name)),
    RULE("org-2", "Organization.address", r4, "an organization has no home address", TEXT(use) != "home"),
    RULE("org-3", "Organization.telecom", r4, "an organization has no home telecom", TEXT(use) != "home"),
    RULE("org-3", "Organization.contact", r5, "an organization has no home telecom",
         all_of(MEMBER(telecom), [&](const Node& one) { return text(&one, p.names.use) != "home"; })),
    RULE("org-4", "Organization.contact", r5, "an organization has no home address",
         text(MEMBER(address), p.names.use) != "home"),
    RULE("dev-1", "Device", r5, "one name at most is for display",
         [&] {
           std::size_t shown = 0;
           all_of(MEMBER(name), [&](const Node& one) {
             shown += text(&one, p.names.display) == "true";
             return true;
           });
           return shown <= 1;
         }()),
    RULE("enc-1", "Encounter.participant", r5, "a participant has an actor or a type",
         HAS(actor) || HAS(type)),
    RULE("enc-2", "Encounter.participant", r5, "a patient or a group that takes part has no type",
         !is_one_of(referenced_type(p.names, MEMBER(actor)), {"Patient", "Group"}) || !HAS(type)),
    RULE("prc-1", "Procedure.performer", r5, "a practitioner acts on behalf of none here",
         !HAS(onBehalfOf) ||
             !is_one_of(referenced_type(p.names, MEMBER(actor)), {"Practitioner", "PractitionerRole"})),
    RULE("prov-1", "Provenance.agent", r5, "nobody acts on behalf of himself",
         text(MEMBER(who), p.names.reference).empty() ||
             text(MEMBER(who), p.names.reference) != text(MEMBER(onBehalfOf), p.names.reference)),

    RULE("cpl-3", "CarePlan.activity", r4, "either a reference or details", !HAS(detail) || !HAS(reference)),
    RULE("ctm-1", "CareTeam.participant", both, "only a practitioner acts on behalf of somebody",
         !HAS(onBehalfOf) || is_one_of(referenced_type(p.names, MEMBER(member)), {"", "Practitioner"})),
    RULE("ctm-2", "CareTeam.participant", r5, "a participant should have a role or be named",
         HAS(role) || HAS(member)),
    RULE("cmp-1", "Composition.section", both, "a section has a text, entries or sections",
         HAS(text) || HAS(entry) || HAS(section)),
    RULE("cmp-2", "Composition.section", both, "only an empty section has a reason for it",
         !HAS(emptyReason) || !HAS(entry)),
    RULE("gol-1", "Goal.target", both, "a target's detail needs its measure",
         !has_choice(p, "detail") || HAS(measure)),
    RULE("grp-1", "Group", r4, "only an actual group has members", !HAS(member) || TEXT(actual) == "true"),
    RULE("lst-1", "List", both, "only an empty list has a reason for it", !HAS(emptyReason) || !HAS(entry)),
    RULE("lst-2", "List", r4, "only entries of a list of changes are marked as deleted",
         TEXT(mode) == "changes" ||
             every_entry(p, [](const RuleNames& n, const Node& entry) { return !has(&entry, n.deleted); })),
    RULE("lst-3", "List", r4, "only entries of a working list have a date",
         TEXT(mode) == "working" ||
             every_entry(p, [](const RuleNames& n, const Node& entry) { return !has(&entry, n.date); })),
    RULE("inv-1", "Parameters.parameter", both, "a parameter has one of value, resource and parts",
         int{has_choice(p, "value")} + int{HAS(resource)} + int{HAS(part)} == 1),
    RULE("inv-1", "Task", both, "a task was not changed before it was ordered",
         not_after(VALUE(authoredOn), VALUE(lastModified))),
    RULE("tsk-1", "Task", r5, "only a task to fulfil, with a focus, is restricted",
         !HAS(restriction) ||
             (HAS(focus) &&
              has_coding(p.names, MEMBER(code), "http://hl7.org/fhir/CodeSystem/task-code", {"fulfill"}))),
    RULE("qrs-1", "QuestionnaireResponse.item", both,
         "items stand below the item or below its answers, not both", !HAS(answer) || !HAS(item)),
    RULE("qrs-2", "QuestionnaireResponse.item", r5, "answers to one question stand in one item",
         all_of(MEMBER(answer), [&](const Node& one) { return distinct_answered_items(p.names, one); }) &&
             all_of(MEMBER(item), [&](const Node& one) { return distinct_answered_items(p.names, one); })),

    // --- Bundle
    RULE("bdl-1", "Bundle", both, "total stands only in searchset and history",
         !HAS(total) || is_one_of(bundle_type(p), {"searchset", "history"})),
    RULE("bdl-2", "Bundle", both, "entry.search stands only in searchset",
         bundle_type(p) == "searchset" ||
             every_entry(p, [](const RuleNames& n, const Node& entry) { return !has(&entry, n.search); })),
    RULE("bdl-3", "Bundle", r4, "entry.request stands in batch, transaction and history, and only there",
         is_one_of(bundle_type(p), {"batch", "transaction", "history"})
             ? every_entry(p, [](const RuleNames& n, const Node& entry) { return has(&entry, n.request); })
             : every_entry(p, [](const RuleNames& n, const Node& entry) { return !has(&entry, n.request); })),
    RULE("bdl-3a", "Bundle", r5,
         "entries of document, message, searchset and collection have a resource, no request, no response",
         !is_one_of(bundle_type(p), {"document", "message", "searchset", "collection"}) ||
             every_entry(p,
                         [](const RuleNames& n, const Node& entry) {
                           return has(&entry, n.resource) && !has(&entry, n.request) &&
                                  !has(&entry, n.response);
                         })),
    RULE("bdl-3b", "Bundle", r5,
         "entries of history have request and response, and a resource with POST, PUT and PATCH only",
         bundle_type(p) != "history" || every_entry(p,
                                                    [](const RuleNames& n, const Node& entry) {
                                                      return has(&entry, n.request) &&
                                                             has(&entry, n.response) &&
                                                             brings_resource(n, entry) ==
                                                                 has(&entry, n.resource);
                                                    })),
    RULE("bdl-3c", "Bundle", r5,
         "entries of transaction and batch have a method, and a resource with POST, PUT and PATCH only",
         !is_one_of(bundle_type(p), {"transaction", "batch"}) ||
             every_entry(p,
                         [](const RuleNames& n, const Node& entry) {
                           return has(member(&entry, n.request.plain), n.method) &&
                                  brings_resource(n, entry) == has(&entry, n.resource);
                         })),
    RULE("bdl-3d", "Bundle", r5, "entries of transaction-response and batch-response have a response",
         !is_one_of(bundle_type(p), {"transaction-response", "batch-response"}) ||
             every_entry(p, [](const RuleNames& n, const Node& entry) { return has(&entry, n.response); })),
    RULE(
        "bdl-4", "Bundle", r4,
        "entry.response stands in batch-response, transaction-response and history, and only there",
        is_one_of(bundle_type(p), {"batch-response", "transaction-response", "history"})
            ? every_entry(p, [](const RuleNames& n, const Node& entry) { return has(&entry, n.response); })
            : every_entry(p, [](const RuleNames& n, const Node& entry) { return !has(&entry, n.response); })),
    RULE("bdl-5", "Bundle.entry", both, "an entry has a resource, a request or a response",
         HAS(resource) || HAS(request) || HAS(response)),
    RULE("bdl-7", "Bundle", both, "a fullUrl stands once in a Bundle for each version",
         bundle_type(p) == "history" || distinct_full_urls(p)),
    RULE("bdl-8", "Bundle.entry", both, "a fullUrl names no version",
         TEXT(fullUrl).find("/_history/") == std::string_view::npos),
    RULE("bdl-9", "Bundle", both, "a document has an identifier with system and value",
         bundle_type(p) != "document" ||
             (has(MEMBER(identifier), p.names.system) && has(MEMBER(identifier), p.names.value))),
    RULE("bdl-10", "Bundle", both, "a document has a timestamp",
         bundle_type(p) != "document" || VALUE(timestamp) != nullptr),
    RULE("bdl-11", "Bundle", both, "a document begins with a Composition",
         bundle_type(p) != "document" || resource_type(p.names, first_resource(p)) == "Composition"),
    RULE("bdl-12", "Bundle", both, "a message begins with a MessageHeader",
         bundle_type(p) != "message" || resource_type(p.names, first_resource(p)) == "MessageHeader"),
    RULE("bdl-13", "Bundle", r5, "a notification begins with a SubscriptionStatus",
         bundle_type(p) != "subscription-notification" ||
             resource_type(p.names, first_resource(p)) == "SubscriptionStatus"),
    RULE("bdl-14", "Bundle", r5, "a history has no PATCH",
         bundle_type(p) != "history" || every_entry(p,
                                                    [](const RuleNames& n, const Node& entry) {
                                                      return text(member(&entry, n.request.plain),
                                                                  n.method) != "PATCH";
                                                    })),
    RULE("bdl-15", "Bundle", r5, "an entry has a fullUrl, except in transactions and batches, or with POST",
         is_one_of(bundle_type(p), {"transaction", "transaction-response", "batch", "batch-response"}) ||
             every_entry(p,
                         [](const RuleNames& n, const Node& entry) {
                           return has(&entry, n.fullUrl) ||
                                  text(member(&entry, n.request.plain), n.method) == "POST";
                         })),
    RULE("bdl-16", "Bundle", r5, "issues beside the entries are information or warnings",
         all_of(member(MEMBER(issues), p.names.issue.plain),
                [&](const Node& issue) {
                  return is_one_of(text(&issue, p.names.severity), {"information", "warning"});
                })),
    RULE("bdl-17", "Bundle", r5, "a document has no issues", bundle_type(p) != "document" || !HAS(issues)),
    RULE("bdl-18", "Bundle", r5, "a searchset says by a self link what was searched",
         bundle_type(p) != "searchset" || any_of(MEMBER(link),
                                                 [&](const Node& one) {
                                                   return text(&one, p.names.relation) == "self" &&
                                                          has(&one, p.names.url);
                                                 })),
};

#undef HAS
#undef TEXT
#undef VALUE
#undef MEMBER
#undef RULE

constexpr UncheckedRule all_unchecked_rules[] = {
    {"ele-1", "Element", "strict reading finds empty values itself, as fhir.empty"},
    {"ele-1", "Base", "strict reading finds empty values itself, as fhir.empty"},
    {"obs-9", "Observation.specimen", "needs the Group that the reference leads to"},
    {"prov-2", "Provenance.agent", "needs the PractitionerRole that the reference leads to"},
    {"prov-3", "Provenance.agent", "needs the PractitionerRole that the reference leads to"},
    {"dgr-1", "DiagnosticReport", "needs the Composition that the reference leads to"},
    {"docRef-1", "DocumentReference", "a warning that needs the Encounter that the reference leads to"},
    {"docRef-2", "DocumentReference", "a warning that needs the Encounter that the reference leads to"},
};

std::vector<GradedRule> rules_at(std::string_view path, Version version,
                                 std::span<const std::string_view> errors,
                                 std::span<const std::string_view> warnings) {
  std::vector<GradedRule> found;
  const auto wanted = version == Version::r4 ? Rule::r4 : Rule::r5;
  for (const bool error : {true, false}) {
    for (const auto key : error ? errors : warnings) {
      for (const auto& rule : all_rules) {
        if (rule.key == key && rule.path == path && (rule.versions & wanted) != 0)
          found.push_back({&rule, error});
      }
    }
  }
  return found;
}

}  // namespace

RuleNames::RuleNames(const syntax::Names& names) {
  // Names that no table has stay 0: nothing is found by them.
#define X(name) name = {names.find(#name), names.find("_" #name)};
  CHARPIE_FHIR_RULE_NAMES(X)
#undef X
  resource_type = names.find("resourceType");
}

std::span<const Rule> rules() {
  return all_rules;
}

std::span<const UncheckedRule> unchecked_rules() {
  return all_unchecked_rules;
}

Invariants::Invariants(const Elements& elements) : names_(elements.names()) {
  shapes_.resize(elements.shapes().size());
  elements_.resize(elements.element_count());
  for (const auto& shape : elements.shapes()) {
    std::vector<const Shape*> line;
    for (const Shape* at = shape.get(); at != nullptr; at = at->base) line.push_back(at);
    auto& of_shape = shapes_[shape->number];
    for (auto at = line.rbegin(); at != line.rend(); ++at) {
      const auto more = rules_at((*at)->path, elements.version(), (*at)->invariants, (*at)->warnings);
      of_shape.insert(of_shape.end(), more.begin(), more.end());
    }
    for (const auto& element : shape->elements)
      elements_[element.number] =
          rules_at(element.path, elements.version(), element.invariants, element.warnings);
  }
}

}  // namespace charpie::fhir
