#include "flow/find_record.hpp"

#include "flow/file_source.hpp"

namespace charpie::flow {

Result<std::optional<FoundRecord>> find_record(BatchSource& source, PieceReader& reader, std::string_view key,
                                               Batch& batch) {
  while (true) {
    batch.clear();
    const auto more = source.fill(batch);
    if (!more) return more.error();
    if (!*more) return std::optional<FoundRecord>{};
    for (std::size_t i = 0; i < batch.count; ++i) {
      const auto& piece = batch.pieces[i];
      for (const auto& record : reader.read(piece, batch.file)) {
        if (!key.empty() && record.text(record::FieldId::id) != key) continue;
        return std::optional<FoundRecord>({&record, &piece, batch.file});
      }
    }
  }
}

Error no_such_record(std::string_view key, const std::vector<std::string>& paths) {
  return {Error::invalid,
          key.empty() ? "holds no record" : "no record has the key '" + std::string(key) + "'",
          paths.size() == 1 ? source_name(paths.front()) : std::string{},
          0,
          0,
          "the key is the record's member \"id\""};
}

}  // namespace charpie::flow
