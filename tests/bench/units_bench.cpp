// Validations and conversions of 800 distinct common codes per CPU second, uncached, one thread, against two
// libraries of others in the same run: rounds of ours and theirs in turn, the median ratio counts. usage:
// units_bench UNITS_PEER.MJS FOLDER (with the node_modules of tests/interop/units)
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <set>
#include <string>
#include <vector>

#include "base/tables.hpp"
#include "units/units.hpp"

namespace {

using Codes = std::vector<std::string>;

double cpu_seconds() {
  timespec time{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
  return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_nsec) / 1e9;
}

// Families whose members convert into each other, in the two libraries too: what laboratories, wards and
// wound charts write.
std::vector<Codes> families() {
  const Codes masses = {"kg", "g", "mg", "ug", "ng", "pg"}, amounts = {"mol", "mmol", "umol", "nmol", "pmol"},
              volumes = {"L", "dL", "mL", "uL"}, lengths = {"m", "cm", "mm", "um", "km", "[in_i]", "[ft_i]"},
              enzymes = {"U", "kU", "mU"}, energies = {"kcal", "kJ", "cal", "J"},
              areas = {"m2", "cm2", "mm2", "[sin_i]", "[sft_i]"};
  const Codes none = {""}, volumes_below = {"/L", "/dL", "/mL", "/uL"},
              times = {"/s", "/min", "/h", "/d", "/wk"}, masses_below = {"/kg", "/g", "/mg"},
              dosing = {"/kg/min", "/kg/h", "/kg/d", "/g/d"}, surface = {"/m2", "/cm2"},
              shifts = {"/(8.h)", "/(12.h)", "/(24.h)"}, surface_times = {"/m2/d", "/m2/h", "/m2/min"};
  std::vector<Codes> all = {
      {"s", "min", "h", "d", "wk", "mo", "a", "ms"},
      {"mm[Hg]", "kPa", "Pa", "cm[H2O]", "bar", "mbar", "atm", "[psi]"},
      {"Cel", "[degF]", "K"},
      {"/min", "/h", "/d", "/wk", "/s", "Hz"},
      {"[foz_us]", "[tsp_us]", "[tbs_us]", "[cup_us]", "[pt_us]", "[gal_us]", "mL", "L"},
      {"[lb_av]", "[oz_av]", "[gr]", "[stone_av]", "g", "kg"},
      {"10*3/uL", "10*6/uL", "10*9/L", "10*12/L", "/uL", "/L"},
      {"deg", "rad", "'", "gon"},
      {"mosm/kg", "osm/kg", "mmol/kg"},
      {"meq/L", "eq/L", "meq/dL"},
      {"%", "1", "10*-3", "[ppth]"},
      {"mV", "V", "kV", "uV"},
      {"kg/m2", "g/cm2", "g/m2"},
      {"mm/h", "cm/h", "mm/d", "cm/wk", "mm/wk"},
  };
  auto combine = [&](const Codes& above, const Codes& below) {
    Codes family;
    for (const auto& a : above) {
      for (const auto& b : below) family.push_back(a + b);
    }
    all.push_back(std::move(family));
  };
  for (const auto* above : {&masses, &amounts, &volumes, &lengths, &enzymes, &energies, &areas}) {
    for (const auto* below :
         {&none, &volumes_below, &times, &masses_below, &dosing, &surface, &shifts, &surface_times}) {
      combine(*above, *below);
    }
  }
  return all;
}

// Texts of a length, at which a check might take more than in proportion: nothing valid, much to mend.
void print_doubling(const charpie::units::Units& units) {
  std::printf("microseconds of a check, by length");
  constexpr std::size_t lengths[] = {30, 60, 120, 240};
  for (const auto length : lengths) std::printf(" %zu", length);
  std::printf("\n");
  for (const std::string piece : {"m.", "(", "s", "s.", "cm ", "cmx.", "inch/", "oz/", "10^", "\xC2\xB5g/",
                                  "MG/", "sq. ", "(m/s)2.", "m^", "m{a b}", "[iU].", "9", "m per "}) {
    std::printf("  %-8s", piece.c_str());
    for (const auto length : lengths) {
      std::string text;
      while (text.size() + piece.size() <= length) text += piece;
      text += 'q';
      double best = 1;
      for (int round = 0; round < 5; ++round) {
        const double start = cpu_seconds();
        for (int i = 0; i < 200; ++i) (void)units.check(text);
        best = std::min(best, (cpu_seconds() - start) / 200);
      }
      std::printf(" %7.1f", best * 1e6);
    }
    std::printf("\n");
  }
}

struct Peer {
  FILE* to = nullptr;
  FILE* from = nullptr;

