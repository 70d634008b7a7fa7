#include <fcntl.h>
#include <unistd.h>

#include <cstdio>
#include <linebench/base/quiet_stderr.hpp>

namespace linebench {

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
