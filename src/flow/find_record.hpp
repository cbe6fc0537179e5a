// One record out of an input, for the commands that show how it went.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "flow/batch.hpp"
#include "flow/piece_reader.hpp"

namespace charpie::flow {

/// A record with what it was read from; valid until the reader or the batch is used again.
struct FoundRecord {
  const record::Record* record = nullptr;
  const syntax::JsonPiece* piece = nullptr;
  std::string_view file;
};

/// The first record with that key (empty: the first record) in files of that form; `batch` holds what it lies
/// in. Pieces that are broken are passed over. Error::invalid when there is none, and what open_source() and
/// its source tell.
Result<FoundRecord> find_record(const std::vector<std::string>& paths, const Form& form, const Engine& engine,
                                PieceReader& reader, std::string_view key, Batch& batch);

}  // namespace charpie::flow
