// How fast sources are read, beside peers that run in turns with us in the same minutes: CSV beside Debian's
// miller, HL7 v2 beside the npm parser of tests/interop/sources, XML beside a bare pass of libxml2's reader.
// Seconds of the core are compared, of whole processes for CSV; only the ratios mean something on another
// machine. Data is invented.
//
//   sources_bench [--pairs N] [--mlr PATH] [--node PATH]    a peer that is not there is left out
#include <fcntl.h>
#include <libxml/xmlreader.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "syntax/csv_stream.hpp"
#include "syntax/er7.hpp"
#include "syntax/er7_stream.hpp"
#include "syntax/json_write.hpp"
#include "syntax/xml.hpp"
#include "syntax/xml_stream.hpp"

namespace charpie::bench {
namespace {

using namespace syntax;

double core_seconds() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) / 1e9;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const auto half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

std::string temporary_file(const std::string& bytes) {
  std::string name = "/tmp/charpie-bench-XXXXXX";
  const int file = mkstemp(name.data());
  if (file >= 0) close(file);
  std::ofstream(name, std::ios::binary) << bytes;
  return name;
}

class FileBytes final : public ByteSource {
 public:
  explicit FileBytes(const char* path) : file_(std::fopen(path, "rb")) {}
  ~FileBytes() override { std::fclose(file_); }
  FileBytes(const FileBytes&) = delete;
  FileBytes& operator=(const FileBytes&) = delete;
  Result<std::size_t> read(char* to, std::size_t size) override { return std::fread(to, 1, size, file_); }

 private:
  std::FILE* file_;
};

// --- CSV
// -------------------------------------------------------------------------------------------------------------

std::string table() {
  std::string text = "visit,patient,wound,performed,length,width,unit,exudate,odor,note\n";
  for (int i = 0; i < 200000; ++i) {
    const auto n = std::to_string(i);
    text += "V-" + n + ",P-" + std::to_string(i / 20) + ",1,2026-03-02T10:30+00:00,4." +
            std::to_string(i % 10) + ",2.5,cm,";
    text += i % 3 == 0 ? "moderate,none,\"looks clean, edges \"\"rolled\"\"\"\n" : "small,,as before\n";
  }
  return text;
}

// The rows as JSON on standard output, as the peer writes them.
int print_rows(const char* path) {
  FileBytes source(path);
  CsvRows rows(source);
  const auto header = rows.header();
  if (!header) return 1;
  JsonPiece piece;
  Arena arena;
  const Names names;
  std::string out;
  while (rows.next(piece)) {
    arena.reset();
    const auto row = read_csv_row(piece.bytes, *header, {}, arena, names);
    if (!row) return 1;
    append_json(**row, out);
    out += '\n';
    if (out.size() < 1u << 16) continue;
    std::fwrite(out.data(), 1, out.size(), stdout);
    out.clear();
  }
  std::fwrite(out.data(), 1, out.size(), stdout);
  return 0;
}

// Seconds of the core that a process takes; negative when it fails.
double process_seconds(const std::vector<std::string>& words) {
  const pid_t child = fork();
  if (child == 0) {
    const int nowhere = open("/dev/null", O_WRONLY);
    dup2(nowhere, STDOUT_FILENO);
    dup2(nowhere, STDERR_FILENO);
    std::vector<char*> arguments;
    for (const auto& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    execvp(arguments[0], arguments.data());
    _exit(127);
  }
  int status = 0;
  rusage used{};
  wait4(child, &status, 0, &used);
  if (status != 0) return -1;
  const auto seconds = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) / 1e6;
  };
  return seconds(used.ru_utime) + seconds(used.ru_stime);
}

// --- HL7 v2
// ----------------------------------------------------------------------------------------------------------

std::string messages() {
  std::string text;
  for (int i = 0; i < 2000; ++i) {
    const auto n = std::to_string(i);
    text += "MSH|^~\\&|CHART|HOME|HUB|HOME|20260302103000+0000||ORU^R01^ORU_R01|" + n +
            "|P|2.5.1||||||UNICODE UTF-8\r";
    text += "PID|1||P-" + n + "^^^HOME&1.2.3&ISO^PI||Invented^Name||19500101|F\rPV1|1|H\r";
    text += "OBR|1|O-" + n + "||39135-9^Wound assessment^LN|||20260302103000+0000||||||||||||||||||F\r";
    for (int k = 1; k <= 12; ++k) {
      text += "OBX|" + std::to_string(k) + "|NM|39125-0^Width of wound^LN^W^width^L|1|4." +
              std::to_string(k) + "|cm^centimeter^UCUM|||||F|||20260302103000+0000\r";
      if (k % 4 == 0) text += "NTE|1|L|looks clean \\T\\ dry, see \\.br\\ below\r";
    }
  }
  return text;
}

double read_messages(const std::string& text) {
  const double begin = core_seconds();
  TextSource source(text);
  Er7Stream stream(source);
  JsonPiece piece;
  Arena arena;
  const Names names;
  while (stream.next(piece)) {
    arena.reset();
    if (!read_er7(piece.bytes, arena, names)) return -1;
  }
  return core_seconds() - begin;
}

