#include "mapping/identify.hpp"

#include <charconv>

namespace charpie::mapping {

using syntax::Node;

namespace {

// The template that a coding of ours names.
const Template* by_own_coding(const Mapping& mapping, std::string_view type, const Node& code) {
  if (code.is_array()) {
    for (const Node* at = code.first; at != nullptr; at = at->next) {
      if (const Template* one = by_own_coding(mapping, type, *at)) return one;
    }
    return nullptr;
  }
  const Node* codings = code.member("coding");
  for (const Node* at = codings == nullptr ? nullptr : codings->first; at != nullptr; at = at->next) {
    const auto system = plain_text(at->member("system"));
    if (!system.starts_with(mapping.canonical())) continue;
    if (const Template* one = mapping.recognise(type, system, plain_text(at->member("code")))) return one;
  }
  return nullptr;
}

}  // namespace

Key read_key(const Mapping& mapping, const Template& made_from, const Node& instance) {
  const Node* identifiers = instance.member("identifier");
  for (const Node* at = identifiers == nullptr ? nullptr : identifiers->first; at != nullptr; at = at->next) {
    Key key;
    const auto value = plain_text(at->member("value"));
    if (value.empty()) continue;
    key.system = plain_text(at->member("system"));
    if (made_from.number == mapping.visit_template()) {
      key.record_key = value;
      return key;
    }
    const auto hash = value.rfind('#');
    if (hash == std::string_view::npos) continue;
    auto name = value.substr(hash + 1);
    if (!name.starts_with(made_from.name)) continue;
    name.remove_prefix(made_from.name.size());
    if (!name.empty()) {
      if (name.front() != '.' || name.size() < 2) continue;
      const auto [end, failure] = std::from_chars(name.data() + 1, name.data() + name.size(), key.index);
      if (failure != std::errc{} || end != name.data() + name.size()) continue;
      key.indexed = true;
    }
    key.record_key = value.substr(0, hash);
    return key;
  }
  return {};
}

Identity identify(const Mapping& mapping, const Node& instance) {
  Identity identity;
  const Node* type = instance.is_object() ? instance.member("resourceType") : nullptr;
  if (type == nullptr || !type->is_string()) return identity;
  const auto member = mapping.index_member(type->text);
  if (member.empty()) {
    identity.made_from = mapping.recognise(type->text, {}, {});
  } else if (const Node* code = at_path(instance, member)) {
    identity.made_from = by_own_coding(mapping, type->text, *code);
  }
  if (identity.made_from != nullptr && identity.made_from->lifetime == Lifetime::visit) {
    identity.key = read_key(mapping, *identity.made_from, instance);
    identity.keyed = !identity.key.record_key.empty();
  }
  return identity;
}

std::string_view target_name(std::string_view reference) {
  if (reference.starts_with("urn:") || reference.starts_with('#') ||
      reference.find('?') != std::string_view::npos)
    return {};
  if (const auto history = reference.find("/_history/"); history != std::string_view::npos)
    reference = reference.substr(0, history);
  const auto slash = reference.rfind('/');
  if (slash == std::string_view::npos || slash == 0 || slash + 1 == reference.size()) return {};
  const auto before = reference.rfind('/', slash - 1);
  return before == std::string_view::npos ? reference : reference.substr(before + 1);
}

}  // namespace charpie::mapping
