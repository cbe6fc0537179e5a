// Errors are values: a Result holds either what was asked for or the Error that stopped the work.
// Bad data is not an Error: it is reported as a finding and the work goes on (record/finding.hpp).
#pragma once
#include <cstddef>
#include <string>
#include <utility>
#include <variant>

namespace charpie {

/// Why work stopped, where, and what to do about it, in words for a person.
struct Error {
  enum Kind { invalid, unreadable, unwritable, mapping_broken, usage };
  Kind kind = invalid;
  std::string message{};  // what is wrong
  std::string file{};     // the file concerned, or empty
  std::size_t line = 0;   // 1-based, 0 when there is none
  std::size_t column = 0;
  std::string mend{};  // what to do, or empty
};

/// Holds a T or an Error. `if (!result) return result.error();`
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}
  Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}
  explicit operator bool() const { return state_.index() == 0; }
  T& value() & { return std::get<0>(state_); }
  const T& value() const& { return std::get<0>(state_); }
  T&& value() && { return std::get<0>(std::move(state_)); }
  T& operator*() & { return value(); }
  const T& operator*() const& { return value(); }
  T&& operator*() && { return std::move(*this).value(); }
  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }
  const Error& error() const { return std::get<1>(state_); }
  Error& error() { return std::get<1>(state_); }

 private:
  std::variant<T, Error> state_;
};

/// The Result of work that gives nothing back.
using Outcome = Result<std::monostate>;

}  // namespace charpie
