#include "mapping/instances.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <set>

#include "base/time.hpp"
#include "mapping/identify.hpp"
#include "mapping/likeness.hpp"
#include "syntax/er7.hpp"

namespace charpie::mapping {

using record::FindingId;
using syntax::Node;
using Resource = Reader::Resource;

namespace {

// By place, where the node is one of a copy: records of one document.
auto the_place(const Node& wanted) {
  return [&wanted](const Node& node) {
    return node.begin == wanted.begin && node.end == wanted.end && node.kind == wanted.kind &&
           node.name_text == wanted.name_text;
  };
}

// Findings that say that something was left where it stood.
bool is_left(FindingId id) {
  return id == FindingId::instance_unread || id == FindingId::instance_unknown ||
         id == FindingId::number_in_text || id == FindingId::instance_withdrawn ||
         id == FindingId::instance_astray || id == FindingId::visit_missing ||
         id == FindingId::hl7_segment_astray || id == FindingId::hl7_not_obtained ||
         id == FindingId::hl7_status_refused;
}

// "OBX[5]-11[1].1". A list of segments begins where its first one does.
std::string place_in_message(std::string_view text, const Node& node) {
  const Node* at = &node;
  while (at->end == 0 && at->first != nullptr) at = at->first;
  return syntax::words_of(syntax::er7_location(text, at->begin));
}

// A version of an instance is the instance.
std::string_view without_version(std::string_view reference) {
  return reference.substr(0, reference.find("/_history/"));
}

bool is_absolute(std::string_view url) {
  return url.starts_with("http://") || url.starts_with("https://");
}

}  // namespace

Instances::Instances(const Mapping& mapping, const Options& options, Arena& arena, record::Findings& findings,
                     std::vector<Unread>* unread)
    : mapping_(mapping), options_(options), arena_(arena), findings_(findings), unread_(unread) {
  name_coding_ = mapping.names().find("coding");
  name_system_ = mapping.names().find("system");
  name_code_ = mapping.names().find("code");
  name_value_ = mapping.names().find("value");
  name_identifier_ = mapping.names().find("identifier");
  name_reference_ = mapping.names().find("reference");
}

// A site's document is its own visit.
void Instances::documents(std::vector<Resource>& resources) {
  for (auto& resource : resources) {
    Instance& made = instances_.emplace_back();
    made.resource = &resource;
    made.made_from = &mapping_.templates().front();
    made.ours = true;
    Visit& visit = visits_.emplace_back();
    visit.panel = &made;
    join(made, visit);
  }
}

void Instances::gather(std::vector<Resource>& resources) {
  if (mapping_.is_document()) return documents(resources);
  by_url_.reserve(2 * resources.size());
  for (auto& resource : resources) {
    transaction_ =
        transaction_ || (resource.entry != nullptr && resource.entry->member("request") != nullptr);
    recognise(resource);
  }
  visits_of_ours();
  visits_of_others();
  attach_shared();
}

// --- what is what
// ------------------------------------------------------------------------------------------------

void Instances::recognise(Resource& resource) {
  Node& node = *resource.node;
  const Node* type = node.is_object() ? node.member("resourceType") : nullptr;
  if (type == nullptr || !type->is_string()) {
    report(FindingId::instance_not_fhir, resource, &node, {"resource"});
    return;
  }
  Instance& made = instances_.emplace_back();
  made.resource = &resource;
  made.type = type->text;
  resource.url = resource.full_url;
  if (const Node* id = node.member("id")) {
    std::string url(resource.container_url);
    url += url.empty() ? std::string(type->text) + '/' : "#";
    url += id->text;
    resource.url = arena_.keep(url);
  } else if (!resource.container_url.empty()) {
    resource.url = resource.container_url;
  } else if (resource.url.empty()) {
    resource.url = arena_.keep("entry[" + std::to_string(resource.number) + "]");
  }
  by_url_.emplace(resource.url, &made);
  if (!resource.full_url.empty() && resource.full_url.data() != resource.url.data())
    by_url_.emplace(resource.full_url, &made);
  // The same id on two servers are two things: there the whole address is the name.
  if (is_absolute(resource.full_url) && !resource.full_url.starts_with(Reader::no_server))
    resource.url = resource.full_url;

  if (const auto member = mapping_.index_member(type->text); member.empty()) {
    made.made_from = mapping_.recognise(type->text, {}, {});
    // A type that is told by itself alone may have narrower kinds elsewhere: an assertion among Conditions.
    const bool own = made.made_from != nullptr && shows_own_mark(*made.made_from, node);
    const auto narrow = own ? std::string_view{} : mapping_.elsewhere_member(type->text);
    const Node* code = narrow.empty() ? nullptr : at_path(node, narrow);
    if (code != nullptr)
      made.elsewhere = by_codings(&Mapping::recognise_elsewhere, type->text, *code, false, made.ours);
    if (made.elsewhere != nullptr)
      made.made_from = made.elsewhere;
    else
      made.elsewhere = mapping_.recognise_elsewhere(type->text, {}, {});
  } else if (const Node* code = at_path(node, member)) {
    made.made_from = by_codings(&Mapping::recognise, type->text, *code, true, made.ours);
    if (made.made_from == nullptr)
      made.made_from = by_codings(&Mapping::recognise_elsewhere, type->text, *code, false, made.ours);
    if (made.made_from == nullptr)
      made.made_from = by_codings(&Mapping::recognise, type->text, *code, false, made.ours);
  }
  if (Node* contained = node.member("contained"); contained != nullptr && resource.container == nullptr) {
    contained->used = true;
    for (Node* at = contained->first; at != nullptr; at = at->next) {
      Resource inside = resource;
      inside.node = at;
      inside.full_url = {};
      inside.container = &node;
      inside.container_url = resource.url;
      recognise(contained_.emplace_back(inside));
    }
  }
  // What a modifier says can turn the meaning round (FHIR R4, extensibility.html#modifierExtension): not to
  // be read past.
  if (made.made_from != nullptr && node.member("modifierExtension") != nullptr) made.made_from = nullptr;
  if (made.made_from == nullptr) {
    report(FindingId::instance_unknown, resource, &node, {type->text});
    return;
  }
  if (made.made_from->bookkeeping) {
    made.made_from = nullptr;  // nobody looks at it again
    return;
  }
  if (made.is_of_visit() && !made.made_from->one_way) identify(made);
}

// Our own coding decides; else the first coding that a template has.
const Template* Instances::by_codings(const Template* (Mapping::*find)(std::string_view, std::string_view,
                                                                       std::string_view) const,
                                      std::string_view type, const Node& code, bool own_only,
                                      bool& ours) const {
  if (code.is_array()) {
    for (const Node* at = code.first; at != nullptr; at = at->next) {
      if (const Template* one = by_codings(find, type, *at, own_only, ours)) return one;
    }
    return nullptr;
  }
  const Node* codings = code.member(name_coding_);
  for (const Node* at = codings == nullptr ? nullptr : codings->first; at != nullptr; at = at->next) {
    const auto system = plain_text(at->member(name_system_));
    const bool own = system.starts_with(mapping_.canonical());
    if (own_only && !own) continue;
    const Template* one = (mapping_.*find)(type, system, plain_text(at->member(name_code_)));
    if (one == nullptr) continue;
    ours = ours || own;
    return one;
  }
  return nullptr;
}

void Instances::identify(Instance& instance) {
  const Key key = read_key(mapping_, *instance.made_from, *instance.resource->node);
  if (key.record_key.empty()) return;
  instance.system = key.system;
  instance.record_key = key.record_key;
  instance.indexed = key.indexed;
  instance.index = key.index;
  // The number of anybody's panel looks like one of ours.
  if (instance.made_from->number != mapping_.visit_template()) instance.ours = true;
  instance.keyed = instance.ours;
}

// --- visits that this program wrote: by their business identifiers
// ------------------------------------------------------------------------------------------------

void Instances::visits_of_ours() {
  const auto visit_key = [](const Instance& instance) {
    return std::pair(instance.record_key, instance.system);
  };
  std::map<std::pair<std::string_view, std::string_view>, Visit*> by_key;
  for (const auto& instance : instances_) {
    if (instance.keyed) by_key.emplace(visit_key(instance), nullptr);
  }
  for (auto& instance : instances_) {
    if (!instance.is_of_visit() || instance.made_from->number != mapping_.visit_template()) continue;
    const auto known = by_key.find(visit_key(instance));
    if (known == by_key.end()) continue;
    if (known->second != nullptr) {
      report(FindingId::instance_twice, *instance.resource, instance.resource->node, {"visit panel"});
      instance.made_from = nullptr;
      continue;
    }
    Visit& visit = visits_.emplace_back();
    visit.system = instance.system;
    visit.record_key = instance.record_key;
    visit.panel = &instance;
    instance.keyed = instance.ours = true;
    join(instance, visit);
    known->second = &visit;
  }
  for (auto& instance : instances_) {
    if (!instance.is_of_visit() || instance.visit != nullptr || !instance.keyed) continue;
    const auto known = by_key.find(visit_key(instance));
    if (known == by_key.end() || known->second == nullptr) continue;
    // What an amended record no longer says was sent again as entered in error (--replaces).
    if (is_withdrawn(instance) && !is_withdrawn(*known->second->panel)) {
      report(FindingId::instance_withdrawn, *instance.resource, instance.resource->node, {},
             instance.record_key);
      instance.made_from = nullptr;
      continue;
    }
    join(instance, *known->second);
  }
}

void Instances::join(Instance& instance, Visit& visit) {
  instance.visit = &visit;
  visit.members.push_back(&instance);
}

// --- visits that others wrote
// ------------------------------------------------------------------------------------------------

// Puts instances without our identifiers together. Two wounds never meet: where links would join instances
// that name different wounds, they stay apart and that is told.
class Instances::Grouping {
 public:
  explicit Grouping(Instances& all) : all_(all), elsewhere_(all.mapping_.elsewhere()) {}

