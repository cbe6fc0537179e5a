// Texts of other character sets turned into UTF-8 and back, by name, through the C library's iconv
// (POSIX.1-2017, iconv()).
#pragma once
#include <memory>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace charpie::syntax {

/// Turns bytes of one character set into another, piece by piece. UTF-8 is taken strictly (base/utf8.hpp).
/// Not for use by two threads at once.
class Recoder {
 public:
  /// The name is one of iconv's ("ISO-8859-1", "WINDOWS-1252", "UTF-16LE", …; `iconv -l` lists them), in any
  /// case. Error::usage for a name that the C library does not know.
  static Result<Recoder> to_utf8(std::string_view charset);
  static Result<Recoder> from_utf8(std::string_view charset);
  Recoder(Recoder&&) noexcept;
  Recoder& operator=(Recoder&&) noexcept;
  ~Recoder();

  /// Takes bytes from the front of `bytes` and appends them to `out`; half a character at the end is left
  /// there for the next call. False when the next bytes are none of that character set, or stand for a
  /// character that the other one has not: `out` then ends before them and `bytes` begins with them.
  bool recode(std::string_view& bytes, std::string& out);
  /// Ends a text: appends what returns to the start state, in sets that have states.
  void finish(std::string& out);
  /// Begins a new text: forgets the state that the last one left behind.
  void restart();
  /// Whether bytes are only checked, never changed.
  bool is_plain() const { return state_ == nullptr; }
  /// Whether characters are units of several bytes each, as in UTF-16: behind a bad byte nobody knows where
  /// the next one begins.
  bool has_wide_units() const;

 private:
  struct State;
  explicit Recoder(std::unique_ptr<State> state);
  static Result<Recoder> open(std::string_view charset, bool to_utf8);
  std::unique_ptr<State> state_;  // none: UTF-8 on both sides
};

}  // namespace charpie::syntax
