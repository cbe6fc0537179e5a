// What lies between a syntax's tree and a layout's template: empty cells taken out, cells cut into lists or
// joined to one text, and the records of one document told apart; and the same on the way out.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "mapping/layout.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

/// Takes out what is empty, cuts and joins cells as the layout says. In place; texts made go to the arena.
/// False when nothing is left of the root.
bool open_cells(syntax::Node& root, const Layout& layout, Arena& arena, const syntax::Names& names);

/// Marks as understood what the layout leaves out knowingly.
void pass_over(syntax::Node& root, const Layout& layout);

/// The way back, for a tree that is to be written. Error::invalid where an item holds the sign that would
/// part it.
Outcome close_cells(syntax::Node& root, const Layout& layout, Arena& arena, const syntax::Names& names);

/// The records of a document: for each, the document with one element in the list that Layout::records names
/// (or, with records_by, those elements that have one value in common). What is around the list is shared,
/// not copied. The document itself where the layout says nothing. Empty when the list is not there. Elements
/// around it in which there is none go to `barren`.
std::vector<syntax::Node*> split_records(syntax::Node& root, const Layout& layout, Arena& arena,
                                         std::vector<const syntax::Node*>& barren);

/// Joins the document of a record to that of the record before, when both are the same but for the list of
/// records and what is around the list says something. `into` takes the elements over; both must live in one
/// arena.
bool join_records(syntax::Node& into, syntax::Node& next, const Layout& layout);

/// An object that Layout::modifiers turn, taken out of its document.
struct Turned {
  std::string path, name;  // "visit[1].finding": where it stood, and the modifier
  const syntax::Node* node;
};
std::vector<Turned> take_turned(syntax::Node& root, const Layout& layout);

}  // namespace charpie::mapping
