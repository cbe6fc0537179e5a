// JSON text of a resource copied into XML as it is read, without a tree between: for what this program wrote
// itself. Any other text is for to_xml() (fhir/xml.hpp).
#pragma once
#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "fhir/elements.hpp"

namespace charpie::fhir {

/// Copies resources. One for each thread: it remembers which member follows which, so that a name is seldom
/// looked up. `elements` must outlive it.
class XmlCopier {
 public:
  explicit XmlCopier(const Elements& elements);

  /// Appends what to_xml() would give for the tree of this text, without the XML declaration. False, with
  /// nothing appended, where that is not certain: white space between tokens, extensions of a primitive that
  /// do not follow it or are of items of an array, attributes behind children, and all that to_xml() refuses.
  bool copy(std::string_view json, std::string& out);

 private:
  // A member of a shape; its key as it stands in JSON, "name": with quotes and colon; and its tags, ready to
  // copy: </name><name value="
  struct Known {
    const Shape* shape = nullptr;
    const Element* element = nullptr;
    const Shape* type = nullptr;  // of its values
    syntax::NodeKind kind{};      // of its values, when it is a primitive
    bool companion = false, is_resource = false;
    std::string key, tags;
    std::size_t name_size = 0;
    std::string_view name() const { return {tags.data() + 2, name_size}; }  // without the _ of a companion
    std::string_view close() const { return {tags.data(), name_size + 3}; }
    std::string_view open() const { return {tags.data() + name_size + 3, name_size + 1}; }
    std::string_view open_value() const { return std::string_view(tags).substr(name_size + 3); }
  };

  // A member that was copied: where it stands in the output.
  struct Child {
    std::size_t begin, end;
    std::uint16_t order;
  };
  // An element that was copied, for when it comes again: a visit says the same of its subject, its encounter
  // and its codes many times over.
  struct Kept {
    std::uint64_t met = 0;  // the last object that looked for this place
    const Known* known = nullptr;
    std::string json, xml;
  };
  // A string of the JSON: a view into it, or into scratch_ until the next one.
  struct Text {
    std::string_view text{};
    bool plain = false;  // it stands in an attribute as it is
  };

  std::size_t written() const { return static_cast<std::size_t>(to_ - written_.data()); }
  void make_room(std::size_t size);
  void put(std::string_view text) {
    if (static_cast<std::size_t>(limit_ - to_) < text.size()) make_room(text.size());
    std::memcpy(to_, text.data(), text.size());
    to_ += text.size();
  }
  bool take(char c) {
    if (at_ == end_ || *at_ != c) return false;
    ++at_;
    return true;
  }
  bool take(std::string_view text);
  bool resource(bool root);
  bool members(const Shape& shape, std::string_view close, bool attributes);
  void sort(std::span<Child> children);
  const Known* member(const Shape& shape, std::uint32_t from);
  bool attribute(const Known& known);
  bool put_attribute(std::string_view name, std::string_view value);
  bool value(const Known& known);
  bool one(const Known& known);
  Kept* place_of(const Known& known);
  bool object(const Known& known);
  bool primitive(const Known& known);
  bool is_followed_by_companion(const Known& known) const;
  bool narrative();
  bool scalar(syntax::NodeKind kind, Text& text);
  bool string(Text& text);

  const Elements& elements_;
  const Shape* element_;  // what companions are
  std::unordered_map<const Member*, Known> known_;
  std::vector<const Known*> guesses_;  // by the element before, or the shape at its beginning
  std::string scratch_;                // a string that had escapes
  std::vector<Kept> kept_;
  std::string odd_;  // an attribute that needed references
  std::string sorted_;
  // The XML so far: from the beginning of written_, which only grows, up to to_.
  std::string written_;
  char *to_ = nullptr, *limit_ = nullptr;
  const char *at_ = nullptr, *end_ = nullptr;  // the JSON that is left
  unsigned depth_ = 0;
};

}  // namespace charpie::fhir