// The script, kept running: it answers each line with the microseconds of a pass.
class NodePeer {
 public:
  NodePeer(const std::string& node, const std::string& file) {
    int to_child[2], from_child[2];
    if (pipe(to_child) != 0 || pipe(from_child) != 0) return;
    child_ = fork();
    if (child_ == 0) {
      dup2(to_child[0], STDIN_FILENO);
      dup2(from_child[1], STDOUT_FILENO);
      for (const int end : {to_child[0], to_child[1], from_child[0], from_child[1]}) close(end);
      execlp(node.c_str(), node.c_str(), "--single-threaded",
             CHARPIE_SOURCE_DIR "/tests/bench/sources_peer.mjs", file.c_str(), static_cast<char*>(nullptr));
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

  // Seconds of the core; negative when there is no such peer.
  double pass() {
    char line[64];
    if (to_ == nullptr || fprintf(to_, "pass\n") < 0 || fflush(to_) != 0) return -1;
    return fgets(line, sizeof line, from_) == nullptr ? -1 : std::atof(line) / 1e6;
  }

 private:
  pid_t child_ = -1;
  FILE* to_ = nullptr;
  FILE* from_ = nullptr;
};

// --- XML
// -------------------------------------------------------------------------------------------------------------

std::string documents() {
  std::string text = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<visits xmlns=\"urn:invented:visits\">\n";
  for (int i = 0; i < 20000; ++i) {
    text += "  <visit id=\"V-" + std::to_string(i) +
            "\" status=\"final\">\n    <patient id=\"P-1\" system=\"urn:invented\"/>\n    <size>";
    text +=
        "<length unit=\"cm\">4.0</length><width unit=\"cm\">2.5</width></size>\n    <note>looks clean &amp; "
        "dry</note>\n  </visit>\n";
  }
  return text + "</visits>\n";
}

double cut_documents(const std::string& text) {
  const double begin = core_seconds();
  TextSource source(text);
  XmlStream stream(source, {});
  XmlPiece piece;
  std::size_t records = 0;
  while (stream.next(piece)) {
    if (piece.error) return -1;
    ++records;
  }
  return records == 20000 ? core_seconds() - begin : -1;
}

double cut_and_read_documents(const std::string& text) {
  const double begin = core_seconds();
  TextSource source(text);
  XmlStream stream(source, {});
  XmlPiece piece;
  Arena arena;
  const Names names;
  while (stream.next(piece)) {
    arena.reset();
    if (piece.error || !read_xml(piece.bytes, arena, names, {{}, false, piece.context})) return -1;
  }
  return core_seconds() - begin;
}

double bare_pass(const std::string& text) {
  const double begin = core_seconds();
  xmlTextReaderPtr reader =
      xmlReaderForMemory(text.data(), static_cast<int>(text.size()), nullptr, nullptr, XML_PARSE_NONET);
  int state = 0;
  while ((state = xmlTextReaderRead(reader)) == 1) {
  }
  xmlFreeTextReader(reader);
  return state == 0 ? core_seconds() - begin : -1;
}

// --- all of it
// -------------------------------------------------------------------------------------------------------

// Runs both in turns and prints how often we are as fast as the peer.
void compare(const char* what, int pairs, double target, std::size_t bytes,
             const std::function<double()>& ours, const std::function<double()>& theirs) {
  if (ours() < 0) {
    std::printf("%-44s failed\n", what);
    return;
  }
  std::vector<double> mine, ratios;
  for (int i = 0; i < pairs; ++i) {
    mine.push_back(ours());
    const double peer = theirs();
    if (peer < 0) {
      std::printf("%-44s no peer here; ours %.1f MB a second of the core\n", what,
                  static_cast<double>(bytes) / 1e6 / mine.back());
      return;
    }
    ratios.push_back(peer / mine.back());
  }
  std::printf(
      "%-44s %7.2f times (target %.1f, lowest %.2f, highest %.2f); ours %.1f MB a second of the core\n", what,
      median(ratios), target, *std::min_element(ratios.begin(), ratios.end()),
      *std::max_element(ratios.begin(), ratios.end()), static_cast<double>(bytes) / 1e6 / median(mine));
}

int run(int count, char** arguments) {
  int pairs = 9;
  std::string mlr = "mlr", node = "node";
  for (int i = 1; i < count; ++i) {
    const std::string_view word = arguments[i];
    if (word == "--print-rows" && i + 1 < count) return print_rows(arguments[i + 1]);
    if (word == "--pairs" && i + 1 < count) pairs = std::max(1, std::atoi(arguments[++i]));
    if (word == "--mlr" && i + 1 < count) mlr = arguments[++i];
    if (word == "--node" && i + 1 < count) node = arguments[++i];
  }
  std::signal(SIGPIPE, SIG_IGN);

  const std::string rows = table();
  const std::string rows_file = temporary_file(rows);
  compare(
      "CSV to JSON, miller's", pairs, 1, rows.size(),
      [&] {
        return process_seconds({"/proc/self/exe", "--print-rows", rows_file});
      },
      [&] {
        return process_seconds({mlr, "--icsv", "--ojsonl", "cat", rows_file});
      });
  unlink(rows_file.c_str());

  const std::string hl7 = messages();
  const std::string hl7_file = temporary_file(hl7);
  {
    NodePeer peer(node, hl7_file);
    compare(
        "HL7 v2 to trees, the npm parser's", pairs, 10, hl7.size(), [&] { return read_messages(hl7); },
        [&] { return peer.pass(); });
  }
  unlink(hl7_file.c_str());

  const std::string xml = documents();
  compare(
      "XML cut into records, a bare pass's", pairs, 0.4, xml.size(), [&] { return cut_documents(xml); },
      [&] { return bare_pass(xml); });
  compare(
      "XML cut and read into trees, a bare pass's", pairs, 0.4, xml.size(),
      [&] { return cut_and_read_documents(xml); }, [&] { return bare_pass(xml); });
  return 0;
}

}  // namespace
}  // namespace charpie::bench

int main(int count, char** arguments) {
  return charpie::bench::run(count, arguments);
}