  void run() {
    for (auto& instance : all_.instances_) {
      if (instance.made_from == nullptr || instance.visit != nullptr) continue;
      if (all_.is_withdrawn(instance))
        leave(instance, FindingId::instance_withdrawn);
      else if (instance.is_of_visit() && names_several_wounds(instance))
        leave(instance, FindingId::visit_two_wounds);
    }
    for (auto& instance : all_.instances_) {
      if (!instance.is_of_visit()) continue;
      place_.emplace(&instance, points_.size());
      const Instance* bearer = named_wound(instance) == nullptr ? wound_referred_to(instance) : nullptr;
      const auto time = time_of(instance);
      points_.push_back({&instance, points_.size(), wound_of(instance, bearer), named_wound(instance), bearer,
                         all_.key_of(instance.resource->node->member(elsewhere_.patient), instance), nullptr,
                         time, seconds_of(time)});
    }
    inherit_wounds();
    for (auto& point : points_) follow_links(point);
    meet_at_one_time();
    make_visits();
  }

 private:
  struct Point {
    Instance* instance;
    std::size_t parent;        // of the union
    std::string_view wound;    // its URL or key; empty: not said
    const Node* naming;        // the reference that names it, where one does
    const Instance* bearer;    // the instance that is it, where it is named otherwise
    std::string_view patient;  // as wound, of the patient
    Visit* visit;              // of ours, at the root of a group
    std::string_view time;
    std::optional<std::int64_t> seconds;  // the same as an instant, where it is one
  };

