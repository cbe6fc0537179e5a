#include "flow/in_order.hpp"

#include <condition_variable>
#include <deque>
#include <exception>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

namespace charpie::flow {

namespace {

// A batch and its place in the input.
struct Slot {
  Batch batch;
  std::size_t number = 0;
};

// Batches go round: free -> (reader) -> filled -> (worker) -> done -> (taker, in order) -> free.
class Round {
 public:
  explicit Round(std::size_t slots) : slots_(slots) {
    for (auto& slot : slots_) free_.push_back(&slot);
  }

  // --- the reader's side
  Slot* wait_for_free() {
    std::unique_lock lock(mutex_);
    free_there_.wait(lock, [&] { return stopped_ || !free_.empty(); });
    if (stopped_) return nullptr;
    Slot* slot = free_.front();
    free_.pop_front();
    return slot;
  }
  void put_filled(Slot* slot) {
    const std::lock_guard lock(mutex_);
    slot->number = filled_count_++;
    filled_.push_back(slot);
    filled_there_.notify_one();
  }
  void end_of_input(std::optional<Error> error) {
    const std::lock_guard lock(mutex_);
    ended_ = true;
    error_ = std::move(error);
    filled_there_.notify_all();
    done_there_.notify_all();
  }

  // --- a worker's side
  Slot* wait_for_filled() {
    std::unique_lock lock(mutex_);
    filled_there_.wait(lock, [&] { return stopped_ || ended_ || !filled_.empty(); });
    if (stopped_ || filled_.empty()) return nullptr;
    Slot* slot = filled_.front();
    filled_.pop_front();
    return slot;
  }
  void put_done(Slot* slot) {
    const std::lock_guard lock(mutex_);
    done_.push_back(slot);
    done_there_.notify_one();
  }

  // --- the taker's side
  Slot* wait_for_next(std::size_t number) {
    std::unique_lock lock(mutex_);
    Slot* found = nullptr;
    done_there_.wait(lock, [&] {
      if (stopped_ || (ended_ && number == filled_count_)) return true;
      for (auto at = done_.begin(); at != done_.end(); ++at) {
        if ((*at)->number != number) continue;
        found = *at;
        done_.erase(at);
        return true;
      }
      return false;
    });
    return found;
  }
  void put_free(Slot* slot) {
    slot->batch.clear();
    const std::lock_guard lock(mutex_);
    free_.push_back(slot);
    free_there_.notify_one();
  }

  // --- anybody's
  void stop(std::exception_ptr exception = nullptr) {
    const std::lock_guard lock(mutex_);
    stopped_ = true;
    if (exception && !exception_) exception_ = exception;
    free_there_.notify_all();
    filled_there_.notify_all();
    done_there_.notify_all();
  }
  std::exception_ptr exception() const { return exception_; }
  const std::optional<Error>& error() const { return error_; }

 private:
  std::mutex mutex_;
  std::condition_variable free_there_, filled_there_, done_there_;
  std::vector<Slot> slots_;
  std::deque<Slot*> free_, filled_;
  std::vector<Slot*> done_;
  std::size_t filled_count_ = 0;
  bool ended_ = false;    // no more will be filled
  bool stopped_ = false;  // nobody wants more
  std::optional<Error> error_;
  std::exception_ptr exception_;
};

void read_all(BatchSource& source, Round& round) {
  try {
    while (Slot* slot = round.wait_for_free()) {
      auto more = source.fill(slot->batch);
      if (!more) return round.end_of_input(std::move(more.error()));
      if (!*more) return round.end_of_input({});
      round.put_filled(slot);
    }
  } catch (...) {
    round.stop(std::current_exception());
  }
}

void work_all(Worker& worker, Round& round) {
  try {
    while (Slot* slot = round.wait_for_filled()) {
      worker.work(slot->batch);
      round.put_done(slot);
    }
  } catch (...) {
    round.stop(std::current_exception());
  }
}

Outcome run_here(BatchSource& source, Worker& worker, const TakeBatch& take) {
  Batch batch;
  while (true) {
    batch.clear();
    auto more = source.fill(batch);
    if (!more) return more.error();
    if (!*more) return std::monostate{};
    worker.work(batch);
    auto go_on = take(batch);
    if (!go_on) return go_on.error();
    if (!*go_on) return std::monostate{};
  }
}

// Gives what was read ahead, then the rest.
class ReadAhead final : public BatchSource {
 public:
  explicit ReadAhead(BatchSource& rest) : rest_(rest) {}
  /// Whether the input holds more than one batch. Both may fail: the error comes when the batch is asked for.
  bool more_than_one() {
    for (auto& one : ahead_) {
      if (failure_ || (read_ != 0 && !going_on_)) break;
      auto more = rest_.fill(one);
      if (!more) {
        failure_ = std::move(more.error());
      } else if (*more) {
        ++read_;
        going_on_ = true;
      } else {
        going_on_ = false;
      }
    }
    return read_ == 2;
  }
  Result<bool> fill(Batch& batch) override {
    if (given_ < read_) {
      std::swap(batch, ahead_[given_++]);
      return true;
    }
    if (failure_) return *failure_;
    if (!going_on_) return false;
    return rest_.fill(batch);
  }

 private:
  BatchSource& rest_;
  Batch ahead_[2];
  std::size_t read_ = 0, given_ = 0;
  bool going_on_ = false;
  std::optional<Error> failure_;
};

}  // namespace

Outcome run_in_order(BatchSource& source, unsigned jobs, const MakeWorker& make_worker,
                     const TakeBatch& take) {
  if (jobs <= 1) return run_here(source, *make_worker(), take);
  ReadAhead ahead(source);
  if (!ahead.more_than_one()) return run_here(ahead, *make_worker(), take);

  Round round(2 * std::size_t{jobs} + 2);
  std::vector<std::unique_ptr<Worker>> workers;
  for (unsigned i = 0; i < jobs; ++i) workers.push_back(make_worker());
  Outcome outcome = std::monostate{};
  {
    std::vector<std::jthread> threads;
    threads.reserve(jobs + 1);
    // Whatever happens, the threads are told to stop before they are waited for.
    struct StopAtEnd {
      Round& round;
      ~StopAtEnd() { round.stop(); }
    } stop_at_end{round};
    threads.emplace_back([&] { read_all(ahead, round); });
    for (auto& worker : workers) threads.emplace_back([&round, &worker] { work_all(*worker, round); });
    std::size_t next = 0;
    while (Slot* slot = round.wait_for_next(next)) {
      ++next;
      auto go_on = take(slot->batch);
      if (!go_on) outcome = go_on.error();
      if (!go_on || !*go_on) break;
      round.put_free(slot);
    }
  }
  if (round.exception()) std::rethrow_exception(round.exception());
  if (outcome && round.error()) return *round.error();
  return outcome;
}

}  // namespace charpie::flow
