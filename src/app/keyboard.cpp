#include "keyboard.hpp"

#include <poll.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <cstdlib>
#include <cstring>
#include <linebench/report/format.hpp>

namespace linebench::app {

struct LiveTerminal::Saved {
  termios mode{};
};

namespace {

// All or nothing matters little here; what a terminal does not take is lost.
void put(const std::string& text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const ssize_t n = ::write(STDOUT_FILENO, text.data() + at, text.size() - at);
    if (n <= 0) return;
    at += static_cast<std::size_t>(n);
  }
}

}  // namespace

bool LiveTerminal::possible() {
  const char* term = std::getenv("TERM");
  return isatty(STDIN_FILENO) != 0 && isatty(STDOUT_FILENO) != 0 && term != nullptr && *term != '\0' &&
         std::strcmp(term, "dumb") != 0;
}

LiveTerminal::LiveTerminal() : saved_(new Saved) {
  ::tcgetattr(STDIN_FILENO, &saved_->mode);
  termios raw = saved_->mode;
  raw.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);  // Ctrl-C stays a signal
  raw.c_cc[VMIN] = 0;
  raw.c_cc[VTIME] = 0;
  ::tcsetattr(STDIN_FILENO, TCSANOW, &raw);
  put("\x1b[?1049h\x1b[?25l\x1b[2J");
}

LiveTerminal::~LiveTerminal() {
  put("\x1b[?25h\x1b[?1049l");
  ::tcsetattr(STDIN_FILENO, TCSANOW, &saved_->mode);
  delete saved_;
}

void LiveTerminal::draw(const std::vector<std::string>& lines) {
  std::string text = "\x1b[H";
  for (std::size_t i = 0; i < lines.size(); ++i) {
    text += lines[i] + "\x1b[K";
    if (i + 1 < lines.size()) text += "\r\n";
  }
  text += "\x1b[J";
  if (text == drawn_) return;
  put(text);
  drawn_ = std::move(text);
}

std::optional<std::string> LiveTerminal::key(std::chrono::milliseconds most) {
  if (waiting_.empty()) {
    pollfd p{STDIN_FILENO, POLLIN, 0};
    if (::poll(&p, 1, static_cast<int>(most.count())) <= 0) return std::nullopt;
    char buffer[64];
    const ssize_t n = ::read(STDIN_FILENO, buffer, sizeof buffer);
    if (n <= 0) {
      ::usleep(static_cast<useconds_t>(most.count() * 1000));  // end of input is always "ready"
      return std::nullopt;
    }
    waiting_.assign(buffer, static_cast<std::size_t>(n));
  }
  const char first = waiting_.front();
  if (first == '\x1b' && waiting_.size() > 1) {  // a key that sends more than one character
    waiting_.clear();
    return std::nullopt;
  }
  const std::size_t n = std::max<std::size_t>(1, report::character_length(waiting_));
  std::string one = waiting_.substr(0, n);
  waiting_.erase(0, n);
  if (one == "\r" || one == "\n") return "enter";
  if (one == "\x7f" || one == "\b") return "back";
  if (one == "\x1b") return "escape";
  return one;
}

LiveTerminal::Size LiveTerminal::size() const {
  winsize w{};
  Size out;
  if (::ioctl(STDOUT_FILENO, TIOCGWINSZ, &w) == 0 && w.ws_col > 0) out = {w.ws_col, w.ws_row};
  return out;
}

}  // namespace linebench::app
