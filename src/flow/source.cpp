#include "flow/source.hpp"

#include <filesystem>

#include "flow/bulk_set.hpp"
#include "flow/input.hpp"
#include "flow/table_files.hpp"
#include "flow/visit_groups.hpp"

namespace charpie::flow {

namespace fs = std::filesystem;

namespace {

// The groups, with the input that they are made from.
class GroupedInput final : public BatchSource {
 public:
  GroupedInput(std::vector<std::string> paths, const mapping::Mapping& mapping, std::size_t memory)
      : input_(std::move(paths)), groups_(input_, mapping, memory) {}
  Result<bool> fill(Batch& batch) override { return groups_.fill(batch); }

 private:
  Input input_;
  VisitGroups groups_;
};

}  // namespace

Result<std::unique_ptr<BatchSource>> open_source(const std::vector<std::string>& paths, const Form& form,
                                                 const Engine& engine, std::size_t sort_memory) {
  if (form.is_record() || form.is_site || form.syntax != Syntax::json) {
    Cut cut = engine.cut(form);
    cut.sort_memory = sort_memory;
    if (cut.layout != nullptr && cut.layout->is_folder()) {
      auto files = table_files(paths, *cut.layout);
      if (!files) return files.error();
      return std::unique_ptr<BatchSource>(new Input(std::move(*files), cut));
    }
    return std::unique_ptr<BatchSource>(new Input(paths, cut));
  }
  std::vector<std::string> files;
  for (const auto& path : paths) {
    std::error_code failure;
    if (path == "-" || !fs::is_directory(path, failure)) {
      files.push_back(path);
      continue;
    }
    if (BulkSet::is_one(path)) {
      if (paths.size() != 1) {
        return Error{Error::usage,
                     "a folder with a manifest is read by itself",
                     path,
                     0,
                     0,
                     "name it alone, or take its manifest.json away"};
      }
      auto set = BulkSet::open(path, engine.mapping(form));
      if (!set) return set.error();
      return std::unique_ptr<BatchSource>(std::move(*set));
    }
    constexpr std::string_view endings[] = {".ndjson", ".json"};
    const auto inside = files_in(path, endings);
    if (!inside) return inside.error();
    if (inside->empty()) {
      return Error{Error::unreadable,
                   "holds no .ndjson and no .json file",
                   path,
                   0,
                   0,
                   "name the folder with the files of resources"};
    }
    files.insert(files.end(), inside->begin(), inside->end());
  }
  return std::unique_ptr<BatchSource>(new GroupedInput(std::move(files), engine.mapping(form), sort_memory));
}

}  // namespace charpie::flow
