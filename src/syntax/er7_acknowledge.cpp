#include "syntax/er7_acknowledge.hpp"

#include <algorithm>
#include <string>

namespace charpie::syntax {

namespace {

// HL7 table 0357 (from memory).
struct ErrorCode {
  std::string_view code, text;
};
constexpr ErrorCode error_codes[] = {
    {"0", "Message accepted"},
    {"100", "Segment sequence error"},
    {"101", "Required field missing"},
    {"102", "Data type error"},
    {"103", "Table value not found"},
    {"200", "Unsupported message type"},
    {"201", "Unsupported event code"},
    {"202", "Unsupported processing id"},
    {"203", "Unsupported version id"},
    {"204", "Unknown key identifier"},
    {"205", "Duplicate key identifier"},
    {"206", "Application record locked"},
    {"207", "Application internal error"},
};

class Builder {
 public:
  Builder(Arena& arena, const Names& names) : arena_(arena), names_(names) {
    root_ = make(NodeKind::object);
    segments_ = hang(*root_, make(NodeKind::array), "segments");
  }

  Node* root() const { return root_; }

  Node* segment(std::string_view name) {
    Node* node = hang(*segments_, make(NodeKind::object));
    hang(*node, make(NodeKind::string), "segment")->text = name;
    return node;
  }

  // The repetition that values of a field go to; a new one at each call for one number.
  Node* repetition(Node& segment, std::string_view number) {
    Node* field = segment.member(number);
    if (field == nullptr) field = hang(segment, make(NodeKind::array), number);
    return hang(*field, make(NodeKind::object));
  }

  void value(Node& repetition, std::string_view number, std::string_view text) {
    if (!text.empty()) hang(repetition, make(NodeKind::string), number)->text = text;
  }

  void number(Node& repetition, std::string_view number, unsigned n) {
    if (n != 0) value(repetition, number, arena_.keep(std::to_string(n)));
  }

  void field(Node& segment, std::string_view number, std::string_view text) {
    if (!text.empty()) value(*repetition(segment, number), "1", text);
  }

  // A field of another segment, under a number of its own.
  void copy(Node& segment, std::string_view number, const Node* field) {
    if (field != nullptr) hang(segment, clone(*field), number);
  }

 private:
  Node* make(NodeKind kind) {
    Node* node = arena_.make<Node>();
    node->kind = kind;
    return node;
  }

  Node* hang(Node& parent, Node* child, std::string_view name = {}) {
    child->name_text = name;
    child->name = names_.find(name);
    append(parent, child);
    return child;
  }

  Node* clone(const Node& node) {  // a field is two levels deep
    Node* copied = make(node.kind);
    copied->text = node.text;
    for (const Node* child = node.first; child != nullptr; child = child->next)
      hang(*copied, clone(*child), child->name_text);
    return copied;
  }

  Arena& arena_;
  const Names& names_;
  Node* root_ = nullptr;
  Node* segments_ = nullptr;
};

std::string_view value_of(const Node* segment, std::string_view number, std::string_view component = "1") {
  const Node* field = segment == nullptr ? nullptr : segment->member(number);
  const Node* value = field == nullptr || field->first == nullptr ? nullptr : field->first->member(component);
  return value == nullptr ? std::string_view{} : value->text;
}

const Node* header_of(const Node* message) {
  const Node* segments = message == nullptr ? nullptr : message->member("segments");
  return segments == nullptr ? nullptr : segments->first;
}

// "2.5" and later say each error in a segment of its own.
bool has_error_segments(std::string_view version) {
  return version.empty() || version >= "2.5";
}

}  // namespace

std::string_view er7_error_text(std::string_view code) {
  for (const auto& one : error_codes) {
    if (one.code == code) return one.text;
  }
  return {};
}

Node* acknowledge_er7(const Node* message, std::span<const Er7Complaint> complaints,
                      const Er7Acknowledging& how, Arena& arena, const Names& names) {
  Builder answer(arena, names);
  const Node* header = header_of(message);
  const auto of = [&](std::string_view number) {
    return header == nullptr ? nullptr : header->member(number);
  };
  const std::string_view version = value_of(header, "12");

  Node* msh = answer.segment("MSH");
  answer.copy(*msh, "3", of("5"));
  answer.copy(*msh, "4", of("6"));
  answer.copy(*msh, "5", of("3"));
  answer.copy(*msh, "6", of("4"));
  answer.field(*msh, "7", how.time);
  Node* type = answer.repetition(*msh, "9");
  answer.value(*type, "1", "ACK");
  answer.value(*type, "2", value_of(header, "9", "2"));
  if (!value_of(header, "9", "3").empty()) answer.value(*type, "3", "ACK");
  answer.field(*msh, "10", how.control_id.empty() ? value_of(header, "10") : how.control_id);
  answer.copy(*msh, "11", of("11"));
  answer.copy(*msh, "12", of("12"));
  answer.copy(*msh, "18", of("18"));

  const bool failed = std::any_of(complaints.begin(), complaints.end(),
                                  [](const Er7Complaint& one) { return one.severity == Er7Severity::error; });
  Node* msa = answer.segment("MSA");
  answer.field(*msa, "1", how.rejected ? "AR" : failed ? "AE" : "AA");
  answer.field(*msa, "2", value_of(header, "10"));
  if (!has_error_segments(version)) {
    if (!failed) return answer.root();
    Node* err = nullptr;
    for (const auto& one : complaints) {
      if (one.severity != Er7Severity::error) continue;
      if (err == nullptr) {
        answer.field(*msa, "3", one.text);
        err = answer.segment("ERR");
      }
      Node* place = answer.repetition(*err, "1");
      answer.value(*place, "1", one.place.segment);
      answer.number(*place, "2", one.place.occurrence);
      answer.number(*place, "3", one.place.field);
      answer.value(*place, "4", one.code);
      answer.value(*place, "4.2", er7_error_text(one.code));
      answer.value(*place, "4.3", "HL70357");
    }
    return answer.root();
  }
  for (const auto& one : complaints) {
    Node* err = answer.segment("ERR");
    if (!one.place.segment.empty()) {
      Node* place = answer.repetition(*err, "2");
      answer.value(*place, "1", one.place.segment);
      answer.number(*place, "2", one.place.occurrence);
      answer.number(*place, "3", one.place.field);
      answer.number(*place, "4", one.place.repetition);
      answer.number(*place, "5", one.place.component);
      answer.number(*place, "6", one.place.subcomponent);
    }
    Node* code = answer.repetition(*err, "3");
    answer.value(*code, "1", one.code);
    answer.value(*code, "2", er7_error_text(one.code));
    answer.value(*code, "3", "HL70357");
    const char severity = static_cast<char>(one.severity);
    answer.field(*err, "4", arena.keep(std::string_view(&severity, 1)));
    answer.field(*err, "7", one.details);
    answer.field(*err, "8", one.text);
  }
  return answer.root();
}

}  // namespace charpie::syntax
