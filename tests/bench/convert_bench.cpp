// How fast one core takes a record to a FHIR R4 Bundle and back, beside two peers that run in turns with it
// in the same minutes: a floor (convert_floor.hpp) and a plain Node script that does the same job
// (convert_peer.mjs); strict reading beside the npm judges of tests/interop, where they are installed. Only
// the ratios mean something on another machine.
//
//   convert_bench [--pairs N] [--node PATH] [--program PATH] [--million] [--write FILE]
//     --pairs N       how often the peers take turns (11)
//     --node PATH     the Node to run; "" leaves the script out (node)
//     --program PATH  a charpie program, to measure start to end for one record and peak memory
//     --million       with --program: peak memory for 1,000,000 records too
//     --write FILE    writes the first record and its Bundle there, and ends
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <functional>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "bench/convert_floor.hpp"
#include "fhir/strict.hpp"
#include "mapping/read.hpp"
#include "mapping/write.hpp"
#include "record/generate.hpp"
#include "record/read.hpp"
#include "syntax/json.hpp"

namespace charpie::bench {
namespace {

using Clock = std::chrono::steady_clock;

double microseconds(Clock::duration span) {
  return std::chrono::duration<double, std::micro>(span).count();
}

// What this thread had of the core: other programs on the machine do not count.
double core_microseconds() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e6 + static_cast<double>(now.tv_nsec) / 1e3;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const auto half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

template <class T>
T must(Result<T> result) {
  if (result) return std::move(*result);
  std::cerr << result.error().file << ":" << result.error().line << ": " << result.error().message << '\n';
  std::exit(1);
}

struct Loaded {
  Tables tables{embedded_tables()};
  terms::Terms terms = must(terms::Terms::load(tables));
  units::Units units = must(units::Units::load(tables));
  mapping::FixedUnits fixed = must(mapping::FixedUnits::load(tables, units));
  std::unique_ptr<mapping::Mapping> mapping = must(mapping::Mapping::load(tables, terms, fixed));
  syntax::Names names;
  std::unique_ptr<fhir::Elements> elements =
      std::make_unique<fhir::Elements>(must(fhir::Elements::load(tables, fhir::Version::r4, names)));
  Loaded() { mapping->lay_out_in_xml(*elements); }
};

std::vector<std::string> typical_records(const terms::Terms& terms, unsigned count) {
  tests::GeneratorOptions options;
  options.words = [&](std::string_view domain) {
    std::vector<std::string> words;
    if (const auto* known = terms.domain(domain)) {
      for (const auto& one : known->concepts) words.push_back(one.word);
    }
    return words.empty() ? tests::invented_words(domain) : words;
  };
  tests::Generator generator(20260302, options);
  std::vector<std::string> records;
  for (unsigned i = 0; i < count; ++i) records.push_back(generator.typical(i / 20, i / 5 % 4, i % 20));
  return records;
}

// The name of a new, empty file.
std::string temporary_file() {
  std::string name = "/tmp/charpie-bench-XXXXXX";
  const int file = mkstemp(name.data());
  if (file >= 0) close(file);
  return name;
}

std::size_t mean_size(const std::vector<std::string>& texts) {
  std::size_t sum = 0;
  for (const auto& text : texts) sum += text.size();
  return sum / texts.size();
}

// The script, kept running: it answers each word on its input with the microseconds a record took it.
class NodePeer {
 public:
  NodePeer(const std::string& node, const std::string& records_file, const std::string& bundles_file) {
    int to_child[2], from_child[2];
    if (pipe(to_child) != 0 || pipe(from_child) != 0) return;
    child_ = fork();
    if (child_ == 0) {
      dup2(to_child[0], STDIN_FILENO);
      dup2(from_child[1], STDOUT_FILENO);
      for (const int end : {to_child[0], to_child[1], from_child[0], from_child[1]}) close(end);
      // One core for all: V8 compiles and collects on the same thread, which is the time that it counts.
      execlp(node.c_str(), node.c_str(), "--single-threaded",
             CHARPIE_SOURCE_DIR "/tests/bench/convert_peer.mjs", records_file.c_str(), bundles_file.c_str(),
             static_cast<char*>(nullptr));
      _exit(127);
    }
    close(to_child[0]);
    close(from_child[1]);
    to_ = fdopen(to_child[1], "w");
    from_ = fdopen(from_child[0], "r");
  }
  ~NodePeer() {
    if (to_ != nullptr) fclose(to_);
    if (from_ != nullptr) fclose(from_);
    if (child_ > 0) waitpid(child_, nullptr, 0);
  }
  NodePeer(const NodePeer&) = delete;
  NodePeer& operator=(const NodePeer&) = delete;

