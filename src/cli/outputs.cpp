#include "cli/outputs.hpp"

#include "base/digest.hpp"

namespace charpie::cli {

Result<std::unique_ptr<Outputs>> Outputs::open(const Asked& asked, Session& session,
                                               const nlohmann::json& last) {
  std::unique_ptr<Outputs> made(new Outputs);
  const auto mark_of = [&](const char* name) { return last.is_null() ? last : last.at(name); };
  const auto open_file = [&](const std::string& path, const char* mark) {
    if (asked.run.empty() || mark == nullptr) return flow::OutputFile::open(path);
    const auto from = mark_of(mark);
    return flow::OutputFile::open(path, {asked.run, from.is_null() ? 0 : from.get<std::uint64_t>()});
  };
  for (const auto& one : asked.beside) {
    if (one.path.empty()) continue;
    auto opened = open_file(one.path, one.mark);
    if (!opened) return opened.error();
    made->beside_.push_back({one.text, one.mark, std::move(*opened)});
  }
  if (asked.is_folder) {
    auto opened = flow::BulkFolder::open(asked.out, asked.split, mark_of("folder"));
    if (!opened) return opened.error();
    made->folder_ = std::move(*opened);
  } else if (asked.layout != nullptr && asked.layout->layout().is_folder()) {
    auto folder = flow::OutputFolder::open(asked.out);
    if (!folder) return folder.error();
    made->tables_.emplace(std::move(*folder));
    for (const auto& table : asked.layout->layout().tables) {
      auto opened = flow::OutputFile::open(made->tables_->file(table.file));
      if (!opened) return opened.error();
      made->table_files_.push_back(std::move(*opened));
    }
  } else {
    auto opened = open_file(asked.out, "out");
    if (!opened) return opened.error();
    made->out_ = std::move(*opened);
  }
  if (asked.layout != nullptr) made->site_.emplace(*asked.layout);
  if (made->site_ && asked.mark_formulas) made->site_->mark_formulas();
  auto findings = asked.run.empty()
                      ? FindingsOutput::open(*asked.findings, session)
                      : FindingsOutput::open(*asked.findings, session, asked.run, mark_of("findings"));
  if (!findings) return findings.error();
  made->findings_ = std::move(*findings);
  return made;
}

Outcome Outputs::place(flow::Batch& batch) {
  for (const auto& one : beside_) {
    if (auto kept = one.file->write(batch.*one.text); !kept) return kept;
  }
  if (folder_ != nullptr) return folder_->place(batch);
  if (!site_) return out_->write(batch.out);
  std::vector<std::string> texts(site_->file_count());
  if (auto added = site_->add(batch.out, texts); !added) return added;
  return put(texts);
}

// What documents of a site gave, a text a file.
Outcome Outputs::put(const std::vector<std::string>& texts) {
  if (!tables_) return out_->write(texts.front());
  for (std::size_t i = 0; i < texts.size(); ++i) {
    if (auto written = table_files_[i]->write(texts[i]); !written) return written;
  }
  return std::monostate{};
}

Outcome Outputs::sync(nlohmann::json& mark) {
  auto told = findings_->mark();
  if (!told) return told.error();
  mark["findings"] = std::move(*told);
  const auto sync_file = [&](const char* name, flow::OutputFile& file) -> Outcome {
    const auto synced = file.sync();
    if (!synced) return synced.error();
    mark[name] = *synced;
    return std::monostate{};
  };
  for (const auto& one : beside_) {
    if (one.mark == nullptr) continue;
    if (auto synced = sync_file(one.mark, *one.file); !synced) return synced;
  }
  if (folder_ == nullptr) return sync_file("out", *out_);
  auto marked = folder_->mark();
  if (!marked) return marked.error();
  mark["folder"] = std::move(*marked);
  return std::monostate{};
}

void Outputs::leave() {
  findings_->leave();
  if (out_ != nullptr) out_->leave();
  if (folder_ != nullptr) folder_->leave();
  for (const auto& one : beside_) one.file->leave();
}

Outcome Outputs::finish(std::uint64_t written, Session& session) {
  if (site_) {
    std::vector<std::string> rest(site_->file_count());
    if (auto ended = site_->finish(rest); !ended) return ended;
    if (auto written = put(rest); !written) return written;
  }
  for (const auto& one : beside_) {
    if (auto finished = one.file->finish(); !finished) return finished;
  }
  if (auto finished = findings_->finish(); !finished) return finished;
  if (tables_) {
    for (const auto& file : table_files_) {
      if (auto finished = file->finish(); !finished) return finished;
    }
    return tables_->finish();
  }
  if (folder_ == nullptr) return out_->finish();
  const auto tables = session.tables();
  if (!tables) return tables.error();
  return folder_->finish(written, digest_of(**tables));
}

}  // namespace charpie::cli
