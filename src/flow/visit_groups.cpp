#include "flow/visit_groups.hpp"

#include <algorithm>
#include <cstring>
#include <functional>

#include "mapping/identify.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

using mapping::Lifetime;
using syntax::Node;

namespace {

constexpr std::size_t group_bytes = 60u << 20;  // a larger group is cut, so that it can be read at all
constexpr char between = '\0';                  // in keys: below every other byte

// What a label begins with: the visit that a business identifier names comes before a resource's own name.
constexpr char by_identifier = 'k', by_name = 'n';

struct Origin {
  std::uint32_t file = 0, column = 0;
  std::uint64_t line = 0;
};

std::string_view first_of(std::string_view key) {
  return key.substr(0, key.find(between));
}

// Whose a resource is, by reference or identifier; `otherwise` where it does not say.
std::string patient_of(const Node& node, const std::string& otherwise) {
  for (const auto* member : {"subject", "patient"}) {
    const Node* patient = node.member(member);
    if (patient == nullptr || !patient->is_object()) continue;
    if (const Node* reference = patient->member("reference")) {
      const auto target = mapping::target_name(reference->text);
      return std::string(target.empty() ? reference->text : target);
    }
    const Node* identifier = patient->member("identifier");
    const Node* value = identifier == nullptr ? nullptr : identifier->member("value");
    const Node* system = identifier == nullptr ? nullptr : identifier->member("system");
    if (value != nullptr)
      return std::string(system == nullptr ? std::string_view{} : system->text) + "|" +
             std::string(value->text);
  }
  return otherwise;
}

template <class Take>
Outcome each_reference(const Node& node, const Take& take) {
  for (const Node* at = node.first; at != nullptr; at = at->next) {
    if (at->is_string() && at->name_text == "reference") {
      if (auto taken = take(at->text); !taken) return taken;
    }
    if (at->first != nullptr) {
      if (auto taken = each_reference(*at, take); !taken) return taken;
    }
  }
  return std::monostate{};
}

// All entries of one first key part, from a sort that is being given back.
class KeyedReader {
 public:
  explicit KeyedReader(ExternalSort& sort) : sort_(sort) {}
  Outcome begin() { return advance(); }
  Outcome advance() {
    const auto more = sort_.next(entry_);
    if (!more) return more.error();
    there_ = *more;
    return std::monostate{};
  }
  bool there() const { return there_; }
  const SortedEntry& entry() const { return entry_; }

 private:
  ExternalSort& sort_;
  SortedEntry entry_;
  bool there_ = false;
};

}  // namespace

VisitGroups::VisitGroups(BatchSource& pieces, const mapping::Mapping& mapping, std::size_t memory)
    : pieces_(&pieces),
      mapping_(&mapping),
      memory_(memory / 5),  // of each sort: five at once while links are resolved
      links_(std::make_unique<ExternalSort>(memory_)),
      linked_(memory_),
      shared_(memory_),
      groups_(memory_) {
  for (const auto& one : mapping.templates()) {
    if (one.lifetime != Lifetime::visit && !one.bookkeeping) shared_types_.insert(one.resource_type);
  }
}

Result<bool> VisitGroups::fill(Batch& batch) {
  if (as_they_come_) return pieces_->fill(batch);
  if (!sorted_) {
    auto broken = collect(batch);
    if (!broken || *broken) return broken;
    if (auto done = resolve_links(); !done) return done.error();
    if (auto done = place_shared(); !done) return done.error();
    sorted_ = true;
  }
  return fill_with(batch, [this](syntax::JsonPiece& piece) { return next_visit(piece); });
}

// Sorts what comes in. True with a batch of what is no single resource; false when all is in.
Result<bool> VisitGroups::collect(Batch& batch) {
  while (true) {
    if (next_incoming_ == incoming_.count) {
      incoming_.clear();
      next_incoming_ = 0;
      auto more = pieces_->fill(incoming_);
      if (!more) return more.error();
      if (!*more) return false;
      if (files_.empty() || files_.back() != incoming_.file) files_.push_back(incoming_.file);
    }
    for (; next_incoming_ < incoming_.count; ++next_incoming_) {
      auto& piece = incoming_.pieces[next_incoming_];
      arena_.reset();
      const Node* node = nullptr;
      if (!piece.error) {
        if (auto tree = syntax::read_json(piece.bytes, arena_, mapping_->names())) node = *tree;
      }
      const Node* type = node == nullptr || !node->is_object() ? nullptr : node->member("resourceType");
      const bool bundle = type != nullptr && type->text == "Bundle";
      if (!begun_ && bundle) {
        as_they_come_ = true;
        arena_.reset();  // who reads the Bundle makes a tree of its own
        std::swap(batch, incoming_);
        return true;
      }
      begun_ = true;
      if (type != nullptr && !bundle) {
        if (auto taken = take(piece, *node); !taken) return taken.error();
        continue;
      }
      if (batch.count == batch.pieces.size()) batch.pieces.emplace_back();
      std::swap(batch.pieces[batch.count++], piece);
      batch.file = incoming_.file;
    }
    arena_.reset();
    if (batch.count != 0) return true;
  }
}

