// What a run reads: files, or folders of resources or of tables.
#pragma once
#include <memory>
#include <string>
#include <vector>

#include "flow/batch.hpp"
#include "flow/engine.hpp"
#include "flow/form.hpp"

namespace charpie::flow {

/// The batches of these paths. Forms of FHIR in JSON may also come as a folder that --pack bulk wrote
/// (flow/bulk_set.hpp), as a folder of .ndjson and .json files, or as files of single resources
/// (flow/visit_groups.hpp: `sort_memory` in bytes is its bound, as it is for CSV whose rows are put together
/// by key). A layout of several tables comes as one folder or as its files (flow/table_files.hpp). No path is
/// standard input. Error::usage, Error::unreadable, and what BulkSet::open tells. `engine`, loaded for
/// `form`, must outlive the source.
Result<std::unique_ptr<BatchSource>> open_source(const std::vector<std::string>& paths, const Form& form,
                                                 const Engine& engine, std::size_t sort_memory);

}  // namespace charpie::flow