  static std::optional<std::int64_t> seconds_of(std::string_view text) {
    const auto time = parse_time(text);
    if (!time || !time.time.has_clock()) return {};
    return seconds_since_epoch(time.time);
  }

  void leave(Instance& instance, FindingId why) {
    all_.report(why, *instance.resource, instance.resource->node, {});
    use_all(*instance.resource->node);
    instance.made_from = nullptr;
  }

  bool names_several_wounds(const Instance& instance) const {
    const Node* focus = instance.resource->node->member(elsewhere_.wound);
    return focus != nullptr && focus->is_array() && focus->count > 1;
  }

  std::size_t root(std::size_t at) {
    while (points_[at].parent != at) at = points_[at].parent = points_[points_[at].parent].parent;
    return at;
  }

  std::string_view time_of(const Instance& instance) const {
    for (const auto& path : elsewhere_.times) {
      if (const Node* at = at_path(*instance.resource->node, path)) return at->text;
    }
    return {};
  }

  bool is_wound(const Instance* instance) const {
    return instance != nullptr && instance->made_from != nullptr &&
           instance->made_from->lifetime == Lifetime::wound;
  }

  // The reference that stands where wounds are named, or nullptr.
  const Node* named_wound(const Instance& instance) const {
    const Node* focus = instance.resource->node->member(elsewhere_.wound);
    return focus == nullptr || !focus->is_array() ? focus : focus->first;
  }

