// Laws on 10,000 generated codes, the same ones in every run.
#include <random>

#include "tables.hpp"
#include "units/tree.hpp"

namespace charpie::units {

namespace {

// Draws trees; what it prints is a code by construction.
class Generator {
 public:
  explicit Generator(std::uint32_t seed) : random_(seed) {}

  Tree code() {
    Tree tree = term(0);
    tree.parts.front().divided = below(6) == 0;  // a leading slash
    return tree;
  }
  /// One that converts: neither special nor so steep that factors leave the bounds.
  Tree convertible() {
    plain_ = true;
    return code();
  }
  std::size_t below(std::size_t count) { return random_() % count; }

 private:
  Tree term(std::size_t depth) {
    Tree tree;
    const std::size_t count = 1 + below(depth == 0 ? 4 : 3);
    for (std::size_t i = 0; i < count; ++i) {
      Tree part = depth < 3 && below(7) == 0 ? term(depth + 1) : component();
      part.divided = i > 0 && below(2) == 0;
      if (part.note.empty() && part.kind != Tree::annotation && below(8) == 0) part.note = annotation();
      tree.parts.push_back(std::move(part));
    }
    return tree;
  }

  Tree component() {
    Tree part;
    const auto draw = below(10);
    if (draw == 0) {
      part.kind = Tree::annotation;
      part.text = annotation();
    } else if (draw == 1) {
      part.kind = Tree::number;
      part.text = std::to_string(1 + below(below(4) == 0 ? 1000000 : 30));
    } else {
      part.kind = Tree::symbol;
      const auto& table = engine().table();
      const Atom* atom = &table.atoms()[below(table.atoms().size())];
      while (plain_ && atom->function.kind != SpecialFunction::none)
        atom = &table.atoms()[below(table.atoms().size())];
      part.text = atom->symbol;
      if (atom->metric && below(2) == 0) part.prefix = table.prefixes()[below(24)].symbol;
      static constexpr const char* exponents[] = {"", "", "", "2", "3", "-1", "-2", "+2", "-3", "4"};
      part.exponent = exponents[below(10)];
    }
    return part;
  }

  std::string annotation() {
    std::string text = "{";
    for (std::size_t i = below(8); i > 0; --i) {
      char c = static_cast<char>(33 + below(94));
      text += c == '{' || c == '}' ? '_' : c;
    }
    return text + "}";
  }

  std::mt19937 random_;
  bool plain_ = false;
};

}  // namespace

TEST_CASE("parse(print(x)) = x") {
  Generator generator(20260302);
  for (int i = 0; i < 10000; ++i) {
    const Tree tree = generator.code();
    const auto code = print(tree);
    if (code.size() > 255) continue;
    const auto read = read_tree(code, engine().table());
    REQUIRE_MESSAGE(read.has_value(), code);
    REQUIRE_MESSAGE(*read == tree, code);
    CHECK(print(*read) == code);
  }
}

TEST_CASE("the canonical form is a code of the same dimension, and its own canonical form") {
  Generator generator(7);
  for (int i = 0; i < 10000; ++i) {
    const auto code = print(generator.code());
    if (code.size() > 255) continue;
    const auto canonical = engine().canonical(code);
    if (canonical.empty()) {
      CHECK_MESSAGE(false, code);
      continue;
    }
    CHECK_MESSAGE(engine().canonical(canonical) == canonical, code);
    CHECK_MESSAGE(engine().dimension(canonical) == engine().dimension(code), code);
  }
}

// From a code to its base units and back: the factor there times the factor back is 1, digit by digit, when
// the decimals end both ways; the factors themselves, as fractions, always.
TEST_CASE("convert(a to b to a) is exact") {
  Generator generator(424242);
  std::size_t both_end = 0, held = 0, refused = 0;
  for (int i = 0; i < 10000; ++i) {
    const auto code = print(generator.convertible());
    if (code.size() > 255) continue;
    const auto canonical = engine().canonical(code);
    const auto there = engine().convert("7.25", code, canonical, Rounding::complete());
    const auto back = engine().convert("7.25", canonical, code, Rounding::complete());
    REQUIRE_MESSAGE(bool(there) == bool(back), code);
    if (!there) {
      ++refused;
      continue;
    }
    // The value of one code in the other, divided through by itself, is the pure number 7.25 again: as one
    // conversion.
    const auto whole = "(" + code + ")/(" + code + ")";
    if (whole.size() <= 255 && code[0] != '/') {  // no slash directly after a parenthesis
      REQUIRE_MESSAGE(converted("7.25", whole, "1") == "7.25", code);
      ++held;
    }
    if (!there->exact || there->text.size() > 390) continue;
    const auto returned = engine().convert(there->text, canonical, code, Rounding::complete());
    REQUIRE_MESSAGE(bool(returned), code);
    CHECK_MESSAGE(returned->exact, code);
    CHECK_MESSAGE(returned->text == "7.25", code);
    ++both_end;
  }
  MESSAGE("there and back digit by digit: " << both_end << ", as a quotient: " << held
                                            << ", beyond the bounds: " << refused);
  CHECK(both_end > 3000);
  CHECK(held > 7000);
  CHECK(refused < 100);
}

TEST_CASE("commensurability is symmetric and transitive") {
  Generator generator(99);
  std::vector<std::string> codes;
  for (int i = 0; i < 400; ++i) codes.push_back(print(generator.code()));
  for (const auto code : {"m", "cm", "[in_i]", "m2", "L", "cm3", "s", "h", "1", "%", "{score}", "[IU]",
                          "[iU]", "[CFU]", "Cel", "K", "Pa", "mm[Hg]"}) {
    codes.emplace_back(code);
  }
  const auto& units = engine();
  std::size_t pairs = 0, chains = 0;
  for (std::size_t a = 0; a < codes.size(); ++a) {
    CHECK(units.commensurable(codes[a], codes[a]));
    for (std::size_t b = 0; b < codes.size(); ++b) {
      const bool forward = units.commensurable(codes[a], codes[b]);
      CHECK(forward == units.commensurable(codes[b], codes[a]));
      if (!forward || a == b) continue;
      ++pairs;
      for (std::size_t c = 0; c < codes.size(); ++c) {
        if (!units.commensurable(codes[b], codes[c])) continue;
        REQUIRE(units.commensurable(codes[a], codes[c]));
        ++chains;
      }
    }
  }
  CHECK(pairs > 100);
  CHECK(chains > pairs);
}

}  // namespace charpie::units
