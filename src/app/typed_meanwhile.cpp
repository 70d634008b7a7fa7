#include "typed_meanwhile.hpp"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <utility>

namespace linebench::app {

struct TypedMeanwhile::Saved {
  termios mode{};
};

TypedMeanwhile::TypedMeanwhile() {
  termios mode{};
  if (isatty(STDIN_FILENO) == 0 || ::tcgetattr(STDIN_FILENO, &mode) != 0) return;
  saved_ = std::make_unique<Saved>(Saved{mode});
  mode.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);  // Ctrl-C stays a signal
  mode.c_cc[VMIN] = 0;
  mode.c_cc[VTIME] = 0;
  (void)::tcsetattr(STDIN_FILENO, TCSANOW, &mode);
}

TypedMeanwhile::~TypedMeanwhile() {
  if (saved_) (void)::tcsetattr(STDIN_FILENO, TCSANOW, &saved_->mode);
}

void TypedMeanwhile::take() {
  pollfd input{STDIN_FILENO, POLLIN, 0};
  while (saved_ && ::poll(&input, 1, 0) > 0) {
    char block[256];
    const ssize_t got = ::read(STDIN_FILENO, block, sizeof block);
    if (got <= 0) return;
    raw_.append(block, static_cast<std::size_t>(got));
  }
}

std::optional<std::string> TypedMeanwhile::line() {
  take();
  while (!raw_.empty()) {
    const char c = raw_.front();
    raw_.erase(0, 1);
    if (c == '\n' || c == '\r') return std::exchange(typed_, {});
    if (c == '\x7f' || c == '\b') {
      // A character is all its bytes.
      while (!typed_.empty() && (static_cast<unsigned char>(typed_.back()) & 0xC0) == 0x80) typed_.pop_back();
      if (!typed_.empty()) typed_.pop_back();
    } else if (static_cast<unsigned char>(c) >= 0x20) {
      typed_ += c;
    }
  }
  return std::nullopt;
}

}  // namespace linebench::app