  // The wound that an instance names itself: what stands where wounds are named; else the first reference to
  // one.
  std::string_view wound_of(const Instance& instance, const Instance* bearer) const {
    if (const Node* named = named_wound(instance)) return all_.key_of(named, instance);
    return bearer == nullptr ? std::string_view{} : all_.key_of_target(*bearer);
  }
  const Instance* wound_referred_to(const Instance& instance) const {
    const Instance* found = nullptr;
    first_wound(*instance.resource->node, instance, found);
    return found;
  }
  void first_wound(const Node& node, const Instance& from, const Instance*& found) const {
    for (const Node* at = node.first; at != nullptr && found == nullptr; at = at->next) {
      if (at->name == all_.name_reference_ && at->is_string()) {
        const Instance* target = all_.resolve(at->text, &from);
        if (is_wound(target)) found = target;
      } else if (at->first != nullptr) {
        first_wound(*at, from, found);
      }
    }
  }

  // A Condition that points to the instance says which wound it is about.
  void inherit_wounds() {
    for (const auto& wound : all_.instances_) {
      if (!is_wound(&wound)) continue;
      each_reference(*wound.resource->node, wound, [&](const Instance& target) {
        const auto known = place_.find(&target);
        if (known == place_.end() || target.visit != nullptr) return false;
        Point& point = points_[known->second];
        if (point.wound.empty()) {
          point.wound = all_.key_of_target(wound);
          point.bearer = &wound;
        }
        return true;
      });
    }
  }

  // Calls visit(target) for each reference that leads to an instance. Where it says that it was understood,
  // so are the nodes on the way, with the address of an extension. Returns whether one was.
  template <class Visitor>
  bool each_reference(Node& node, const Instance& from, Visitor visit) const {
    bool understood = false;
    for (Node* at = node.first; at != nullptr; at = at->next) {
      if (at->name == all_.name_reference_ && at->is_string()) {
        const Instance* target = all_.resolve(at->text, &from);
        if (target == nullptr || !visit(*target)) continue;
        at->used = understood = true;
      } else if (at->first != nullptr) {
        understood = each_reference(*at, from, visit) || understood;
      }
    }
    if (!understood) return false;
    if (&node != from.resource->node) {
      node.used = true;
      if (Node* url = node.member("url")) url->used = true;
    }
    return true;
  }

  // What is joined by the links of an instance. Links from one of ours count as well; what they say is read
  // elsewhere.
  void follow_links(Point& point) {
    const bool of_ours = point.instance->visit != nullptr;
    for (const auto& name : elsewhere_.joins) {
      Node* member = point.instance->resource->node->member(name);
      if (member == nullptr) continue;
      each_reference(*member, *point.instance, [&](const Instance& target) {
        const auto known = place_.find(&target);
        if (known == place_.end() || (of_ours && target.visit != nullptr)) return false;
        unite(point, points_[known->second], true);
        return !of_ours;
      });
    }
  }

  void unite(Point& a, Point& b, bool linked) {
    Point& x = points_[root(place_.at(a.instance))];
    Point& y = points_[root(place_.at(b.instance))];
    if (&x == &y) return;
    const auto visit_of = [](const Point& point) {
      return point.visit != nullptr ? point.visit : point.instance->visit;
    };
    Visit* const x_visit = visit_of(x);
    Visit* const y_visit = visit_of(y);
    if (x_visit != nullptr && y_visit != nullptr) return;
    const auto differ = [](std::string_view one, std::string_view other) {
      return !one.empty() && !other.empty() && one != other;
    };
    if (differ(x.wound, y.wound) || differ(x.patient, y.patient)) {
      if (linked && x_visit == nullptr && y_visit == nullptr) {
        all_.report(FindingId::visit_two_wounds, *b.instance->resource, b.instance->resource->node, {});
      }
      return;
    }
    // The earlier one stays the root, so that the order of the input is kept.
    Point& kept = x.parent < y.parent ? x : y;
    Point& moved = &kept == &x ? y : x;
    kept.visit = x_visit != nullptr ? x_visit : y_visit;
    if (kept.wound.empty()) {
      kept.wound = moved.wound;
      kept.naming = moved.naming;
      kept.bearer = moved.bearer;
    }
    if (kept.patient.empty()) kept.patient = moved.patient;
    if (kept.time.empty()) kept.time = moved.time;
    moved.parent = kept.parent;
  }

  bool same_instant(const Point& a, const Point& b) const {
    if (a.time.empty() || b.time.empty()) return false;
    if (a.time == b.time) return true;
    if (!a.seconds || !b.seconds) return false;
    const auto apart = *a.seconds - *b.seconds, window = all_.options_.visit_window * 60;
    return apart <= window && -apart <= window;
  }

