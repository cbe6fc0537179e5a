// The templates as writing walks them: the parts of all templates laid out in one row of small steps, in the
// order of the output, with everything constant joined into stretches of bytes. There is one for each
// notation (notation.hpp), made once when a mapping is loaded.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fhir/elements.hpp"
#include "mapping/notation.hpp"
#include "mapping/part.hpp"

namespace charpie::mapping {

struct Step {
  enum class Kind : std::uint8_t {
    bytes,        // constants: members or items with their commas
    object,       // the steps up to `next` are its members
    array,        // … its items
    hole,         // one scalar
    text,         // … pieces: bytes and holes
    typed,        // … one value
    choose,       // … alternatives
    alternative,  // … members
    loop,         // … one item, repeated
    references,   // to the members of a panel
    labels,       // the security labels of the run
    shared,       // … members that say the same in every instance of a visit
    otherwise     // … one step; where it says nothing, the tail stands instead
  };
  Kind kind = Kind::bytes;
  Facet facet = Facet::self;
  Render render = Render::plain;
  Source source = Source::field;
  Escape escape = Escape::none;
  record::Kind sets_kind = record::Kind::text;
  bool has_sets_kind : 1 = false;
  bool further : 1 = false;          // about the further codings of a code
  bool starts_constant : 1 = false;  // constants come first, within `lead`
  bool may_vanish : 1 = false;       // not written when only constants would be
  bool needs_hole : 1 = false;       // … nor when only what stands in each of several places would be
  bool says_none : 1 = false;        // of a loop: a word in it may say that the list is none, or absent
  bool is_limited : 1 = false;       // the part has `allowed`
  bool has_root : 1 = false;         // nothing is said unless `root` leads to a value
  bool has_root_form : 1 = false;    // … of this form
  bool needs_labels : 1 = false;     // … unless the run has security labels
  bool is_guarded : 1 = false;       // one of these, or `when`
  bool is_repeated : 1 = false;      // of a hole: what it says stands in several places, or is fixed
  bool is_spelled : 1 = false;       // … it has a spelling of its own
  record::Form root_form = record::Form::leaf;
  std::uint8_t loop_level = 0;
  Accessor accessor;
  Accessor root;                          // what all holes inside have in common
  std::uint32_t lead = 0, lead_size = 0;  // what is written first: name, bracket, constants
  std::uint32_t tail = 0, tail_size = 0;  // … and last; the separator before it goes
  std::uint32_t key_size = 0;             // how much of the lead is the member's name
  std::uint32_t first = 0;                // the first of the steps in it
  std::uint32_t next = 0;                 // the step after this one and what is in it
  std::uint32_t number = 0;               // template, panel, shared stretch, or table of rendered words
  const Condition* when = nullptr;        // nullptr: always
  const Part* part = nullptr;
  const terms::Domain* domain = nullptr;
};

class Program {
 public:
  static constexpr std::uint32_t no_step = UINT32_MAX;

  /// Lays out the parts of the templates in JSON and notes in each part where its steps begin. The parts must
  /// stay where they are.
  void build(std::vector<Template>& templates);
  /// The same in XML, with the order of these elements; no part notes it. Templates that XML cannot be laid
  /// out for (outline.hpp) have no steps, and those that are only read.
  void build(std::vector<Template>& templates, const fhir::Elements& elements);

  Notation notation() const { return notation_; }
  std::uint32_t size() const { return static_cast<std::uint32_t>(steps_.size()); }
  const Step& step(std::uint32_t number) const { return steps_[number]; }
  /// Where the steps of a template begin; no_step when it has none, as all have before build().
  std::uint32_t start(const Template& made_from) const {
    return starts_.empty() ? no_step : starts_[made_from.number - 1];
  }
  /// Behind both there is room to read (Appender::append_spared).
  std::string_view lead(const Step& step) const { return {bytes_.data() + step.lead, step.lead_size}; }
  std::string_view tail(const Step& step) const { return {bytes_.data() + step.tail, step.tail_size}; }
  /// How many stretches are shared; their numbers start at 0.
  std::uint32_t shared_stretches() const { return shared_; }

  /// The bytes of a coded value that says a plain word, by the index of its concept; empty table: not known.
  std::string_view word(std::uint32_t table, std::uint32_t concept_index) const {
    const auto& words = words_[table];
    return words.empty() ? std::string_view{} : std::string_view{words[concept_index]};
  }
  /// Puts a table of rendered words beside the steps that use it.
  void set_words(std::uint32_t step, std::uint32_t table) { steps_[step].number = table; }
  std::uint32_t add_words(std::vector<std::string> words);

 private:
  class Builder;
  Notation notation_ = Notation::json;
  std::vector<Step> steps_;
  std::vector<std::uint32_t> starts_;  // by the template's number
  std::string bytes_;                  // of all steps, and Appender::spare more
  std::uint32_t shared_ = 0;
  std::vector<std::vector<std::string>> words_{{}};  // 0: none
};

}  // namespace charpie::mapping
