#include "flow/output_file.hpp"

#include <doctest/doctest.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "temporary.hpp"

using namespace charpie;
using namespace charpie::flow;
namespace fs = std::filesystem;

TEST_CASE("a file appears whole, under its name, and only when it is finished") {
  const TemporaryFolder folder;
  auto file = OutputFile::open(folder.file("out"));
  REQUIRE(file);
  CHECK((*file)->write("one\n"));
  CHECK_FALSE(fs::exists(folder.file("out")));
  CHECK((*file)->write("two\n"));
  CHECK((*file)->finish());
  CHECK(folder.read("out") == "one\ntwo\n");
  CHECK(folder.entries() == 1);
}

TEST_CASE("without finish() nothing stays, and what was there before is untouched") {
  const TemporaryFolder folder;
  folder.write("out", "before");
  {
    auto file = OutputFile::open(folder.file("out"));
    REQUIRE(file);
    CHECK((*file)->write("half"));
    CHECK(folder.read("out") == "before");
  }
  CHECK(folder.read("out") == "before");
  CHECK(folder.entries() == 1);
}

TEST_CASE("an existing file keeps its permissions, a link stays a link") {
  const TemporaryFolder folder;
  folder.write("real", "before");
  REQUIRE(::chmod(folder.file("real").c_str(), 0640) == 0);
  fs::create_symlink("real", folder.file("link"));
  auto file = OutputFile::open(folder.file("link"));
  REQUIRE(file);
  CHECK((*file)->write("after"));
  CHECK((*file)->finish());
  CHECK(fs::is_symlink(folder.file("link")));
  CHECK(folder.read("real") == "after");
  struct stat status {};
  REQUIRE(::stat(folder.file("real").c_str(), &status) == 0);
  CHECK((status.st_mode & 0777) == 0640);
}

TEST_CASE("devices are written to and never renamed over") {
  const TemporaryFolder folder;
  REQUIRE(::mkfifo(folder.file("pipe").c_str(), 0600) == 0);
  const int reader = ::open(folder.file("pipe").c_str(), O_RDONLY | O_NONBLOCK);
  REQUIRE(reader >= 0);
  {
    auto file = OutputFile::open(folder.file("pipe"));
    REQUIRE(file);
    CHECK((*file)->write("through"));
    CHECK((*file)->finish());
  }
  char bytes[16];
  CHECK(::read(reader, bytes, sizeof bytes) == 7);
  ::close(reader);
  CHECK(fs::is_fifo(folder.file("pipe")));
}

TEST_CASE("folders that are not there, or in the way, are errors before any work") {
  const TemporaryFolder folder;
  auto missing = OutputFile::open(folder.file("no/such/out"));
  REQUIRE_FALSE(missing);
  CHECK(missing.error().kind == Error::unwritable);
  CHECK(missing.error().file == folder.file("no/such/out"));
  auto in_the_way = OutputFile::open(folder.path.string());
  REQUIRE_FALSE(in_the_way);
  CHECK(in_the_way.error().kind == Error::unwritable);
  CHECK(folder.entries() == 0);
}

// Runs in a child, so that limits and descriptors of this program stay as they are. The result is its exit
// status.
template <class Work>
static int in_child(Work work) {
  const pid_t child = ::fork();
  if (child == 0) ::_exit(work());
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

TEST_CASE("a full disk is an error that leaves nothing behind") {
  const TemporaryFolder folder;
  folder.write("out", "before");
  // The limit on the size of files (setrlimit, POSIX) fails like a full disk, with another number.
  const int result = in_child([&] {
    ::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{100000, 100000};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    auto file = OutputFile::open(folder.file("out"));
    if (!file) return 1;
    const std::string text(60000, 'x');
    if (!(*file)->write(text)) return 2;
    auto second = (*file)->write(text);
    if (second) return 3;
    if (second.error().kind != Error::unwritable) return 4;
    if (second.error().mend.find("make room") == std::string::npos) return 5;
    return 0;
  });
  CHECK(result == 0);
  // The child left by _exit, without the destructor that a real end runs: only its hidden file may be there.
  CHECK(folder.read("out") == "before");
}

TEST_CASE("a real full disk, where there is one to try") {
  // /dev/full (Linux) refuses every write as a full disk does.
  if (!fs::exists("/dev/full")) return;
  auto file = OutputFile::open("/dev/full");
  REQUIRE(file);
  const auto written = (*file)->write("x");
  REQUIRE_FALSE(written);
  CHECK(written.error().kind == Error::unwritable);
  CHECK(written.error().message.find("No space left") != std::string::npos);
}

TEST_CASE("a pipe whose reader has gone is no error") {
  const TemporaryFolder folder;
  ::signal(SIGPIPE, SIG_IGN);
  REQUIRE(::mkfifo(folder.file("pipe").c_str(), 0600) == 0);
  const int reader = ::open(folder.file("pipe").c_str(), O_RDONLY | O_NONBLOCK);
  auto file = OutputFile::open(folder.file("pipe"));
  REQUIRE(file);
  CHECK((*file)->write("read"));
  CHECK_FALSE((*file)->closed());
  ::close(reader);
  CHECK((*file)->write("unread"));
  CHECK((*file)->closed());
  CHECK((*file)->finish());
}
