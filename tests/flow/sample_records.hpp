// Records and tables for tests that send records through workers.
#pragma once
#include <string>

#include "flow/engine.hpp"
#include "temporary.hpp"

namespace charpie::flow {

/// The engine over the embedded tables, loaded once.
inline const Engine& test_engine() {
  static const Tables tables(embedded_tables());
  static const auto engine = Engine::load(tables);
  return **engine;
}

/// A file of the project, as it stands.
inline std::string project_file(const std::string& path) {
  return TemporaryFolder::read_file(std::string(CHARPIE_SOURCE_DIR) + "/" + path);
}

/// A piece of the input that starts on line 1.
inline syntax::JsonPiece piece_of(std::string text) {
  syntax::JsonPiece piece;
  piece.bytes = std::move(text);
  piece.line = piece.column = 1;
  return piece;
}

}  // namespace charpie::flow