std::string VisitGroups::body_of(const syntax::JsonPiece& piece) {
  const Origin origin{static_cast<std::uint32_t>(files_.size() - 1), static_cast<std::uint32_t>(piece.column),
                      piece.line};
  std::string body(sizeof origin, '\0');
  std::memcpy(body.data(), &origin, sizeof origin);
  return body + piece.bytes;
}

Outcome VisitGroups::take(const syntax::JsonPiece& piece, const Node& node) {
  const auto identity = mapping::identify(*mapping_, node);
  if (identity.made_from != nullptr && identity.made_from->bookkeeping) return std::monostate{};
  std::string name = name_of(node);
  const bool has_name = !name.empty();
  if (!has_name) name = "#" + std::to_string(count_);
  std::replace(name.begin(), name.end(), between, ' ');
  ++count_;
  const auto body = body_of(piece);
  if (identity.made_from != nullptr && identity.made_from->lifetime != Lifetime::visit)
    return shared_.add(name + between + "body", body);
  std::string label(1, identity.keyed ? by_identifier : by_name);
  if (identity.keyed) {
    label.append(identity.key.system).append(1, '\n').append(identity.key.record_key);
  } else {
    label += patient_of(node, name);
    any_linked_ = true;
  }
  std::replace(label.begin(), label.end(), between, ' ');
  // A resource's own label stands beside its links; 'K' is for ever, 'l' may give way to a smaller one.
  if (auto added = links_->add(name + between + (identity.keyed ? 'K' : 'l') + between + label, {}); !added)
    return added;
  for (const auto* member : {"partOf", "hasMember"}) {
    const Node* links = node.member(member);
    if (links == nullptr) continue;
    const auto linked = each_reference(*links, [&](std::string_view reference) -> Outcome {
      const std::string target(mapping::target_name(reference));
      if (target.empty()) return std::monostate{};
      if (auto there = links_->add(name + between + 'e' + between + target, {}); !there) return there;
      return links_->add(target + between + 'e' + between + name, {});
    });
    if (!linked) return linked;
  }
  if (!identity.keyed) return linked_.add(name, body);
  const bool panel = identity.made_from->number == mapping_->visit_template();
  if (auto placed = place(label, panel ? "0" : "1", name, body); !placed) return placed;
  return refer(label, node);
}

// Puts a resource into its visit; `rank` orders within it, so that the panel comes first.
Outcome VisitGroups::place(const std::string& label, const std::string& rank, std::string_view name,
                           std::string_view body) {
  // Two versions of one resource keep an order that does not depend on the input's.
  const auto content = std::hash<std::string_view>{}(body.substr(sizeof(Origin)));
  std::string key = label + between + rank + between;
  key.append(name).append(1, between).append(reinterpret_cast<const char*>(&content), sizeof content);
  return groups_.add(key, body);
}

// Notes which of the shared resources the visit wants.
Outcome VisitGroups::refer(const std::string& label, const Node& node) {
  return each_reference(node, [&](std::string_view reference) -> Outcome {
    const auto target = mapping::target_name(reference);
    if (target.empty() || !shared_types_.contains(target.substr(0, target.find('/'))))
      return std::monostate{};
    return shared_.add(std::string(target) + between + "for" + between + label, {});
  });
}

// Each resource without our identifier takes the smallest label that links lead to: in each round the labels
// go one link further. Links are few steps deep in practice; the rounds end when nothing changes.
Outcome VisitGroups::resolve_links() {
  if (!any_linked_) return std::monostate{};
  bool changed = true;
  while (changed) {
    changed = false;
    auto further = std::make_unique<ExternalSort>(memory_);
    KeyedReader reader(*links_);
    if (auto begun = reader.begin(); !begun) return begun;
    while (reader.there()) {
      const std::string name(first_of(reader.entry().key));
      std::set<std::string> neighbours;
      std::string fixed, own, least;
      for (; reader.there() && first_of(reader.entry().key) == name;) {
        const auto rest = reader.entry().key.substr(name.size() + 1);
        const std::string text(rest.substr(2));
        if (rest[0] == 'e') neighbours.insert(text);
        if (rest[0] == 'K') fixed = text;
        if (rest[0] == 'l') own = text;
        if (rest[0] != 'e' && (least.empty() || text < least)) least = text;
        if (auto advanced = reader.advance(); !advanced) return advanced;
      }
      // A name that is only linked to stands for no resource here, and passes labels on all the same.
      const auto label = !fixed.empty() ? fixed : least;
      const bool first_round = rounds_ == 0;
      if (!label.empty()) {
        if (auto kept = further->add(name + between + (fixed.empty() ? 'l' : 'K') + between + label, {});
            !kept)
          return kept;
        const bool news = first_round || (fixed.empty() && label != own);
        for (const auto& one : neighbours) {
          if (!news) break;
          changed = true;
          if (auto told = further->add(one + between + 'm' + between + label, {}); !told) return told;
        }
      }
      for (const auto& one : neighbours) {
        if (auto kept = further->add(name + between + 'e' + between + one, {}); !kept) return kept;
      }
    }
    links_ = std::move(further);
    ++rounds_;
  }
  return place_linked();
}

