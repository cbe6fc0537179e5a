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

/// The pieces of a source. It, and the layout of the cut, must outlive the stream.
std::unique_ptr<syntax::PieceStream> stream_of(syntax::ByteSource& source, const Cut& cut);

/// A batch ends after so many records or bytes, whichever comes first, and with its file.
struct BatchLimits {
  std::size_t records = 16;
  std::size_t bytes = 256u << 10;
};

/// Reads files one after the other: JSON objects, arrays of objects, NDJSON (syntax/json_stream.hpp), or XML
/// documents (syntax/xml_documents.hpp), or what a site's layout says.
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
  std::string name_;
  std::unique_ptr<FileSource> source_;
  std::unique_ptr<syntax::PieceStream> stream_;
  std::optional<Error> failure_;
};

}  // namespace charpie::flow
