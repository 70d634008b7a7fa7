// A progress line on standard error, for work that takes longer than a second, and only on a terminal.
#pragma once

#include <chrono>
#include <linebench/base/progress.hpp>
#include <memory>
#include <string>

namespace linebench::app {

class ProgressLine {
 public:
  /// @param doing what is being done, e.g. "measuring gate.wav".
  explicit ProgressLine(std::string doing);
  /// Wipes the line.
  ~ProgressLine();
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;

  /// To hand to the work; must not outlive this. Empty when standard error is no terminal.
  [[nodiscard]] Progress progress() const;

 private:
  struct State;
  std::shared_ptr<State> state_;
};

}  // namespace linebench::app