  // Negative when there is no such peer.
  double ask(const char* word) {
    char line[128];
    if (to_ == nullptr || fprintf(to_, "%s\n", word) < 0 || fflush(to_) != 0) return -1;
    return fgets(line, sizeof line, from_) == nullptr ? -1 : std::atof(line);
  }

 private:
  pid_t child_ = -1;
  FILE* to_ = nullptr;
  FILE* from_ = nullptr;
};

struct Side {
  std::string name;
  std::function<double()> run;  // microseconds a record
  std::vector<double> times{};
};

void print_ratio(const char* what, const std::vector<double>& ours, const std::vector<double>& theirs,
                 double target) {
  std::vector<double> ratios;
  for (std::size_t i = 0; i < ours.size(); ++i) ratios.push_back(theirs[i] / ours[i]);
  std::printf("  %-28s %8.3f   (target %.2f, lowest %.3f, highest %.3f)\n", what, median(ratios), target,
              *std::min_element(ratios.begin(), ratios.end()),
              *std::max_element(ratios.begin(), ratios.end()));
}

// The first side beside each of the others, with a target for each of these.
void compare(const char* what, std::vector<Side>& sides, int pairs, const std::vector<double>& targets) {
  for (auto& side : sides) side.run();  // warm
  for (int i = 0; i < pairs; ++i) {
    for (auto& side : sides) side.times.push_back(side.run());
  }
  std::printf("%s, microseconds a record (median of %d):\n", what, pairs);
  for (const auto& side : sides) std::printf("  %-28s %8.2f\n", side.name.c_str(), median(side.times));
  std::printf("speed of %s, times that of its peer (median of %d pairs):\n", sides[0].name.c_str(), pairs);
  for (std::size_t i = 1; i < sides.size(); ++i)
    print_ratio(sides[i].name.c_str(), sides[0].times, sides[i].times, targets[i - 1]);
}

// --- the whole program
// -------------------------------------------------------------------------------------------

struct WholeRun {
  double milliseconds = 0;
  long peak_kib = 0;
  int status = 0;
};

WholeRun run_program(const std::string& program, const std::string& input) {
  const auto start = Clock::now();
  const pid_t child = fork();
  if (child == 0) {
    const int nowhere = open("/dev/null", O_WRONLY);
    dup2(nowhere, STDOUT_FILENO);
    dup2(nowhere, STDERR_FILENO);
    execl(program.c_str(), program.c_str(), "convert", "--to", "fhir-r4", input.c_str(),
          static_cast<char*>(nullptr));
    _exit(127);
  }
  WholeRun run;
  rusage used{};
  wait4(child, &run.status, 0, &used);
  run.milliseconds = microseconds(Clock::now() - start) / 1000;
  run.peak_kib = used.ru_maxrss;
  return run;
}

void measure_program(const std::string& program, const std::vector<std::string>& records, bool million,
                     int pairs) {
  const std::string one = temporary_file();
  std::ofstream(one, std::ios::binary) << records.front() << '\n';
  std::vector<double> times;
  WholeRun last;
  for (int i = 0; i < pairs; ++i) times.push_back((last = run_program(program, one)).milliseconds);
  unlink(one.c_str());
  std::printf(
      "the whole program, 1 record: %.1f ms start to end (median of %d, target 15), peak %ld KiB, exit %d\n",
      median(times), pairs, last.peak_kib, WEXITSTATUS(last.status));
  if (!million) return;
  const std::string many = temporary_file();
  {
    std::ofstream out(many, std::ios::binary);
    for (int i = 0; i < 1000000; ++i) out << records[static_cast<std::size_t>(i) % records.size()] << '\n';
  }
  last = run_program(program, many);
  unlink(many.c_str());
  std::printf("the whole program, 1,000,000 records: %.1f s, peak %ld KiB (target 65536), exit %d\n",
              last.milliseconds / 1000, last.peak_kib, WEXITSTATUS(last.status));
}

int run(int argc, char** argv) {
  int pairs = 11;
  std::string node = "node", program, write_to;
  bool million = false;
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    if (word == "--pairs" && i + 1 < argc) pairs = std::max(1, std::atoi(argv[++i]));
    if (word == "--node" && i + 1 < argc) node = argv[++i];
    if (word == "--program" && i + 1 < argc) program = argv[++i];
    if (word == "--write" && i + 1 < argc) write_to = argv[++i];
    if (word == "--million") million = true;
  }
  std::signal(SIGPIPE, SIG_IGN);

