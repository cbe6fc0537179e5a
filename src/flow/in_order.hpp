// Batches through several workers and out again in the order they came in.
#pragma once
#include <functional>
#include <memory>

#include "base/result.hpp"
#include "flow/batch.hpp"

namespace charpie::flow {

/// Makes the worker of one thread; called in that thread's stead before any work begins.
using MakeWorker = std::function<std::unique_ptr<Worker>()>;
/// Takes a finished batch; batches come in the order of the input, from the calling thread. False ends the
/// work early and in peace (nobody reads the output any more).
using TakeBatch = std::function<Result<bool>(Batch&)>;

/// Runs the work with so many worker threads. There is a fixed number of batches (two a worker and two more)
/// that go round: a reader that is faster than the writer waits for a free one, so memory does not grow with
/// the input. With one job, or when the input is one batch, all happens in the calling thread and no thread
/// is started.
///
/// An error of the source or of `take` ends the work; what came before it has been taken. An exception in a
/// worker comes out here.
Outcome run_in_order(BatchSource& source, unsigned jobs, const MakeWorker& make_worker,
                     const TakeBatch& take);

}  // namespace charpie::flow
