// A process of its own that is killed at any moment, and what it said before.
#pragma once

#include <signal.h>  // NOLINT(modernize-deprecated-headers): kill() is not in <csignal>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <optional>
#include <stdexcept>
#include <string>
#include <thread>

namespace fault_test {

/// LINEBENCH_TEST_LONG: ten times the kills.
inline int kills() { return std::getenv("LINEBENCH_TEST_LONG") != nullptr ? 200 : 20; }

/// Sends the signal (0: none), waits for the end and forgets the process. @return exit status, 128 + signal
/// when it was killed.
inline int end_process(pid_t& id, int signal) {
  if (signal != 0) ::kill(id, signal);
  int status = 0;
  (void)waitpid(id, &status, 0);
  id = -1;
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

class Child {
 public:
  /// Says to the outside what a person has been shown; what is said before a kill is never lost.
  using Say = std::function<void(std::uint64_t)>;

  explicit Child(const std::function<void(const Say&)>& work) {
    if (pipe(ends_) != 0) throw std::runtime_error("pipe");
    (void)std::fflush(nullptr);
    id_ = fork();
    if (id_ < 0) throw std::runtime_error("fork");
    if (id_ > 0) {
      close(ends_[1]);
      return;
    }
    close(ends_[0]);
    int exit = 0;
    try {
      work([this](std::uint64_t shown) { (void)!write(ends_[1], &shown, sizeof shown); });
    } catch (const std::exception& e) {
      (void)std::fprintf(stderr, "  in the other process: %s\n", e.what());
      exit = 1;
    }
    (void)std::fflush(nullptr);
    _exit(exit);
  }
  ~Child() {
    if (id_ > 0) (void)end(SIGKILL);
    close(ends_[0]);
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  /// The next thing it says; none when it has ended.
  std::optional<std::uint64_t> next() {
    std::uint64_t shown = 0;
    if (read(ends_[0], &shown, sizeof shown) != sizeof shown) return std::nullopt;
    last_ = shown;
    return shown;
  }
  /// Kills it `after` from now. @return the last it had said, none where it had said nothing.
  std::optional<std::uint64_t> kill_after(std::chrono::microseconds after) {
    std::this_thread::sleep_for(after);
    (void)end(SIGKILL);
    while (next()) {
    }
    return last_;
  }
  /// Waits for the end. @return exit status, 128 + signal when it was killed.
  int wait() { return end(0); }

 private:
  int end(int signal) { return end_process(id_, signal); }

  int ends_[2] = {-1, -1};
  pid_t id_ = -1;
  std::optional<std::uint64_t> last_;
};

}  // namespace fault_test