  const double start = core_microseconds();
  const auto loaded = std::make_unique<Loaded>();
  std::printf("loading the tables: %.1f ms\n", (core_microseconds() - start) / 1000);

  const auto records = typical_records(loaded->terms, 200);
  const record::RecordReader record_reader;
  mapping::Writer writer(*loaded->mapping, {});
  mapping::Reader reader(*loaded->mapping, {});
  record::Findings findings;
  Arena arena;
  std::string out;
  const auto convert = [&](const std::string& text, mapping::Writer& into) {
    auto tree = must(syntax::read_json(text, arena, record_reader.names()));
    findings.begin("records.ndjson", {}, text, 1);
    const auto record = record_reader.read(*tree, text, arena, findings);
    if (!into.write_bundle(record, out)) std::exit(1);
  };
  std::vector<record::Record> back;
  const auto read_back = [&](const std::string& text) {
    auto tree = must(syntax::read_json(text, arena, loaded->mapping->names()));
    findings.begin("bundles.ndjson", {}, text, 1);
    reader.read(*tree, text, arena, findings, back);
  };

  std::vector<std::string> bundles;
  for (const auto& text : records) {
    out.clear();
    convert(text, writer);
    bundles.push_back(out);
    arena.reset();
    back.clear();
    read_back(bundles.back());
    if (back.size() != 1 || !findings.all().empty()) {
      std::cerr << "a record did not come back\n";
      return 1;
    }
    arena.reset();
  }
  if (!write_to.empty()) {
    std::ofstream(write_to, std::ios::binary) << records.front() << '\n' << bundles.front() << '\n';
    return 0;
  }
  std::size_t largest = 0;
  for (const auto& bundle : bundles) largest = std::max(largest, bundle.size());
  const std::string pattern(largest, 'x');
  std::printf("%zu records of %zu bytes, bundles of %zu bytes (means)\n", records.size(), mean_size(records),
              mean_size(bundles));

  const std::string file = temporary_file();
  {
    std::ofstream list(file, std::ios::binary);
    for (const auto& text : records) list << text << '\n';
  }
  // The judges are slow: a tenth of the Bundles is enough for them.
  const std::size_t judged = records.size() / 10;
  const std::string bundles_file = temporary_file();
  {
    std::ofstream list(bundles_file, std::ios::binary);
    for (std::size_t i = 0; i < judged; ++i) list << bundles[i] << '\n';
  }
  std::unique_ptr<NodePeer> peer;
  if (!node.empty()) {
    peer = std::make_unique<NodePeer>(node, file, bundles_file);
    const double size = peer->ask("size");
    if (size < 0) {
      std::printf("(no Node here: the script is left out)\n");
      peer.reset();
    } else {
      std::printf("Node's bundles: %.0f bytes (mean)\n", size);
    }
  }