  bool start(const char* script, const char* folder) {
    int down[2], up[2];
    if (pipe(down) != 0 || pipe(up) != 0) return false;
    const pid_t child = fork();
    if (child == 0) {
      dup2(down[0], 0);
      dup2(up[1], 1);
      close(down[1]);
      close(up[0]);
      execlp("node", "node", script, folder, static_cast<char*>(nullptr));
      _exit(127);
    }
    close(down[0]);
    close(up[1]);
    to = fdopen(down[1], "w");
    from = fdopen(up[0], "r");
    return child > 0;
  }
  bool line(char* buffer, int size) { return std::fgets(buffer, size, from) != nullptr; }
};

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) {
    std::fprintf(stderr, "usage: units_bench UNITS_PEER.MJS FOLDER_WITH_NODE_MODULES\n");
    return 2;
  }
  const double before_load = cpu_seconds();
  const auto loaded = charpie::units::Units::load(charpie::Tables(charpie::embedded_tables()));
  const double load = cpu_seconds() - before_load;
  if (!loaded) return 1;
  const auto& units = *loaded;

  Codes codes;
  std::vector<std::pair<std::string, std::string>> pairs;
  std::set<std::string> seen;
  for (const auto& family : families()) {
    for (std::size_t i = 0; i < family.size() && codes.size() < 800; ++i) {
      if (!units.valid(family[i])) {
        std::fprintf(stderr, "no code: %s\n", family[i].c_str());
        return 1;
      }
      if (!seen.insert(family[i]).second) continue;
      codes.push_back(family[i]);
      pairs.emplace_back(family[i], family[(i + 1) % family.size()]);
    }
  }
  std::printf("%zu distinct codes, tables loaded in %.2f ms of CPU\n", codes.size(), load * 1000);

  print_doubling(units);

  Peer peer;
  if (!peer.start(argv[1], argv[2])) return 1;
  std::string json = "{\"codes\":[";
  for (const auto& code : codes) json += (code == codes.front() ? "\"" : ",\"") + code + "\"";
  json += "],\"pairs\":[";
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    json += std::string(i == 0 ? "" : ",") + "[\"" + pairs[i].first + "\",\"" + pairs[i].second + "\"]";
  }
  std::fprintf(peer.to, "%s]}\n", json.c_str());
  std::fflush(peer.to);
  char line[256];
  if (!peer.line(line, sizeof line)) return 1;

  const double count = static_cast<double>(codes.size());
  std::size_t kept = 0;  // so that no work is left out
  auto rate = [&](int repeat, auto work) {
    const double start = cpu_seconds();
    for (int r = 0; r < repeat; ++r) work();
    return count * repeat / (cpu_seconds() - start);
  };
  auto validate = [&] {
    for (const auto& code : codes) kept += units.valid(code);
  };
  auto convert = [&] {
    for (const auto& [from, to] : pairs) kept += units.convert("7.25", from, to)->text.size();
  };
  for (const bool conversions : {false, true}) {
    const int ours_repeat = conversions ? 400 : 2000, theirs_repeat = conversions ? 40 : 200;
    std::vector<double> ours, atomic, lhc, over_atomic, over_lhc;
    for (int round = 0; round < 7; ++round) {
      const double mine = conversions ? rate(ours_repeat, convert) : rate(ours_repeat, validate);
      std::fprintf(peer.to, "%s %d\n", conversions ? "convert" : "validate", theirs_repeat);
      std::fflush(peer.to);
      double atomic_seconds = 0, lhc_seconds = 0;
      if (!peer.line(line, sizeof line) || std::sscanf(line, "%lf %lf", &atomic_seconds, &lhc_seconds) != 2)
        return 1;
      if (round == 0) continue;  // their just-in-time compiler warms up
      ours.push_back(mine);
      atomic.push_back(count * theirs_repeat / atomic_seconds);
      lhc.push_back(count * theirs_repeat / lhc_seconds);
      over_atomic.push_back(mine / atomic.back());
      over_lhc.push_back(mine / lhc.back());
    }
    std::printf("%s per CPU second: ours %.0f, atomic-ehr %.0f, ucum-lhc %.0f; ratios %.1f and %.1f\n",
                conversions ? "conversions" : "validations", median(ours), median(atomic), median(lhc),
                median(over_atomic), median(over_lhc));
  }
  std::fclose(peer.to);
  wait(nullptr);
  return kept == 0;
}
