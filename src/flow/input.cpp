#include "flow/input.hpp"

#include "syntax/xml_documents.hpp"

namespace charpie::flow {

namespace {

// Large enough to be read fast, small enough to cost nothing for one record.
constexpr std::size_t chunk_bytes = 64u << 10;

}  // namespace

std::unique_ptr<syntax::PieceStream> stream_of(syntax::ByteSource& source, Syntax syntax) {
  const syntax::JsonStreamLimits limits{.chunk_bytes = chunk_bytes};
  if (syntax == Syntax::xml) return std::make_unique<syntax::XmlDocumentStream>(source, limits);
  return std::make_unique<syntax::JsonStream>(source, limits);
}

Input::Input(std::vector<std::string> paths, Syntax syntax, const BatchLimits& limits)
    : paths_(std::move(paths)), syntax_(syntax), limits_(limits) {
  if (paths_.empty()) paths_.push_back("-");
}

Result<bool> Input::fill(Batch& batch) {
  std::size_t bytes = 0;
  while (batch.count < limits_.records && bytes < limits_.bytes) {
    if (failure_) {
      if (batch.count != 0) return true;  // what was read before the failure still goes out
      return *failure_;
    }
    if (stream_ == nullptr) {
      if (batch.count != 0) return true;
      if (next_path_ == paths_.size()) return false;
      const auto& path = paths_[next_path_++];
      auto source = FileSource::open(path);
      if (!source) {
        failure_ = std::move(source.error());
        continue;
      }
      name_ = source_name(path);
      source_ = std::move(*source);
      stream_ = stream_of(*source_, syntax_);
    }
    if (batch.count == batch.pieces.size()) batch.pieces.emplace_back();
    auto& piece = batch.pieces[batch.count];
    if (!stream_->next(piece)) {
      stream_.reset();
      source_.reset();
      continue;
    }
    if (piece.error && piece.error->kind == Error::unreadable) {
      failure_ = std::move(*piece.error);
      failure_->file = name_;
      continue;
    }
    batch.file = name_;
    ++batch.count;
    bytes += piece.bytes.size();
  }
  return true;
}

}  // namespace charpie::flow
