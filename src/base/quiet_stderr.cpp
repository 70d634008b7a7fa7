#include <fcntl.h>
#include <unistd.h>

#include <cstdio>
#include <linebench/base/quiet_stderr.hpp>

namespace linebench {
namespace {

thread_local bool quiet = false;

ssize_t write_by_thread(void* /*cookie*/, const char* bytes, std::size_t count) {
  if (quiet) return static_cast<ssize_t>(count);
  return ::write(STDERR_FILENO, bytes, count);
}

}  // namespace

void quiet_this_thread() noexcept { quiet = true; }

void pass_stderr_by_thread() {
  static const bool done = [] {
    FILE* asks = ::fopencookie(
        nullptr, "w", {.read = nullptr, .write = &write_by_thread, .seek = nullptr, .close = nullptr});
    if (asks == nullptr) return false;
    (void)std::setvbuf(asks, nullptr, _IONBF, 0);
    (void)std::fflush(stderr);
    stderr = asks;  // the GNU C library's standard streams are variables; libraries print by this one
    return true;
  }();
  (void)done;
}

QuietStderr::QuietStderr() {
  const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
  if (nowhere < 0) return;
  (void)std::fflush(stderr);
  kept_ = fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, STDERR_FILENO + 1);
  if (kept_ >= 0) (void)dup2(nowhere, STDERR_FILENO);
  close(nowhere);
}

QuietStderr::~QuietStderr() {
  if (kept_ < 0) return;
  (void)std::fflush(stderr);
  (void)dup2(kept_, STDERR_FILENO);
  close(kept_);
}

}  // namespace linebench
