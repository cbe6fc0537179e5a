// The files of a run, cut into batches of records.
#pragma once
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "flow/batch.hpp"
#include "flow/file_source.hpp"
#include "flow/form.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// A batch ends after so many records or bytes, whichever comes first, and with its file.
struct BatchLimits {
  std::size_t records = 16;
  std::size_t bytes = 256u << 10;
};

struct InputFile {
  std::string name;  // for messages
  std::unique_ptr<FileSource> bytes;
};

/// Reads files one after the other: JSON objects, arrays of objects, NDJSON (syntax/json_stream.hpp), or XML
/// documents (syntax/xml_documents.hpp), or what a site's layout says; the tables of a layout that has
/// several all at once (flow/table_files.hpp gives their paths).
class Input final : public BatchSource {
 public:
  /// No path at all is standard input, as is "-".
  explicit Input(std::vector<std::string> paths, const Cut& cut = {}, const BatchLimits& limits = {});

  /// Error::unreadable when a file cannot be opened or read to its end: it names the file.
  Result<bool> fill(Batch& batch) override;

 private:
  std::vector<std::string> paths_;
  Cut cut_;
  BatchLimits limits_;
  std::size_t next_path_ = 0;
  Outcome open_next();
  std::vector<InputFile> files_;  // that are being read
  std::unique_ptr<syntax::PieceStream> stream_;
  std::optional<Error> failure_;
};

}  // namespace charpie::flow
