#include "say.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <linebench/base/error.hpp>

namespace linebench::app {

void hold_standard_streams() {
  for (const int fd : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
    if (::fcntl(fd, F_GETFD) != -1 || errno != EBADF) continue;
    // The lowest free number is the one that is missing. Output that nobody can get must fail when it is
    // written, so its place is held by something that can only be read.
    const int got = ::open("/dev/null", fd == STDERR_FILENO ? O_WRONLY : O_RDONLY);
    if (got >= 0 && got != fd) ::close(got);
  }
}

void say_text(const std::string& text) {
  (void)std::fwrite(text.data(), 1, text.size(), stderr);
  (void)std::fflush(stderr);
}

void print_text(const std::string& text) {
  if (std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0) return;
  const int why = errno;
  if (why == EPIPE) return;
  throw unusable(fmt::format("standard output: {}; send it to a place that can take it",
                             why == EBADF ? "is closed" : std::strerror(why)));
}

}  // namespace linebench::app
