#include "flow/journal.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <system_error>

#include "flow/file_source.hpp"

namespace charpie::flow {

namespace fs = std::filesystem;

namespace {

Error unwritable(const std::string& path, int number) {
  return {
      Error::unwritable,        "cannot be written: " + std::generic_category().message(number), path, 0, 0,
      "nothing was left behind"};
}

Error cannot_resume(const std::string& output, std::string why) {
  return {Error::usage, std::move(why), output, 0, 0, "run it again without --resume: it starts anew"};
}

}  // namespace

Journal::Journal() : last_(std::make_unique<nlohmann::json>()) {}

Journal::~Journal() {
  if (descriptor_ < 0) return;
  if (!path_.empty()) ::unlink(path_.c_str());
  ::close(descriptor_);
}

Result<std::unique_ptr<Journal>> Journal::open(const std::string& output, const std::string& run, bool resume,
                                               const std::function<void(const nlohmann::json&)>& take) {
  std::unique_ptr<Journal> journal(new Journal);
  std::error_code failure;
  const fs::path target = fs::weakly_canonical(output, failure);
  if (failure) return unwritable(output, failure.value());
  const auto path = (target.parent_path() / ("." + target.filename().string() + ".journal")).string();
  const int descriptor = ::open(path.c_str(), O_RDWR | O_APPEND | O_CLOEXEC | (resume ? 0 : O_CREAT), 0666);
  if (descriptor < 0) {
    if (resume && errno == ENOENT) return cannot_resume(output, "no killed run left anything to go on with");
    return unwritable(output, errno);
  }
  if (::flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
    ::close(descriptor);
    return Error{Error::usage,
                 "another run is writing this",
                 output,
                 0,
                 0,
                 "wait for its end, or name another output"};
  }
  const nlohmann::json head = {{"run", run}};
  if (resume) {
    // Until it is known that it can be used the file is not this run's to remove.
    std::ifstream lines(path, std::ios::binary);
    bool known = false;
    std::size_t whole = 0;
    // Without a line end: the mark at which it was killed.
    for (std::string line; std::getline(lines, line) && !lines.eof() && (whole == 0 || known);) {
      auto one = nlohmann::json::parse(line, nullptr, false);
      if (one.is_discarded()) break;
      if (whole == 0) {
        known = one == head;
      } else {
        if (take) take(one);
        *journal->last_ = std::move(one);
      }
      whole += line.size() + 1;
    }
    if (!known) {
      ::close(descriptor);
      return cannot_resume(output, "the killed run had another program, mapping or options");
    }
    if (::ftruncate(descriptor, static_cast<off_t>(whole)) != 0) {
      ::close(descriptor);
      return unwritable(output, errno);
    }
  }
  journal->path_ = path;
  journal->descriptor_ = descriptor;
  if (resume) return journal;
  if (::ftruncate(descriptor, 0) != 0) return unwritable(output, errno);
  if (auto marked = journal->mark(head); !marked) return marked.error();
  return journal;
}

const nlohmann::json& Journal::last() const {
  return *last_;
}

Outcome Journal::mark(const nlohmann::json& mark) {
  const auto line = mark.dump() + "\n";
  std::string_view rest = line;
  while (!rest.empty()) {
    const auto count = ::write(descriptor_, rest.data(), rest.size());
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) return unwritable(path_, errno);
    rest.remove_prefix(static_cast<std::size_t>(count));
  }
  if (::fdatasync(descriptor_) != 0) return unwritable(path_, errno);
  return std::monostate{};
}

Result<bool> MarkedInput::fill(Batch& batch) {
  while (true) {
    auto more = rest_->fill(batch);
    if (!more) return more;
    if (!*more) {
      if (count_ < done_)
        return cannot_resume(batch.file, "the input is shorter than what the killed run read");
      return false;
    }
    ++count_;
    for (std::size_t i = 0; i < batch.count; ++i) {
      digest_.update(batch.pieces[i].bytes);
      digest_.update("\n");
    }
    batch.number = count_;
    batch.digest = digest_.so_far();
    if (count_ > done_) return true;
    if (count_ == done_ && batch.digest != wanted_)
      return cannot_resume(batch.file, "the input is not what the killed run read");
    batch.clear();
  }
}

}  // namespace charpie::flow