  // Groups that no link joins: the same wound at the same time.
  void meet_at_one_time() {
    std::unordered_map<std::string_view, std::vector<std::size_t>> of_one_wound;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const Point& point = points_[i];
      if (point.parent != i || point.wound.empty() || point.instance->visit != nullptr ||
          point.visit != nullptr)
        continue;
      auto& earlier = of_one_wound[point.wound];
      for (const auto j : earlier) {
        if (same_instant(points_[j], point)) unite(points_[j], points_[i], false);
      }
      if (point.parent == i) earlier.push_back(i);
    }
  }

  void make_visits() {
    std::unordered_map<std::size_t, Visit*> by_root;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      Instance& instance = *points_[i].instance;
      if (instance.visit != nullptr) continue;
      const auto top = root(i);
      Visit* of_ours = points_[top].visit != nullptr ? points_[top].visit : points_[top].instance->visit;
      if (of_ours != nullptr) {
        all_.join(instance, *of_ours);
        continue;
      }
      Visit*& visit = by_root[top];
      if (visit == nullptr) {
        visit = &all_.visits_.emplace_back();
        visit->ours = false;
        visit->panel = &instance;
        wounds_.emplace(visit, &points_[top]);
      }
      all_.join(instance, *visit);
    }
    for (auto& visit : all_.visits_) {
      if (!visit.ours) finish(visit);
    }
    std::erase_if(all_.visits_, [](const Visit& visit) { return visit.panel == nullptr; });
  }

  // Chooses what stands for the visit, and puts into it what the grouping found out.
  void finish(Visit& visit) {
    visit.panel = nullptr;
    for (const auto number : elsewhere_.visit) {
      const auto& said_by = all_.mapping_.templates()[number - 1];
      for (Instance* member : visit.members) {
        const bool fits =
            member->type == said_by.resource_type &&
            (visit.panel == nullptr || member->made_from->number == all_.mapping_.visit_template());
        if (fits && (visit.panel == nullptr || visit.panel->type == member->type)) visit.panel = member;
      }
    }
    if (visit.panel == nullptr) {
      for (Instance* member : visit.members) {
        all_.report(FindingId::visit_missing, *member->resource, member->resource->node, {});
        member->made_from = nullptr;
        member->visit = nullptr;
      }
      visit.members.clear();
      return;
    }
    for (Instance* member : visit.members) all_.name_references(*member->resource->node, *member);
    Node& panel = *visit.panel->resource->node;
    const Point& point = *wounds_.at(&visit);
    if (panel.member(elsewhere_.wound) == nullptr && (point.naming != nullptr || point.bearer != nullptr)) {
      Node list{};
      list.kind = syntax::NodeKind::array;
      Node* focus = all_.add_member(panel, elsewhere_.wound, list);
      if (point.naming != nullptr) {
        all_.add_member(*focus, {}, *point.naming);
      } else {
        Node object{};
        object.kind = syntax::NodeKind::object;
        Node text{};
        text.kind = syntax::NodeKind::string;
        text.text = point.bearer->resource->url;
        all_.add_member(*all_.add_member(*focus, {}, object), "reference", text);
        all_.name_references(*focus, *visit.panel);
      }
      use_all(*focus);
    }
    if (panel.member(all_.name_identifier_) == nullptr && panel.member("id") == nullptr) {
      Node text{};
      text.kind = syntax::NodeKind::string;
      text.text = visit.panel->resource->full_url;
      text.used = true;
      if (!text.text.empty()) all_.add_member(panel, "id", text);
    }
  }

  Instances& all_;
  const Elsewhere& elsewhere_;
  std::vector<Point> points_;
  std::unordered_map<const Instance*, std::size_t> place_;
  std::unordered_map<const Visit*, const Point*> wounds_;
};

// What tells one thing from another: its identifier, else its address, else what it is called; empty for
// nullptr.
std::string_view Instances::key_of(const Node* link, const Instance& from) const {
  if (link == nullptr) return {};
  if (const Node* identifier = link->member(name_identifier_)) return key_of_identifier(*identifier);
  const Node* reference = link->member(name_reference_);
  if (reference == nullptr) {
    const auto called = plain_text(link->member("display"));
    return called.empty() ? called : arena_.keep("called " + std::string(called));
  }
  const Instance* target = resolve(reference->text, &from);
  return target == nullptr ? without_version(reference->text) : key_of_target(*target);
}

std::string_view Instances::key_of_target(const Instance& target) const {
  const Node* identifier = name_of(target);
  return identifier == nullptr ? target.resource->url : key_of_identifier(*identifier);
}

std::string_view Instances::key_of_identifier(const Node& identifier) const {
  return arena_.keep("identifier " + identifier_text(identifier));
}

