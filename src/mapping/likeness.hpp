// Whether what an instance shows looks like a part of a template: how reading tells alternatives and items
// apart.
#pragma once
#include "mapping/part.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

/// Whether a node shows a constant. Codes are compared by system and code, never by display; a
/// CodeableConcept by one of its codings.
bool resembles(const syntax::Node& constant, const syntax::Node& node);
/// Whether two nodes say the same, members in any order.
bool equal(const syntax::Node& a, const syntax::Node& b);
/// Whether a part is there whenever its parent is: it has no holes, or is marked $always.
bool required(const Part& part);
/// Whether a part is a choice between constants: one of them is always there.
bool of_constants(const Part& part);
/// Whether a node could have been written by a part.
bool accepts(const Part& part, const syntax::Node& node);
/// Notes in a part, and in those below, what is asked of them with each item that is read:
/// Part::discriminates, is_fixed, refers. For when the templates are complete.
void note_likeness(Part& part);
/// Whether an object shows all that a layout always says in it. What leaves it out may be meant all the same,
/// but not where another says it.
bool shows_fixed(const Part& object, const syntax::Node& node);
/// Whether an object shows this alternative of a choice: its constants, and at least one of its members.
bool shows(const Part& alternative, const syntax::Node& node);
/// The same for an alternative of constants, every one of them equal.
bool shows_exactly(const Part& alternative, const syntax::Node& node);
/// Whether an instance of a type that has no code carries what a template always writes, such as our
/// identifier.
bool shows_own_mark(const Template& made_from, const syntax::Node& node);

}  // namespace charpie::mapping
