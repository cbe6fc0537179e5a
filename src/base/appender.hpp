// Text written at the end of a string in many short pieces. Room is kept ahead of what is written, so that a
// piece is a few moves and no call.
#pragma once
#include <algorithm>
#include <cstddef>
#include <cstring>
#include <string>
#include <string_view>

namespace charpie {

/// Appends to a string that it borrows. Nobody else may touch the string until the Appender is gone: only
/// then is the string as long as what was written.
class Appender {
 public:
  explicit Appender(std::string& text)
      : text_(&text), begin_(text.data()), at_(begin_ + text.size()), end_(begin_) {}
  ~Appender() { text_->resize(size()); }
  Appender(const Appender&) = delete;
  Appender& operator=(const Appender&) = delete;

  /// Of the string, with what stood in it before.
  std::size_t size() const { return static_cast<std::size_t>(at_ - begin_); }
  /// Takes back what was written since the text had this size.
  void cut(std::size_t size) { at_ = begin_ + size; }

  Appender& operator+=(std::string_view piece) {
    char* const to = room(piece.size());
    copy(piece.data(), piece.size(), to);
    at_ = to + piece.size();
    return *this;
  }
  /// As +=, of a piece behind which `spare` more bytes can be read, whatever they are: then nothing has to be
  /// asked of most.
  [[gnu::always_inline]] void append_spared(std::string_view piece) {
    char* const to = room(piece.size());
    move<spare>(piece.data(), to);
    if (piece.size() > spare) std::memcpy(to + spare, piece.data() + spare, piece.size() - spare);
    at_ = to + piece.size();
  }
  static constexpr std::size_t spare = 64;
  Appender& operator+=(char c) {
    *room(1) = c;
    ++at_;
    return *this;
  }
  /// Once more what stands from `begin` to `end`.
  void repeat(std::size_t begin, std::size_t end) {
    char* const to = room(end - begin);
    std::memcpy(to, begin_ + begin, end - begin);
    at_ = to + (end - begin);
  }

 private:
  // Where so many bytes may be written, and `spare` more.
  char* room(std::size_t size) {
    if (end_ - at_ <= static_cast<std::ptrdiff_t>(size)) grow(size);
    return at_;
  }
  // Up to 64 bytes in pieces of one size that may lie upon each other: no loop.
  static void copy(const char* from, std::size_t size, char* to) {
    if (size > 64) {
      std::memcpy(to, from, size);
    } else if (size >= 32) {
      move_ends<32>(from, size, to);
    } else if (size >= 16) {
      move_ends<16>(from, size, to);
    } else if (size >= 8) {
      move_ends<8>(from, size, to);
    } else if (size >= 4) {
      move_ends<4>(from, size, to);
    } else {
      for (std::size_t i = 0; i < size; ++i) to[i] = from[i];
    }
  }
  template <std::size_t piece>
  static void move_ends(const char* from, std::size_t size, char* to) {
    move<piece>(from, to);
    move<piece>(from + size - piece, to + size - piece);
  }
  template <std::size_t size>
  static void move(const char* from, char* to) {
    std::memcpy(to, from, size);
  }

  // As much again as there is, so that a short text stays short.
  void grow(std::size_t size) {
    const auto written = this->size();
    text_->resize(written + spare + 1 +
                  std::max(size, std::clamp(written, std::size_t{256}, std::size_t{1} << 14)));
    begin_ = text_->data();
    at_ = begin_ + written;
    end_ = begin_ + text_->size() - spare;
  }

  std::string* text_;
  char *begin_, *at_;
  char* end_;  // of the room; before the first piece there is none
};

}  // namespace charpie
