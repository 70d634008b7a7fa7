// The program running beside the test, stopped by its own process id.
#pragma once

#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <linebench/capture/audio_file.hpp>
#include <string>
#include <thread>
#include <vector>
#include <where.hpp>

#include "app/run_program.hpp"
#include "child.hpp"

namespace fault_test {

/// In `folder`, with the job store of `folder`/home; what it says goes to files beside it.
class Program {
 public:
  Program(const std::filesystem::path& folder, std::vector<std::string> arguments,
          const std::vector<std::pair<std::string, std::string>>& environment = {}) {
    static int count = 0;
    said_ = folder / ("said" + std::to_string(++count));
    (void)std::fflush(nullptr);
    id_ = fork();
    if (id_ != 0) return;
    const int out = ::open(said_.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const int in = ::open("/dev/null", O_RDONLY);
    if (out < 0 || in < 0 || chdir(folder.c_str()) != 0) _exit(126);
    dup2(in, 0);
    dup2(out, 1);
    dup2(out, 2);
    ::setenv("LINEBENCH_HOME", (folder / "home").c_str(), 1);
    ::setenv("LC_ALL", "C.UTF-8", 1);
    for (const auto& [name, value] : environment) ::setenv(name.c_str(), value.c_str(), 1);
    std::vector<char*> argv{const_cast<char*>(LINEBENCH_PROGRAM)};
    for (std::string& a : arguments) argv.push_back(a.data());
    argv.push_back(nullptr);
    ::execv(LINEBENCH_PROGRAM, argv.data());
    _exit(127);
  }
  ~Program() {
    if (id_ > 0) (void)end(SIGKILL);
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;

  [[nodiscard]] std::string said() const { return app_test::slurp(said_); }
  /// Waits until it has said this `times` times, 60 s at most.
  [[nodiscard]] bool until(const std::string& words, int times = 1) const {
    const auto since = std::chrono::steady_clock::now();
    while (std::chrono::steady_clock::now() - since < std::chrono::seconds(60)) {
      const std::string text = said();
      int seen = 0;
      for (auto at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) ++seen;
      if (seen >= times) return true;
      std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
    return false;
  }
  /// Asks it to end, as Ctrl-C does. @return exit status, 128 + signal when it was killed.
  int interrupt() { return end(SIGINT); }
  /// Waits for its own end.
  int wait() { return end(0); }

 private:
  int end(int signal) { return end_process(id_, signal); }

  std::filesystem::path said_;
  pid_t id_ = -1;
};

/// A steady sound of `seconds`, one channel, 48 kHz.
inline void write_sound(const std::filesystem::path& file, double seconds) {
  linebench::capture::AudioFileWriter writer(file, 48000, 1, linebench::capture::SampleFormat::Pcm16);
  std::vector<float> x(static_cast<std::size_t>(seconds * 48000));
  for (std::size_t i = 0; i < x.size(); ++i) x[i] = i % 48 < 24 ? 0.1F : -0.1F;
  writer.write(x);
  writer.close();
}

}  // namespace fault_test
