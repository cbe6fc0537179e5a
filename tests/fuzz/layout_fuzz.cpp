// Throws bytes at the layouts of sites. The first byte chooses the layout, the rest is its file, or its files
// with a file separator (U+001C) between. Whatever is held back is told; a record that is accepted is written
// by the same layout and read again as the same record, alone and in one file with the others.
#include <sys/mman.h>
#include <unistd.h>

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "flow/convert.hpp"
#include "flow/input.hpp"
#include "flow/round_trip.hpp"
#include "mapping/document_text.hpp"
#include "syntax/charset.hpp"

using namespace charpie;
using namespace charpie::flow;
using syntax::Recoder;

namespace {

// Seeds begin with the number of their layout: a new one goes to the end.
constexpr std::string_view layouts[] = {"site:birchwood", "site:c-cda", "site:elbtal", "site:lakeside",
                                        "site:northmoor"};

// What broke is said, because no debugger looks at the millionth run.
void require(bool holds, std::string_view what) {
  if (holds) return;
  std::fprintf(stderr, "not so: %.*s\n", static_cast<int>(what.size()), what.data());
  std::abort();
}

template <class Value>
Value taken(Result<Value> result) {
  if (!result) require(false, result.error().message);
  return std::move(*result);
}

// A file in memory, which has a path like any other.
class MemoryFile {
 public:
  MemoryFile() : descriptor_(::memfd_create("layout_fuzz", 0)) {
    require(descriptor_ >= 0, "no memory file");
  }
  ~MemoryFile() { ::close(descriptor_); }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;
  std::string path() const { return "/proc/self/fd/" + std::to_string(descriptor_); }
  void fill(std::string_view bytes) {
    const auto size = static_cast<ssize_t>(bytes.size());
    require(::ftruncate(descriptor_, 0) == 0 && ::pwrite(descriptor_, bytes.data(), bytes.size(), 0) == size,
            "the memory file takes no bytes");
  }

 private:
  int descriptor_;
};

// A layout with all that reads and writes by it.
class Site {
 public:
  Site(const Tables& tables, std::string_view name)
      : site_(taken(SiteForm::open(std::string(name), tables))),
        engine_(taken(Engine::load(tables, {}, {}, wanted_))),
        files_(mapping::file_count(engine_->mapping(form()).layout())),
        converter_(*engine_, way_),
        reader_(*engine_, form(), {}),
        trip_(*engine_, form(), {}) {}
  Site(const Site&) = delete;
  Site& operator=(const Site&) = delete;

  void run(std::string_view bytes) {
    std::vector<std::string> texts(files_.size());
    for (auto& text : texts) {
      const auto end = &text == &texts.back() ? std::string_view::npos : bytes.find('\x1c');
      text = bytes.substr(0, end);
      bytes.remove_prefix(end == std::string_view::npos ? bytes.size() : end + 1);
    }
    const auto lines = converted(texts);
    prove();
    mapping::DocumentOutput output(engine_->mapping(form()));
    std::vector<std::string> written(files_.size());
    require(output.add(lines, written) && output.finish(written), "what was written alone is written");
    require(converted(written) == lines, "all are read again from one file");
  }

 private:
  const Form& form() const { return site_->form(); }
  Input opened() const {
    std::vector<std::string> paths;
    for (const auto& file : files_) paths.push_back(file.path());
    return Input(std::move(paths), engine_->cut(form()));
  }

  // The records as the layout's documents, in JSON, one a line.
  std::string converted(const std::vector<std::string>& texts) {
    for (std::size_t i = 0; i < texts.size(); ++i) files_[i].fill(texts[i]);
    auto input = opened();
    Batch batch;
    std::string lines;
    while (taken(input.fill(batch))) {
      converter_.work(batch);
      std::size_t blocking = 0;
      for (const auto& one : batch.findings) {
        require(!one.message.empty() && !one.mend.empty(), "a finding says what is wrong and what to do");
        if (one.blocks) ++blocking;
      }
      require(batch.tally.written + batch.tally.rejected == batch.tally.records, "each record is counted");
      require(batch.tally.rejected == 0 || blocking != 0, "what is held back is told");
      lines += batch.out;
      batch.clear();
    }
    return lines;
  }

  // Each record alone, there and back.
  void prove() {
    auto input = opened();
    Batch batch;
    while (taken(input.fill(batch))) {
      for (std::size_t i = 0; i < batch.count; ++i) {
        const auto records = reader_.read(batch.pieces[i], batch.file);
        std::vector<TripReport> reports;
        for (const auto& one : records) {
          reader_.begin_findings(one);
          reports.push_back(trip_.send(one, reader_.findings()));
        }
        const auto found = reader_.take_findings();
        require(!records.empty() || !found.empty(), "what cannot be read is told");
        for (std::size_t k = 0; k < records.size(); ++k) {
          if (blocks(found, records[k].text(record::FieldId::id)) || reports[k].same) continue;
          for (const auto& one : reports[k].differences)
            std::fprintf(stderr, "%s: %s, %s\n", one.path.c_str(), one.sent.c_str(), one.came_back.c_str());
          for (const auto& one : reports[k].findings)
            std::fprintf(stderr, "%s: %s\n", one.path.c_str(), one.message.c_str());
          require(false, "a record comes back the same; " + reports[k].trouble);
        }
      }
      batch.clear();
    }
  }

  std::unique_ptr<SiteForm> site_;
  const Wanted wanted_[1] = {{&site_->form()}};
  std::unique_ptr<Engine> engine_;
  std::vector<MemoryFile> files_;
  const Conversion way_{.from = &site_->form(), .to = &site_->form()};
  Converter converter_;
  PieceReader reader_;
  RoundTrip trip_;
};

std::vector<std::unique_ptr<Site>> all_sites() {
  static const Tables tables(embedded_tables());
  std::size_t known = 0;
  for (const auto& file : tables.below("sites/")) known += file.path.ends_with("/set.json") ? 1 : 0;
  require(known == std::size(layouts), "each layout is named in this program");
  std::vector<std::unique_ptr<Site>> made;
  for (const auto name : layouts) made.push_back(std::make_unique<Site>(tables, name));
  return made;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  // Held, so that the C library does not load and unload them each time.
  static const auto latin = Recoder::to_utf8("WINDOWS-1252"), to_latin = Recoder::from_utf8("WINDOWS-1252");
  static const auto sites = all_sites();
  if (size == 0) return 0;
  const auto number = static_cast<std::uint8_t>(data[0] - '0') % sites.size();
  sites[number]->run({reinterpret_cast<const char*>(data) + 1, size - 1});
  return 0;
}
