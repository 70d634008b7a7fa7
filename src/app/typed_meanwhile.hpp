// Lines typed while something runs that redraws a line of its own.
#pragma once

#include <memory>
#include <optional>
#include <string>

namespace linebench::app {

/// Takes keys without their echo for as long as it lives, so that a line that is redrawn and what is typed do
/// not write over each other. Where standard input is no terminal nothing is read: what is piped in answers
/// the steps to come.
class TypedMeanwhile {
 public:
  TypedMeanwhile();
  ~TypedMeanwhile();
  TypedMeanwhile(const TypedMeanwhile&) = delete;
  TypedMeanwhile& operator=(const TypedMeanwhile&) = delete;

  /// A whole line, where one was ended with Enter. Never waits.
  [[nodiscard]] std::optional<std::string> line();
  /// What was typed of the next line, to be shown.
  [[nodiscard]] const std::string& so_far() const { return typed_; }

 private:
  void take();
  struct Saved;
  std::unique_ptr<Saved> saved_;  // nothing where standard input is no terminal
  std::string raw_, typed_;
};

}  // namespace linebench::app
