#include "flow/input.hpp"

#include "syntax/csv_groups.hpp"
#include "syntax/csv_write.hpp"
#include "syntax/er7_stream.hpp"
#include "syntax/xml_documents.hpp"
#include "syntax/xml_stream.hpp"

namespace charpie::flow {

namespace {

// Large enough to be read fast, small enough to cost nothing for one record.
constexpr std::size_t chunk_bytes = 64u << 10;

// The rows of one visit, each piece with its files' headers.
class CsvDocuments final : public syntax::PieceStream {
 public:
  CsvDocuments(const std::vector<InputFile>& files, const mapping::Layout& layout, std::size_t sort_memory) {
    how_.delimiter = layout.delimiter;
    how_.charset = layout.encoding;
    if (layout.is_row()) {
      rows_ = std::make_unique<syntax::CsvRows>(*files.front().bytes, how_);
      auto header = rows_->header();
      if (header)
        take(*header);
      else
        trouble_ = std::move(header.error());
      return;
    }
    std::vector<syntax::CsvSource> sources;
    for (std::size_t i = 0; i < layout.tables.size(); ++i) {
      const auto& table = layout.tables[i];
      sources.push_back({table.name, files[i].bytes.get(), how_, table.key, table.once,
                         layout.is_folder() ? files[i].name : std::string{}});
    }
    auto groups =
        syntax::CsvGroups::open(std::move(sources), {.sorted = layout.is_sorted, .memory = sort_memory});
    if (groups) {
      groups_ = std::move(*groups);
      for (const auto& header : groups_->headers()) take(header);
    } else {
      trouble_ = std::move(groups.error());
    }
  }
  bool next(syntax::JsonPiece& piece) override {
    if (trouble_) {
      // The header is broken: one piece that says so.
      if (told_) return false;
      told_ = true;
      piece = {};
      piece.line = std::max<std::size_t>(trouble_->line, 1);
      piece.column = 1;
      piece.error = trouble_;
      if (piece.error->kind != Error::unreadable) piece.error->kind = Error::invalid;
      return true;
    }
    if (!(groups_ != nullptr ? groups_->next(piece) : rows_->next(piece))) return false;
    piece.context = header_;
    piece.begins_table = !begun_;
    begun_ = true;
    return true;
  }

 private:
  void take(const syntax::CsvHeader& header) {
    if (!header_.empty()) header_ += '\n';
    syntax::append_csv_header(header, {how_.delimiter, ""}, header_);
  }
  syntax::CsvReading how_;
  std::unique_ptr<syntax::CsvRows> rows_;
  std::unique_ptr<syntax::CsvGroups> groups_;
  std::string header_;  // one a line
  std::optional<Error> trouble_;
  bool told_ = false, begun_ = false;
};

// The pieces of files, which outlive them, as the layout of the cut does.
std::unique_ptr<syntax::PieceStream> stream_of(const std::vector<InputFile>& files, const Cut& cut) {
  syntax::ByteSource& source = *files.front().bytes;
  const syntax::JsonStreamLimits limits{.chunk_bytes = chunk_bytes};
  if (cut.layout != nullptr && cut.syntax == Syntax::xml && !cut.layout->root.empty()) {
    const auto& element = cut.layout->element;
    return std::make_unique<syntax::XmlElementStream>(
        source, syntax::XmlRecords{element.substr(element.find(':') + 1)});
  }
  if (cut.syntax == Syntax::hl7v2) return std::make_unique<syntax::Er7Stream>(source, limits);
  if (cut.layout != nullptr && cut.syntax == Syntax::csv)
    return std::make_unique<CsvDocuments>(files, *cut.layout, cut.sort_memory);
  if (cut.syntax == Syntax::xml) return std::make_unique<syntax::XmlDocumentStream>(source, limits);
  return std::make_unique<syntax::JsonStream>(source, limits);
}

}  // namespace

Input::Input(std::vector<std::string> paths, const Cut& cut, const BatchLimits& limits)
    : paths_(std::move(paths)), cut_(cut), limits_(limits) {
  if (paths_.empty()) paths_.push_back("-");
}

// The next file, or all of them when they are the tables of a layout.
Outcome Input::open_next() {
  const bool together = cut_.layout != nullptr && cut_.layout->is_folder();
  const std::size_t end = together ? paths_.size() : next_path_ + 1;
  while (next_path_ < end) {
    const auto& path = paths_[next_path_++];
    auto source = FileSource::open(path);
    if (!source) return source.error();
    files_.push_back({source_name(path), std::move(*source)});
  }
  stream_ = stream_of(files_, cut_);
  return std::monostate{};
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
      if (auto opened = open_next(); !opened) {
        failure_ = std::move(opened.error());
        continue;
      }
    }
    if (batch.count == batch.pieces.size()) batch.pieces.emplace_back();
    auto& piece = batch.pieces[batch.count];
    if (!stream_->next(piece)) {
      stream_.reset();
      files_.clear();
      continue;
    }
    if (piece.error && piece.error->kind == Error::unreadable) {
      failure_ = std::move(*piece.error);
      if (failure_->file.empty()) failure_->file = files_.front().name;
      continue;
    }
    batch.file = files_.front().name;
    ++batch.count;
    bytes += piece.bytes.size();
  }
  return true;
}

}  // namespace charpie::flow
