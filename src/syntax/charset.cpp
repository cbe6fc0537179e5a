#include "syntax/charset.hpp"

#include <iconv.h>

#include <algorithm>
#include <cerrno>

#include "base/utf8.hpp"

namespace charpie::syntax {

namespace {

constexpr std::size_t longest_name = 64;

// A slash would ask iconv for more than a name ("//TRANSLIT" replaces characters, "//IGNORE" drops them).
bool is_name(std::string_view name) {
  return !name.empty() && name.size() <= longest_name && std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
           std::string_view("-_.:+()").find(c) != std::string_view::npos;
  });
}

// Names are known in any case.
std::string in_capitals(std::string_view name) {
  std::string upper;
  for (const char c : name) upper += c >= 'a' && c <= 'z' ? static_cast<char>(c - 32) : c;
  return upper;
}

bool is_utf8_name(std::string_view name) {
  const auto upper = in_capitals(name);
  return upper == "UTF-8" || upper == "UTF8";
}

bool is_wide_name(std::string_view name) {
  const auto upper = in_capitals(name);
  return upper.starts_with("UTF") || upper.starts_with("UCS") || upper.starts_with("UNICODE");
}

// Bytes at the end that may be the front of a character whose rest is still to come; RFC 3629, section 3.
std::size_t unfinished(std::string_view bytes) {
  for (std::size_t back = 1; back <= 3 && back <= bytes.size(); ++back) {
    const auto byte = static_cast<unsigned char>(bytes[bytes.size() - back]);
    if ((byte & 0xC0) == 0x80) continue;
    const std::size_t wanted = byte >= 0xF0 && byte < 0xF5   ? 4
                               : byte >= 0xE0 && byte < 0xF0 ? 3
                               : byte >= 0xC2 && byte < 0xE0 ? 2
                                                             : 1;
    return wanted > back ? back : 0;
  }
  return 0;
}

}  // namespace

struct Recoder::State {
  iconv_t handle;
  bool is_wide;
  State(iconv_t opened, bool wide) : handle(opened), is_wide(wide) {}
  ~State() { iconv_close(handle); }
  State(const State&) = delete;
  State& operator=(const State&) = delete;
};

Recoder::Recoder(std::unique_ptr<State> state) : state_(std::move(state)) {}
Recoder::Recoder(Recoder&&) noexcept = default;
Recoder& Recoder::operator=(Recoder&&) noexcept = default;
Recoder::~Recoder() = default;

Result<Recoder> Recoder::open(std::string_view charset, bool to_utf8) {
  if (is_utf8_name(charset)) return Recoder(nullptr);
  const auto unknown = [] {
    return Error{Error::usage,
                 "the character set has no known name",
                 {},
                 0,
                 0,
                 "name it as `iconv -l` lists it, or save the text as UTF-8"};
  };
  if (!is_name(charset)) return unknown();
  const std::string name(charset);
  const iconv_t handle = to_utf8 ? iconv_open("UTF-8", name.c_str()) : iconv_open(name.c_str(), "UTF-8");
  if (handle == reinterpret_cast<iconv_t>(-1)) return unknown();
  return Recoder(std::make_unique<State>(handle, is_wide_name(name)));
}

Result<Recoder> Recoder::to_utf8(std::string_view charset) {
  return open(charset, true);
}
Result<Recoder> Recoder::from_utf8(std::string_view charset) {
  return open(charset, false);
}

bool Recoder::recode(std::string_view& bytes, std::string& out) {
  if (state_ == nullptr) {
    const std::size_t good = utf8_valid_prefix(bytes);
    out += bytes.substr(0, good);
    bytes.remove_prefix(good);
    return bytes.size() <= unfinished(bytes);
  }
  while (!bytes.empty()) {
    char room[16 << 10];
    char* to = room;
    std::size_t left = sizeof room;
    char* from = const_cast<char*>(bytes.data());  // iconv's signature; it does not write there
    std::size_t rest = bytes.size();
    const auto done = ::iconv(state_->handle, &from, &rest, &to, &left);
    const int why = errno;
    out.append(room, static_cast<std::size_t>(to - room));
    bytes.remove_prefix(bytes.size() - rest);
    if (done != static_cast<std::size_t>(-1)) return true;
    if (why == EINVAL) return true;  // half a character
    if (why != E2BIG) return false;
  }
  return true;
}

bool Recoder::has_wide_units() const {
  return state_ != nullptr && state_->is_wide;
}

void Recoder::finish(std::string& out) {
  if (state_ == nullptr) return;
  char room[64];
  char* to = room;
  std::size_t left = sizeof room;
  (void)::iconv(state_->handle, nullptr, nullptr, &to, &left);
  out.append(room, static_cast<std::size_t>(to - room));
}

void Recoder::restart() {
  if (state_ != nullptr) (void)::iconv(state_->handle, nullptr, nullptr, nullptr, nullptr);
}

}  // namespace charpie::syntax