bool Instances::is_withdrawn(const Instance& instance) const {
  const auto& withdrawn = mapping_.elsewhere().withdrawn;
  return std::any_of(withdrawn.begin(), withdrawn.end(), [&](const auto& mark) {
    const Node* shown = instance.resource->node->member(mark.first);
    if (shown == nullptr || !shown->is_object()) return plain_text(shown) == mark.second;
    const Node* codings = shown->member(name_coding_);
    for (const Node* at = codings == nullptr ? nullptr : codings->first; at != nullptr; at = at->next) {
      if (plain_text(at->member(name_code_)) == mark.second) return true;
    }
    return false;
  });
}

void Instances::visits_of_others() {
  const bool some = std::any_of(instances_.begin(), instances_.end(), [](const Instance& one) {
    return one.is_of_visit() && one.visit == nullptr;
  });
  if (some) Grouping(*this).run();
}

// What a reference leads to is known by its identifier, or else by one spelling of its address. So two
// spellings never make two patients, and "#w1" in two instances never makes one wound.
void Instances::name_references(Node& node, const Instance& from) {
  for (Node* at = node.first; at != nullptr; at = at->next) {
    if (at->first != nullptr) name_references(*at, from);
  }
  Node* reference = node.is_object() ? node.member(name_reference_) : nullptr;
  if (reference == nullptr || !reference->is_string()) return;
  const Instance* target = resolve(reference->text, &from);
  if (target == nullptr) reference->text = without_version(reference->text);
  if (target == nullptr || target->is_of_visit()) return;
  reference->text = target->resource->url;
  if (node.member(name_identifier_) != nullptr) return;
  Node* identifiers = target->resource->node->member(name_identifier_);
  Node* first = name_of(*target);
  if (first == nullptr) return;
  reference->used = true;
  identifiers->used = true;
  use_all(*first);  // it is read from here
  Node copy{};
  copy.kind = syntax::NodeKind::object;
  copy.used = true;
  copy.begin = reference->begin;
  Node* identifier = add_member(node, "identifier", copy);
  for (const auto* name : {"system", "value"}) {
    const Node* part = first->member(name);
    if (part == nullptr) continue;
    Node text = *part;
    text.next = nullptr;
    text.used = true;
    text.begin = reference->begin;
    text.end = reference->end;
    add_member(*identifier, name, text);
  }
}

// The identifier that an instance is known by: the first with a value that is not an old one. One without a
// system names nothing where two instances of the type have it.
Node* Instances::name_of(const Instance& target) const {
  Node* identifiers = target.resource->node->member(name_identifier_);
  if (identifiers == nullptr) return nullptr;
  for (Node* at = identifiers->is_array() ? identifiers->first : identifiers; at != nullptr; at = at->next) {
    const auto value = plain_text(at->member(name_value_));
    if (value.empty() || plain_text(at->member("use")) == "old") continue;
    if (!plain_text(at->member(name_system_)).empty()) return at;
    const auto has_it_too = [&](const Instance& other) {
      const Node* list = &other == &target || other.type != target.type
                             ? nullptr
                             : other.resource->node->member(name_identifier_);
      for (const Node* one = list == nullptr ? nullptr : list->first; one != nullptr; one = one->next) {
        if (plain_text(one->member(name_value_)) == value) return true;
      }
      return false;
    };
    if (std::none_of(instances_.begin(), instances_.end(), has_it_too)) return at;
  }
  return nullptr;
}

Node* Instances::add_member(Node& object, std::string_view name, Node content) {
  Node* made = arena_.make<Node>(content);
  made->name_text = name;
  made->name = mapping_.names().find(name);
  append(object, made);
  return made;
}

// --- what is shared between visits
// ------------------------------------------------------------------------------------------------

