// A progress bar with an input meter on standard error, while a sound session runs; only on a terminal.
#pragma once

#include <linebench/capture/session.hpp>
#include <string>

namespace linebench::app {

struct MeterStyle {
  std::size_t width = 80;
  bool unicode = false;
  bool colour = false;
};

/// One line: bar, time, level of each channel (rms, dBFS per AES17, and a bar), what went wrong so far.
[[nodiscard]] std::string meter_line(const capture::SessionStatus& status, const MeterStyle& style);

/// "peak -3.1 dBFS left, -3.4 right", and a word where the input was overdriven or nearly silent.
[[nodiscard]] std::string level_words(const std::vector<capture::ChannelLevel>& levels);

class Meter {
 public:
  Meter();
  /// Wipes the line.
  ~Meter();
  Meter(const Meter&) = delete;
  Meter& operator=(const Meter&) = delete;
  /// To hand to a session; must not outlive this. Empty where standard error is no terminal that can redraw a
  /// line.
  [[nodiscard]] capture::SessionWatch watch();

 private:
  bool drawn_ = false;
};

}  // namespace linebench::app
