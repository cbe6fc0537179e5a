// One record out of an input, for the commands that show how it went.
#pragma once
#include <optional>
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

/// The first record with that key (empty: the first record) of the source; `batch` holds what it lies in.
/// Nothing when there is none. Pieces that are broken are passed over. Errors: the source's.
Result<std::optional<FoundRecord>> find_record(BatchSource& source, PieceReader& reader, std::string_view key,
                                               Batch& batch);

/// What to say when nothing was found.
Error no_such_record(std::string_view key, const std::vector<std::string>& paths);

}  // namespace charpie::flow