void Instances::attach_shared() {
  for (const auto& instance : instances_) {
    if (instance.made_from == nullptr || instance.is_of_visit()) continue;
    const Node* identifiers = instance.resource->node->member(name_identifier_);
    for (const Node* at = identifiers == nullptr ? nullptr : identifiers->first; at != nullptr; at = at->next)
      by_identifier_.emplace(identifier_text(*at), &instance);
  }
  // One visit of ours is sent with all that it needs; else only what is referred to, one way or the other.
  const bool alone = visits_.size() == 1 && visits_.front().ours;
  // Who refers to whom is seen in one walk through each instance.
  std::unordered_map<const Visit*, std::set<const Instance*>> shared_by;
  for (const auto& instance : instances_) {
    if (alone || instance.made_from == nullptr) continue;
    each_target(*instance.resource->node, instance, [&](const Instance& target) {
      if (instance.visit != nullptr)
        shared_by[instance.visit].insert(&target);
      else if (target.visit != nullptr && !target.visit->ours)
        shared_by[target.visit].insert(&instance);
    });
  }
  for (auto& instance : instances_) {
    if (instance.made_from == nullptr || instance.is_of_visit()) continue;
    bool attached = false;
    for (auto& visit : visits_) {
      const auto shared = shared_by.find(&visit);
      if (!alone && (shared == shared_by.end() || !shared->second.contains(&instance))) continue;
      attached = true;
      if (!visit.ours && is_of_another_patient(instance, visit))
        visit.of_another_patient.push_back(&instance);
      else
        visit.shared.push_back(&instance);
    }
    if (!attached) {
      // Of ours it is missed; with others' visits there is much that has nothing to do with wounds.
      const bool of_ours =
          std::any_of(visits_.begin(), visits_.end(), [](const Visit& visit) { return visit.ours; }) ||
          shows_own_mark(*instance.made_from, *instance.resource->node);
      report(of_ours ? FindingId::instance_astray : FindingId::instance_unknown, *instance.resource,
             instance.resource->node, {instance.type});
      instance.made_from = nullptr;
    }
  }
  for (const auto& visit : visits_) {
    if (visit.ours) continue;
    for (const auto* instance : visit.shared) name_references(*instance->resource->node, *instance);
  }
}

bool Instances::is_of_another_patient(const Instance& instance, const Visit& visit) const {
  const auto& name = mapping_.elsewhere().patient;
  const Node* patient = instance.resource->node->member(name);
  if (patient == nullptr) return false;
  return std::any_of(visit.members.begin(), visit.members.end(), [&](const Instance* member) {
    const Node* of_member = member->resource->node->member(name);
    return of_member != nullptr && name_two(*patient, instance, *of_member, *member);
  });
}

// Whether two references name different things for certain. One may have an identifier and the other an
// address, or a name for people only: that says nothing.
bool Instances::name_two(const Node& a, const Instance& from_a, const Node& b, const Instance& from_b) const {
  const Instance* const x = bearer_of(a, from_a);
  const Instance* const y = bearer_of(b, from_b);
  if (x != nullptr && y != nullptr) return x != y;
  const Node* identifier = a.member(name_identifier_);
  const Node* other = b.member(name_identifier_);
  if (identifier != nullptr && other != nullptr &&
      plain_text(identifier->member(name_system_)) == plain_text(other->member(name_system_)))
    return plain_text(identifier->member(name_value_)) != plain_text(other->member(name_value_));
  const auto address = [&](const Node& link, const Instance* target) {
    return target != nullptr ? target->resource->url
                             : without_version(plain_text(link.member(name_reference_)));
  };
  const auto of_a = address(a, x), of_b = address(b, y);
  if (!of_a.empty() && !of_b.empty())
    return is_absolute(of_a) && is_absolute(of_b) ? of_a != of_b : target_name(of_a) != target_name(of_b);
  const auto called = plain_text(a.member("display")), other_called = plain_text(b.member("display"));
  return identifier == nullptr && other == nullptr && of_a.empty() && of_b.empty() && called != other_called;
}

// What a reference leads to, by its address or one of the identifiers of what visits share; nullptr when that
// is not here.
const Instance* Instances::bearer_of(const Node& link, const Instance& from) const {
  const Node* reference = link.member(name_reference_);
  if (const Instance* target = reference == nullptr ? nullptr : resolve(reference->text, &from))
    return target;
  const Node* identifier = link.member(name_identifier_);
  if (identifier == nullptr) return nullptr;
  const auto [first, last] = by_identifier_.equal_range(identifier_text(*identifier));
  const auto found =
      std::find_if(first, last, [&](const auto& one) { return is_identified(link, *one.second); });
  return found == last ? nullptr : found->second;
}

bool Instances::refers_to(const Instance& from, const Instance& to) const {
  bool so = false;
  each_target(*from.resource->node, from, [&](const Instance& target) { so = so || &target == &to; });
  return so;
}

