// A folder of files that appears whole or not at all.
#pragma once
#include <string>

#include "base/result.hpp"

namespace charpie::flow {

/// It is filled under a temporary name beside its place, and renamed by finish(); without finish() nothing of
/// it stays. Whoever writes its files closes them before finish() and before this goes.
class OutputFolder {
 public:
  /// Error::unwritable when it cannot be made; Error::usage when `path` names none, or something that is no
  /// empty folder. `keeps`: what a killed run left stays, for whoever goes on with it.
  static Result<OutputFolder> open(const std::string& path, bool keeps = false);
  ~OutputFolder();
  OutputFolder(OutputFolder&& other) noexcept;
  OutputFolder(const OutputFolder&) = delete;
  OutputFolder& operator=(const OutputFolder&) = delete;

  /// Where a file of it is written.
  std::string file(const std::string& name) const;
  /// Lets go of it as a killed run would.
  void leave() { temporary_.clear(); }
  /// Puts it in its place. Error::unwritable.
  Outcome finish();

 private:
  OutputFolder(std::string target, std::string temporary)
      : target_(std::move(target)), temporary_(std::move(temporary)) {}
  std::string target_, temporary_;
};

}  // namespace charpie::flow
