#include "progress_line.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <linebench/report/format.hpp>

#include "say.hpp"

namespace linebench::app {

struct ProgressLine::State {
  using Clock = std::chrono::steady_clock;
  std::string doing;
  Clock::time_point started = Clock::now();
  Clock::time_point drawn = started;
  bool on_screen = false;
};

ProgressLine::ProgressLine(std::string doing) : state_(std::make_shared<State>()) {
  constexpr std::size_t room = 50;
  state_->doing = report::printable(doing).substr(0, room);
}

ProgressLine::~ProgressLine() {
  if (state_->on_screen) say("\r{:79}\r", "");
}

Progress ProgressLine::progress() const {
  if (isatty(STDERR_FILENO) == 0) return {};
  return [s = state_](double share, std::string_view) {
    const auto now = State::Clock::now();
    if (now - s->started < std::chrono::seconds(1) || now - s->drawn < std::chrono::milliseconds(200)) return;
    s->drawn = now;
    s->on_screen = true;
    const double seconds = std::chrono::duration<double>(now - s->started).count();
    if (share > 0) {
      say("\r{}: {:3.0f} %, {:.0f} s left   ", s->doing, 100 * std::min(share, 1.0),
          seconds * (1 - std::min(share, 1.0)) / share);
    } else {
      say("\r{}: {:.0f} s   ", s->doing, seconds);
    }
  };
}

}  // namespace linebench::app
