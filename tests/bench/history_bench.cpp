// What comparing the visits of each wound costs: time beside a plain check of the same file, and the peak
// memory of the whole program against the bound that it was given.
//
//   history_bench --program PATH [--records N] [--wounds N] [--memory MIB]
//     --program PATH  a charpie program
//     --records N     1,000,000 when not given
//     --wounds N      50,000 when not given; each wound's visits lie far apart in the file, as days go by
//     --memory MIB    what --history-memory is given (256)
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <string>
#include <vector>

#include "base/tables.hpp"
#include "record/generate.hpp"
#include "terms/terms.hpp"

namespace charpie::bench {
namespace {

struct Run {
  double seconds = 0;       // start to end
  double core_seconds = 0;  // what its threads had of the cores: other programs on the machine do not count
  long peak_kib = 0;
  int exit_code = 0;
};

Run run_program(std::vector<std::string> words) {
  std::vector<char*> arguments;
  for (auto& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  const auto start = std::chrono::steady_clock::now();
  const pid_t child = fork();
  if (child == 0) {
    const int nowhere = open("/dev/null", O_WRONLY);
    dup2(nowhere, STDOUT_FILENO);
    dup2(nowhere, STDERR_FILENO);
    execv(arguments[0], arguments.data());
    _exit(127);
  }
  int status = 0;
  rusage used{};
  wait4(child, &status, 0, &used);
  const auto seconds = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) / 1e6;
  };
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(),
          seconds(used.ru_utime) + seconds(used.ru_stime), used.ru_maxrss, WEXITSTATUS(status)};
}

void write_records(const std::string& path, unsigned records, unsigned wounds, const terms::Terms& terms) {
  tests::GeneratorOptions options;
  options.words = [&](std::string_view domain) {
    std::vector<std::string> words;
    if (const auto* known = terms.domain(domain)) {
      for (const auto& one : known->concepts) words.push_back(one.word);
    }
    return words.empty() ? tests::invented_words(domain) : words;
  };
  tests::Generator generator(20260302, options);
  std::ofstream out(path, std::ios::binary);
  for (unsigned i = 0; i < records; ++i) out << generator.typical(1 + i % wounds, 1, i / wounds) << '\n';
}

int run(int argc, char** argv) {
  std::string program, memory = "256";
  unsigned records = 1'000'000, wounds = 50'000;
  for (int i = 1; i + 1 < argc; i += 2) {
    const std::string word = argv[i], value = argv[i + 1];
    if (word == "--program") program = value;
    if (word == "--memory") memory = value;
    if (word == "--records") records = static_cast<unsigned>(std::stoul(value));
    if (word == "--wounds") wounds = std::max(1u, static_cast<unsigned>(std::stoul(value)));
  }
  if (program.empty()) {
    std::cerr << "history_bench --program PATH [--records N] [--wounds N] [--memory MIB]\n";
    return 2;
  }
  const Tables tables(embedded_tables());
  const auto terms = terms::Terms::load(tables);
  if (!terms) return 1;
  std::string path = "/tmp/charpie-history-XXXXXX";
  close(mkstemp(path.data()));
  write_records(path, records, wounds, *terms);
  const auto plain = run_program({program, "check", path});
  const auto history = run_program({program, "check", "--history", "--history-memory", memory, path});
  unlink(path.c_str());
  std::printf("%u records, %u wounds\n", records, wounds);
  for (const auto& [name, run] : {std::pair("check", plain), std::pair("check --history", history)}) {
    std::printf("%-16s %8.1f s, %8.1f s of the cores, peak %8ld KiB, exit %d\n", name, run.seconds,
                run.core_seconds, run.peak_kib, run.exit_code);
  }
  std::printf("bound %s MiB; with history %.2f times the cores' time without (target 3)\n", memory.c_str(),
              history.core_seconds / plain.core_seconds);
  return 0;
}

}  // namespace
}  // namespace charpie::bench

int main(int argc, char** argv) {
  return charpie::bench::run(argc, argv);
}
