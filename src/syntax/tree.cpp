#include "syntax/tree.hpp"

#include "base/hash.hpp"
#include "base/text.hpp"

namespace charpie::syntax {

std::uint32_t Names::add(std::string_view name) {
  if (const auto known = find(name)) return known;
  if (buckets_.size() < (names_.size() + 1) * 4) grow();
  names_.push_back(bytes_.keep(name));
  const auto mask = static_cast<std::uint32_t>(buckets_.size() - 1);
  auto slot = hash_of(name) & mask;
  while (buckets_[slot] != 0) slot = (slot + 1) & mask;
  buckets_[slot] = static_cast<std::uint32_t>(names_.size());
  return buckets_[slot];
}

std::uint32_t Names::find(std::string_view name) const {
  if (buckets_.empty()) return 0;
  const auto mask = static_cast<std::uint32_t>(buckets_.size() - 1);
  for (auto slot = hash_of(name) & mask; buckets_[slot] != 0; slot = (slot + 1) & mask) {
    if (same_text(names_[buckets_[slot] - 1], name)) return buckets_[slot];
  }
  return 0;
}

void Names::grow() {
  const std::size_t size = buckets_.empty() ? 64 : buckets_.size() * 2;
  buckets_.assign(size, 0);
  const auto mask = static_cast<std::uint32_t>(size - 1);
  for (std::uint32_t i = 0; i < names_.size(); ++i) {
    auto slot = hash_of(names_[i]) & mask;
    while (buckets_[slot] != 0) slot = (slot + 1) & mask;
    buckets_[slot] = i + 1;
  }
}

Node* at_path(const Node& object, std::string_view path) {
  const Node* at = &object;
  while (true) {
    const auto dot = path.find('.');
    Node* member = at->member(path.substr(0, dot));
    if (member == nullptr || dot == std::string_view::npos) return member;
    at = member;
    path.remove_prefix(dot + 1);
  }
}

void use_all(Node& node) {
  node.used = true;
  for (Node* at = node.first; at != nullptr; at = at->next) use_all(*at);
}

}  // namespace charpie::syntax
