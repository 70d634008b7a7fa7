// A terminal of its own for the program: keys are typed, the screen is read, as a person would.
#pragma once

#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <regex>
#include <stdexcept>
#include <string>
#include <vector>
#include <where.hpp>

namespace check_test {

class Terminal {
 public:
  /// @param columns of the screen. LINEBENCH_HOME is `home`. @param program that is run.
  Terminal(const std::string& home, const std::vector<std::string>& arguments, unsigned short columns = 80,
           std::string program = LINEBENCH_PROGRAM) {
    winsize size{};
    size.ws_row = 40;
    size.ws_col = columns;
    child_ = forkpty(&screen_, nullptr, nullptr, &size);
    if (child_ < 0) throw std::runtime_error("forkpty");
    if (child_ == 0) {
      setenv("LINEBENCH_HOME", home.c_str(), 1);
      setenv("LC_ALL", "C.UTF-8", 1);
      setenv("TERM", "xterm", 1);
      unsetenv("COLUMNS");
      unsetenv("NO_COLOR");
      std::vector<char*> argv;
      argv.push_back(program.data());
      std::vector<std::string> copies = arguments;
      for (std::string& a : copies) argv.push_back(a.data());
      argv.push_back(nullptr);
      execv(program.c_str(), argv.data());
      _exit(127);
    }
  }
  ~Terminal() {
    if (child_ > 0) {
      ::kill(child_, SIGKILL);
      (void)waitpid(child_, nullptr, 0);
    }
    close(screen_);
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;

  /// Reads until the text stands on the screen after what was waited for before. False after `seconds`.
  bool wait_for(const std::string& text, double seconds = 60) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
    for (;;) {
      if (const auto at = all_.find(text, from_); at != std::string::npos) {
        from_ = at + text.size();
        return true;
      }
      if (std::chrono::steady_clock::now() > end || !read_some())
        return all_.find(text, from_) != std::string::npos;
    }
  }
  /// The same for what a pattern matches: a busy machine leaves out steps of a meter.
  bool wait_for_match(const std::string& pattern, double seconds = 60) {
    const std::regex wanted(pattern);
    const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
    for (bool more = true; more && std::chrono::steady_clock::now() < end; more = read_some()) {
      std::smatch m;
      const auto begin = all_.cbegin() + static_cast<std::ptrdiff_t>(from_);
      if (!std::regex_search(begin, all_.cend(), m, wanted)) continue;
      from_ = static_cast<std::size_t>(m[0].second - all_.cbegin());
      return true;
    }
    return false;
  }
  void type(const std::string& keys) { (void)!write(screen_, keys.data(), keys.size()); }
  void line(const std::string& text) { type(text + "\r"); }
  void kill(int signal) { ::kill(child_, signal); }

  /// Waits for the end. @return the exit status, 128 + signal when it was killed.
  int finish() {
    while (read_some()) {
    }
    int status = 0;
    (void)waitpid(child_, &status, 0);
    child_ = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  }
  [[nodiscard]] const std::string& screen() const { return all_; }

 private:
  bool read_some() {
    pollfd p{screen_, POLLIN, 0};
    if (::poll(&p, 1, 500) == 0) return true;
    char block[4096];
    const ssize_t got = read(screen_, block, sizeof block);
    if (got <= 0) return false;
    all_.append(block, static_cast<std::size_t>(got));
    return true;
  }

  int screen_ = -1;
  pid_t child_ = -1;
  std::string all_;
  std::size_t from_ = 0;
};

}  // namespace check_test