  // Every side does all records some times over, long enough to be measured.
  constexpr int rounds = 10;
  const auto timed = [&](const std::function<void(std::size_t)>& one) {
    const double begin = core_microseconds();
    for (int round = 0; round < rounds; ++round) {
      for (std::size_t i = 0; i < records.size(); ++i) one(i);
    }
    return (core_microseconds() - begin) / (rounds * static_cast<double>(records.size()));
  };
  std::size_t events = 0;
  std::vector<Side> there = {{"charpie",
                              [&] {
                                return timed([&](std::size_t i) {
                                  out.clear();
                                  arena.reset();
                                  convert(records[i], writer);
                                });
                              }},
                             {"floor", [&] {
                                return timed([&](std::size_t i) {
                                  out.clear();
                                  events += floor_work(records[i], pattern, bundles[i].size(), out);
                                });
                              }}};
  // The way back gives a record's tree: nothing is written, as much is copied as the record has bytes.
  std::vector<Side> home = {{"charpie",
                             [&] {
                               return timed([&](std::size_t i) {
                                 arena.reset();
                                 back.clear();
                                 read_back(bundles[i]);
                               });
                             }},
                            {"floor", [&] {
                               return timed([&](std::size_t i) {
                                 out.clear();
                                 events += floor_work(bundles[i], pattern, records[i].size(), out);
                               });
                             }}};
  if (peer != nullptr) {
    there.push_back({"Node", [&] { return peer->ask("convert"); }});
    home.push_back({"Node", [&] { return peer->ask("back"); }});
  }
  mapping::Writer xml_writer(*loaded->mapping, {}, mapping::Notation::xml);
  std::vector<Side> in_xml = {{"charpie's XML",
                               [&] {
                                 return timed([&](std::size_t i) {
                                   out.clear();
                                   arena.reset();
                                   convert(records[i], xml_writer);
                                 });
                               }},
                              {"charpie's JSON", there[0].run}};
  const fhir::StrictReader strict_reader(*loaded->elements);
  std::vector<Side> strict = {
      {"charpie",
       [&] {
         const double begin = core_microseconds();
         for (int round = 0; round < rounds; ++round) {
           for (std::size_t i = 0; i < judged; ++i) {
             arena.reset();
             auto tree = must(syntax::read_json(bundles[i], arena, loaded->names));
             findings.begin("bundles.ndjson", {}, bundles[i], 1);
             strict_reader.read(*tree, findings);
             if (!findings.all().empty()) std::exit(1);
           }
         }
         return (core_microseconds() - begin) / (rounds * static_cast<double>(judged));
       }},
      {"the fastest judge", [&] { return peer == nullptr ? -1 : peer->ask("judge"); }}};
  compare("record to bundle", there, pairs, {0.20, 12});
  compare("bundle to record", home, pairs, {0.35, 3});
  compare("record to bundle in XML", in_xml, pairs, {0.5});
  if (strict[1].run() < 0) {
    std::printf("(the judges of tests/interop are not installed: strict reading is left out)\n");
  } else {
    compare("strict reading of a bundle", strict, pairs, {5});
  }
  peer.reset();
  unlink(file.c_str());
  unlink(bundles_file.c_str());
  if (!findings.all().empty()) std::cerr << findings.all().size() << " findings\n";

  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with("VmHWM")) std::printf("peak memory of this program: %s\n", line.c_str() + 6);
  }
  if (!program.empty()) measure_program(program, records, million, pairs);
  return events == 0;
}

}  // namespace
}  // namespace charpie::bench

int main(int argc, char** argv) {
  return charpie::bench::run(argc, argv);
}
