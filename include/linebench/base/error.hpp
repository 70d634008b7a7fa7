// How the program gives up: one clear line that says what, where and what to do.
#pragma once

#include <stdexcept>
#include <string>

namespace linebench {

/// Exit codes of every command (the command line's contract).
enum class Exit : int {
  Ok = 0,           ///< done and within limits
  OutOfLimits = 1,  ///< done and out of limits, or a fault found
  Usage = 2,        ///< bad usage
  Unusable = 3,     ///< the input or the device could not be used
  Interrupted = 4,  ///< interrupted; what was taken is kept
};

/// An error with the exit code it leads to. The message is one line for a person:
/// "what (where): why; what to do".
class Error : public std::runtime_error {
 public:
  Error(Exit exit, const std::string& line) : std::runtime_error(line), exit_(exit) {}
  [[nodiscard]] Exit exit() const noexcept { return exit_; }

 private:
  Exit exit_;
};

/// The input or the device cannot be used (exit 3).
[[nodiscard]] inline Error unusable(const std::string& line) { return {Exit::Unusable, line}; }
/// The command was called wrongly (exit 2).
[[nodiscard]] inline Error bad_usage(const std::string& line) { return {Exit::Usage, line}; }

}  // namespace linebench
