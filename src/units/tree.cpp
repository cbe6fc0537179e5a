#include "units/tree.hpp"

#include "units/parse.hpp"

namespace charpie::units {

namespace {

// Keeps the open terms on a stack; the innermost one takes the next part.
struct Builder {
  std::vector<Tree> open_terms{1};

  void component(const Component& found) {
    Tree part;
    part.divided = found.divided;
    part.note = found.note;
    if (found.kind == Component::symbol) {
      part.kind = Tree::symbol;
      part.text = found.atom->symbol;
      if (found.prefix != nullptr) part.prefix = found.prefix->symbol;
      part.exponent = found.exponent_text;
    } else {
      part.kind = found.kind == Component::number ? Tree::number : Tree::annotation;
      part.text = found.text;
    }
    open_terms.back().parts.push_back(std::move(part));
  }
  void open(bool divided) {
    open_terms.emplace_back();
    open_terms.back().divided = divided;
  }
  void close(std::string_view note) {
    Tree closed = std::move(open_terms.back());
    open_terms.pop_back();
    closed.note = note;
    open_terms.back().parts.push_back(std::move(closed));
  }
};

void print_parts(const Tree& term, std::string& text) {
  bool first = true;
  for (const auto& part : term.parts) {
    if (part.divided) {
      text += '/';
    } else if (!first) {
      text += '.';
    }
    first = false;
    if (part.kind == Tree::term) {
      text += '(';
      print_parts(part, text);
      text += ')';
    } else {
      text += part.prefix + part.text + part.exponent;
    }
    text += part.note;
  }
}

void sketch_part(const Tree& part, std::string& text) {
  if (part.kind == Tree::term) {
    text += "(term";
    for (const auto& inner : part.parts) {
      text += inner.divided ? " (div " : " (mul ";
      sketch_part(inner, text);
      text += ')';
    }
    text += ')';
  } else {
    if (!part.exponent.empty()) text += "(pow ";
    if (!part.prefix.empty()) text += part.prefix + "-";
    text += part.text;
    if (!part.exponent.empty()) text += " " + part.exponent + ")";
  }
  if (!part.note.empty()) text += " " + part.note;
}

}  // namespace

std::optional<Tree> read_tree(std::string_view code, const AtomTable& table) {
  Builder builder;
  if (parse(code, table, builder)) return std::nullopt;
  return std::move(builder.open_terms.front());
}

std::string print(const Tree& tree) {
  std::string text;
  print_parts(tree, text);
  return text;
}

std::string sketch(const Tree& tree) {
  std::string text;
  sketch_part(tree, text);
  return text;
}

}  // namespace charpie::units
