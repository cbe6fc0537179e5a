#include "flow/find_record.hpp"

#include "flow/file_source.hpp"
#include "flow/source.hpp"

namespace charpie::flow {

Result<FoundRecord> find_record(const std::vector<std::string>& paths, const Form& form, const Engine& engine,
                                PieceReader& reader, std::string_view key, Batch& batch) {
  const auto source = open_source(paths, form, engine, Cut().sort_memory);
  if (!source) return source.error();
  while (true) {
    batch.clear();
    const auto more = (*source)->fill(batch);
    if (!more) return more.error();
    if (!*more) break;
    for (std::size_t i = 0; i < batch.count; ++i) {
      const auto& piece = batch.pieces[i];
      for (const auto& record : reader.read(piece, batch.file)) {
        if (key.empty() || record.text(record::FieldId::id) == key)
          return FoundRecord{&record, &piece, batch.file};
      }
    }
  }
  return Error{Error::invalid,
               key.empty() ? "holds no record" : "no record has the key '" + std::string(key) + "'",
               paths.size() == 1 ? source_name(paths.front()) : std::string{},
               0,
               0,
               "the key is the record's member \"id\""};
}

}  // namespace charpie::flow
