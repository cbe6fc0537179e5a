#include "bench/convert_floor.hpp"

#include <rapidjson/memorystream.h>
#include <rapidjson/reader.h>

namespace charpie::bench {

namespace {

// Counts, so that the events are not empty to the compiler.
struct CountingHandler {
  std::size_t events = 0;
  bool seen() {
    ++events;
    return true;
  }
  bool Null() { return seen(); }
  bool Bool(bool) { return seen(); }
  bool Int(int) { return seen(); }
  bool Uint(unsigned) { return seen(); }
  bool Int64(std::int64_t) { return seen(); }
  bool Uint64(std::uint64_t) { return seen(); }
  bool Double(double) { return seen(); }
  bool RawNumber(const char*, rapidjson::SizeType, bool) { return seen(); }
  bool String(const char*, rapidjson::SizeType, bool) { return seen(); }
  bool Key(const char*, rapidjson::SizeType, bool) { return seen(); }
  bool StartObject() { return seen(); }
  bool EndObject(rapidjson::SizeType) { return seen(); }
  bool StartArray() { return seen(); }
  bool EndArray(rapidjson::SizeType) { return seen(); }
};

}  // namespace

std::size_t floor_work(std::string_view input, std::string_view pattern, std::size_t output_bytes,
                       std::string& out) {
  // In situ parsing writes into its input: a copy of it, as any program makes that reads a file.
  static thread_local std::string buffer;
  buffer.assign(input);
  rapidjson::InsituStringStream stream(buffer.data());
  rapidjson::Reader reader;
  CountingHandler handler;
  constexpr unsigned flags = rapidjson::kParseInsituFlag | rapidjson::kParseValidateEncodingFlag |
                             rapidjson::kParseNumbersAsStringsFlag;
  reader.Parse<flags>(stream, handler);
  out.append(pattern, 0, output_bytes);
  return handler.events;
}

}  // namespace charpie::bench
