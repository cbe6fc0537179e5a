// Replays the fuzz target's corpus, crash cases included, in every ordinary test run.
#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <vector>

#define LLVMFuzzerTestOneInput json_fuzz_one_input
#include "fuzz/json_fuzz.cpp"
#undef LLVMFuzzerTestOneInput

TEST_CASE("the corpus of the json fuzz target") {
  std::size_t count = 0;
  for (const auto& entry :
       std::filesystem::directory_iterator(CHARPIE_SOURCE_DIR "/tests/fuzz/corpus/json")) {
    INFO(entry.path().filename().string());
    std::ifstream in(entry.path(), std::ios::binary);
    const std::vector<char> bytes((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
    // A broken promise aborts there; the name above says with which file.
    CHECK(json_fuzz_one_input(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()) == 0);
    ++count;
  }
  CHECK(count >= 6);
}
