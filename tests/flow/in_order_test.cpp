#include "flow/in_order.hpp"

#include <doctest/doctest.h>

#include <atomic>
#include <chrono>
#include <stdexcept>
#include <thread>

using namespace charpie;
using namespace charpie::flow;

namespace {

/// Gives `count` batches, each with its number as its only piece; then perhaps fails.
class Numbers final : public BatchSource {
 public:
  explicit Numbers(std::size_t count, bool fails = false) : count_(count), fails_(fails) {}
  Result<bool> fill(Batch& batch) override {
    if (next_ == count_) {
      if (fails_) return Error{Error::unreadable, "torn off", "input", 0, 0, {}};
      return false;
    }
    batch.pieces.resize(1);
    batch.pieces[0].bytes = std::to_string(next_++);
    batch.count = 1;
    ++given;
    return true;
  }
  std::atomic<std::size_t> given = 0;

 private:
  std::size_t next_ = 0, count_;
  bool fails_;
};

/// Copies the number; takes longer over some batches than over others, so that they end out of order.
class Uneven final : public Worker {
 public:
  void work(Batch& batch) override {
    const auto number = std::stoul(batch.pieces[0].bytes);
    if (number % 7 == 0) std::this_thread::sleep_for(std::chrono::milliseconds(2));
    batch.out = batch.pieces[0].bytes + "\n";
    batch.tally.records = 1;
  }
};

class Throwing final : public Worker {
 public:
  void work(Batch& batch) override {
    if (batch.pieces[0].bytes == "17") throw std::runtime_error("a worker's bug");
  }
};

std::string expected(std::size_t count) {
  std::string text;
  for (std::size_t i = 0; i < count; ++i) text += std::to_string(i) + "\n";
  return text;
}

}  // namespace

TEST_CASE("batches come out in the order of the input, for any number of jobs") {
  for (const unsigned jobs : {1u, 2u, 3u, 8u}) {
    for (const std::size_t count : {0u, 1u, 2u, 3u, 200u}) {
      CAPTURE(jobs);
      CAPTURE(count);
      Numbers source(count);
      std::string out;
      Tally tally;
      const auto outcome = run_in_order(
          source, jobs, [] { return std::make_unique<Uneven>(); },
          [&](Batch& batch) -> Result<bool> {
            out += batch.out;
            tally += batch.tally;
            return true;
          });
      CHECK(outcome);
      CHECK(out == expected(count));
      CHECK(tally.records == count);
    }
  }
}

TEST_CASE("with one job, or one batch, everything happens in the calling thread") {
  const auto here = std::this_thread::get_id();
  struct Where final : Worker {
    std::thread::id* seen;
    explicit Where(std::thread::id* place) : seen(place) {}
    void work(Batch&) override { *seen = std::this_thread::get_id(); }
  };
  const auto run = [&](unsigned jobs, std::size_t count) {
    std::thread::id seen;
    Numbers source(count);
    CHECK(run_in_order(
        source, jobs, [&] { return std::make_unique<Where>(&seen); },
        [](Batch&) -> Result<bool> { return true; }));
    return seen;
  };
  CHECK(run(1, 5) == here);
  CHECK(run(4, 1) == here);
  CHECK(run(4, 5) != here);
}

TEST_CASE("a slow taker holds the reader back: memory does not grow with the input") {
  for (const unsigned jobs : {1u, 2u, 4u}) {
    CAPTURE(jobs);
    Numbers source(500);
    std::size_t taken = 0, furthest = 0;
    const auto outcome = run_in_order(
        source, jobs, [] { return std::make_unique<Uneven>(); },
        [&](Batch&) -> Result<bool> {
          ++taken;
          if (taken < 50) std::this_thread::sleep_for(std::chrono::milliseconds(1));
          furthest = std::max<std::size_t>(furthest, source.given - taken);
          return true;
        });
    CHECK(outcome);
    CHECK(taken == 500);
    // Two batches a worker and two more go round; two stand in front of them at the start.
    CHECK(furthest <= 2 * jobs + 4);
  }
}

TEST_CASE("who takes no more ends the work early and in peace") {
  for (const unsigned jobs : {1u, 3u}) {
    Numbers source(100000);
    std::size_t taken = 0;
    const auto outcome = run_in_order(
        source, jobs, [] { return std::make_unique<Uneven>(); },
        [&](Batch&) -> Result<bool> { return ++taken < 5; });
    CHECK(outcome);
    CHECK(taken == 5);
    CHECK(source.given < 100);
  }
}

TEST_CASE("an error of the source comes out after the batches before it, an error of the taker at once") {
  for (const unsigned jobs : {1u, 3u}) {
    for (const std::size_t count : {0u, 1u, 2u, 30u}) {
      CAPTURE(jobs);
      CAPTURE(count);
      Numbers source(count, true);
      std::string out;
      const auto outcome = run_in_order(
          source, jobs, [] { return std::make_unique<Uneven>(); },
          [&](Batch& batch) -> Result<bool> {
            out += batch.out;
            return true;
          });
      REQUIRE_FALSE(outcome);
      CHECK(outcome.error().message == "torn off");
      CHECK(out == expected(count));
    }
    Numbers source(1000);
    const auto outcome = run_in_order(
        source, jobs, [] { return std::make_unique<Uneven>(); },
        [&](Batch& batch) -> Result<bool> {
          if (batch.out == "3\n") return Error{Error::unwritable, "no room", {}, 0, 0, {}};
          return true;
        });
    REQUIRE_FALSE(outcome);
    CHECK(outcome.error().message == "no room");
  }
}

TEST_CASE("an exception in a worker comes out in the calling thread") {
  for (const unsigned jobs : {1u, 3u}) {
    Numbers source(100);
    CHECK_THROWS_WITH(static_cast<void>(run_in_order(
                          source, jobs, [] { return std::make_unique<Throwing>(); },
                          [](Batch&) -> Result<bool> { return true; })),
                      "a worker's bug");
  }
}