// Labels and bodies stand in the same order of names.
Outcome VisitGroups::place_linked() {
  KeyedReader labels(*links_), bodies(linked_);
  if (auto begun = labels.begin(); !begun) return begun;
  if (auto begun = bodies.begin(); !begun) return begun;
  std::string label;
  while (bodies.there()) {
    const std::string name(bodies.entry().key);
    while (labels.there() && first_of(labels.entry().key) <= name) {
      const auto rest = labels.entry().key.substr(first_of(labels.entry().key).size() + 1);
      if (first_of(labels.entry().key) == name && rest[0] != 'e') label = rest.substr(2);
      if (auto advanced = labels.advance(); !advanced) return advanced;
    }
    for (; bodies.there() && bodies.entry().key == name;) {
      const auto body = bodies.entry().body;
      arena_.reset();
      const auto tree = syntax::read_json(body.substr(sizeof(Origin)), arena_, mapping_->names());
      if (auto placed = place(label, "1", name, body); !placed) return placed;
      if (auto referred = refer(label, **tree); !referred) return referred;
      if (auto advanced = bodies.advance(); !advanced) return advanced;
    }
  }
  return std::monostate{};
}

// Each resource that outlives its visit, to all visits that refer to it; to none: alone.
Outcome VisitGroups::place_shared() {
  KeyedReader reader(shared_);
  if (auto begun = reader.begin(); !begun) return begun;
  while (reader.there()) {
    const std::string name(first_of(reader.entry().key));
    std::vector<std::string> bodies;
    bool wanted = false;
    std::string last;
    for (; reader.there() && first_of(reader.entry().key) == name;) {
      const auto rest = reader.entry().key.substr(name.size() + 1);
      if (rest == "body") {
        bodies.emplace_back(reader.entry().body);
      } else if (const std::string label(rest.substr(4)); label != last) {
        last = label;
        wanted = true;
        for (const auto& body : bodies) {
          if (auto placed = place(label, "2", name, body); !placed) return placed;
        }
      }
      if (auto advanced = reader.advance(); !advanced) return advanced;
    }
    for (const auto& body : bodies) {
      if (wanted) break;
      arena_.reset();
      const auto tree =
          syntax::read_json(std::string_view(body).substr(sizeof(Origin)), arena_, mapping_->names());
      std::string label = std::string(1, by_name) + patient_of(**tree, name);
      std::replace(label.begin(), label.end(), between, ' ');
      if (auto placed = place(label, "2", name, body); !placed) return placed;
    }
  }
  return std::monostate{};
}

Result<bool> VisitGroups::next_visit(syntax::JsonPiece& piece) {
  SortedEntry entry;
  const auto advance = [&]() -> Outcome {
    const auto more = groups_.next(entry);
    if (!more) return more.error();
    has_waiting_ = *more;
    if (has_waiting_) {
      waiting_key_ = entry.key;
      waiting_body_ = entry.body;
    }
    return std::monostate{};
  };
  if (!has_waiting_) {
    if (auto advanced = advance(); !advanced) return advanced.error();
    if (!has_waiting_) return false;
  }
  const std::string label(first_of(waiting_key_));
  ResourceGroup group(piece);
  while (has_waiting_ && first_of(waiting_key_) == label &&
         (group.empty() || piece.bytes.size() + waiting_body_.size() < group_bytes)) {
    Origin origin;
    std::memcpy(&origin, waiting_body_.data(), sizeof origin);
    const std::string_view rest = std::string_view(waiting_key_).substr(label.size() + 3);
    const auto name = first_of(rest);
    group.add(std::string_view(waiting_body_).substr(sizeof origin),
              name.starts_with('#') ? std::string_view{} : name, files_[origin.file], origin.line,
              origin.column);
    if (auto advanced = advance(); !advanced) return advanced.error();
  }
  group.finish();
  return true;
}

}  // namespace charpie::flow