// Calls visit(target) for each reference in a node that leads to an instance, by its address or by an
// identifier of ours.
template <class Visitor>
void Instances::each_target(const Node& node, const Instance& from, const Visitor& visit) const {
  const bool is_resource = &node == from.resource->node;
  for (const Node* at = node.first; at != nullptr; at = at->next) {
    if (at->name == name_reference_ && at->is_string()) {
      if (const Instance* target = resolve(at->text, &from)) visit(*target);
    }
    // The key of a wound alone may be another patient's: only its identifier of ours will do.
    if (at->name == name_identifier_ && !is_resource &&
        plain_text(at->member(name_system_)).starts_with(mapping_.canonical())) {
      const auto [first, last] = by_identifier_.equal_range(identifier_text(*at));
      for (auto one = first; one != last; ++one) {
        if (is_identified(node, *one->second)) visit(*one->second);
      }
    }
    if (at->first != nullptr) each_target(*at, from, visit);
  }
}

bool Instances::is_identified(const Node& reference, const Instance& instance) const {
  const Node* named = reference.member(name_identifier_);
  const auto type = plain_text(reference.member("type"));
  if (named == nullptr || (!type.empty() && type != instance.type)) return false;
  const Node* identifiers = instance.resource->node->member(name_identifier_);
  for (const Node* at = identifiers == nullptr ? nullptr : identifiers->first; at != nullptr; at = at->next) {
    if (identifier_text(*at) == identifier_text(*named)) return true;
  }
  return false;
}

std::string Instances::identifier_text(const Node& identifier) const {
  std::string text(plain_text(identifier.member(name_system_)));
  text += '|';
  text += plain_text(identifier.member(name_value_));
  return text;
}

const Instance* Instances::resolve(std::string_view reference, const Instance* from) const {
  if (reference.starts_with('#') && from != nullptr) {
    const auto& resource = *from->resource;
    std::string url(resource.container == nullptr ? resource.url : resource.container_url);
    const auto known = by_url_.find(url.append(reference));
    return known == by_url_.end() ? nullptr : known->second;
  }
  reference = without_version(reference);
  const auto find = [&](std::string_view url) {
    const auto known = by_url_.find(url);
    return known == by_url_.end() ? nullptr : known->second;
  };
  const auto base_of = [](std::string_view url) {
    return url.substr(0, url.size() - target_name(url).size());
  };
  // FHIR R4, bundle.html#references: a relative one counts from the address of the entry that holds it; the
  // same id on another server is another thing.
  const bool absolute = is_absolute(reference);
  const auto from_url = from == nullptr ? std::string_view{} : from->resource->full_url;
  if (!absolute && is_absolute(from_url)) {
    std::string whole(base_of(from_url));
    if (const Instance* found = find(whole.append(reference))) return found;
  } else if (const Instance* found = find(reference)) {
    return found;
  }
  const Instance* found = find(target_name(reference));
  if (found == nullptr || !is_absolute(found->resource->full_url)) return found;
  const auto base = base_of(found->resource->full_url);
  const bool same_server =
      absolute ? base == base_of(reference) : !is_absolute(from_url) || base == base_of(from_url);
  return same_server ? found : nullptr;
}

// --- messages
// ------------------------------------------------------------------------------------------------

std::string Instances::path_of(const Resource& resource, const Node* node) {
  std::string path;
  if (resource.whole != nullptr) {
    if (node != nullptr) path_to(*resource.whole, the_place(*node), path);
    if (path.starts_with('.')) path.erase(0, 1);
    return path;
  }
  const Node* top = resource.container != nullptr ? resource.container : resource.node;
  if (resource.entry != nullptr) {
    path = "Bundle.entry[" + std::to_string(resource.number) + "]";
    if (node != nullptr) path_to(*resource.entry, syntax::the_node(*node), path);
  } else {
    path = plain_text(top->is_object() ? top->member("resourceType") : nullptr);
    if (node != nullptr) path_to(*top, syntax::the_node(*node), path);
  }
  return path;
}

void Instances::report(FindingId id, const Resource& resource, const Node* node,
                       std::initializer_list<std::string_view> values, std::string_view record_key) {
  const bool is_message =
      mapping_.is_document() && mapping_.layout().syntax == LayoutSyntax::hl7v2 && node != nullptr;
  const auto path = is_message ? place_in_message(resource.bytes, *node) : path_of(resource, node);
  if (unread_ != nullptr && node != nullptr && is_left(id)) unread_->push_back({path, record_key, node});
  if (!resource.file.empty()) findings_.begin(resource.file, record_key, resource.bytes, resource.line);
  findings_.report(id, path, node == nullptr ? record::Findings::no_place : node->begin, values);
}

}  // namespace charpie::mapping
