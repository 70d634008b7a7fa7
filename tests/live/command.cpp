// The program itself: sources, endings, JSON, marks in the job store, the screen on a pseudo-terminal.
#include <gtest/gtest.h>
#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <sndfile.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <nlohmann/json.hpp>
#include <thread>
#include <where.hpp>

#include "app/run_program.hpp"
#include "frames_file.hpp"
#include "support/synth.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

constexpr double rate = 48000;

// A tone with hum on the left, hum alone on the right.
void write_sound(const std::filesystem::path& file, double seconds) {
  synth::Samples left(synth::count(seconds, rate)), right(left.size());
  synth::add_sine(left, rate, 997, -20);
  synth::add_sine(left, rate, 50, -40);
  synth::add_sine(right, rate, 50, -45);
  synth::add_noise(right, -80, 1);
  SF_INFO info{};
  info.samplerate = static_cast<int>(rate);
  info.channels = 2;
  info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
  SNDFILE* f = sf_open(file.c_str(), SFM_WRITE, &info);
  ASSERT_NE(f, nullptr);
  std::vector<float> x;
  for (std::size_t i = 0; i < left.size(); ++i) {
    x.push_back(left[i]);
    x.push_back(right[i]);
  }
  sf_writef_float(f, x.data(), static_cast<sf_count_t>(left.size()));
  sf_close(f);
}

const json* find(const json& j, const std::string& id) {
  for (const json& r : j["readings"]) {
    if (r["id"] == id) return &r;
  }
  return nullptr;
}

TEST(LiveCommand, LastJsonLineHoldsTheReadings) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 4);
  const auto r = run(folder, "watch --from a.wav --speed 0 --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out.substr(r.out.rfind('\n', r.out.size() - 2) + 1));
  EXPECT_EQ(j["schema"], "linebench/1");
  EXPECT_EQ(j["command"], "watch");
  EXPECT_EQ(j["state"], "ended");
  EXPECT_EQ(j["input"]["source"], "a.wav");
  EXPECT_NEAR((*find(j, "audio.hum.level.right"))["value"], -45, 0.05);
  EXPECT_NEAR((*find(j, "audio.level.rms.left"))["value"], 10 * std::log10(1e-2 + 1e-4), 0.05);
}

TEST(LiveCommand, OneLineASecondWithoutATerminalThenASummary) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 5);
  const auto r = run(folder, "watch --from a.wav --speed 2", "LC_ALL=C");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_EQ(r.out.find('\x1b'), std::string::npos);
  EXPECT_NE(r.out.find("Hum "), std::string::npos);
  EXPECT_NE(r.out.find("watched a.wav for 5.00 s"), std::string::npos) << r.out;
  EXPECT_TRUE(std::ranges::all_of(r.out, [](char c) { return static_cast<unsigned char>(c) < 0x80; }));
}

TEST(LiveCommand, SoundAndPicturesSideBySide) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 2);
  frames_file::write(folder.path / "v.yuv", 50);
  const auto r = run(folder, "watch --from a.wav --picture v.yuv --speed 4 --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out.substr(r.out.rfind('\n', r.out.size() - 2) + 1));
  ASSERT_NE(find(j, "picture.hum.level"), nullptr);
  EXPECT_NEAR((*find(j, "picture.hum.level"))["value"], 4.0, 0.1)
      << "peak to peak of 2 % of white either way";
  ASSERT_NE(find(j, "audio.hum.level.left"), nullptr);
  const auto only = run(folder, "watch --from v.yuv --speed 0 --json");
  EXPECT_EQ(only.exit, 0) << only.err << "\n--from takes a file of frames too";
}

TEST(LiveCommand, WrongCallsAndSourcesAreSaidInOneLine) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 1);
  std::ofstream(folder.path / "text.wav") << "no sound";
  for (const std::string bad : {"watch", "watch --from a.wav --lan", "watch --from a.wav --port 8000",
                                "watch --from a.wav --store s.sqlite", "watch --from a.wav --speed -1",
                                "watch --from a.wav --seconds 0", "watch --from a.wav --mains 55"}) {
    const auto r = run(folder, bad);
    EXPECT_EQ(r.exit, 2) << bad << "\n" << r.err;
    EXPECT_EQ(std::ranges::count(r.err, '\n'), 1) << r.err;
  }
  const auto r = run(folder, "watch --from text.wav");
  EXPECT_EQ(r.exit, 3) << r.err;
  EXPECT_EQ(run(folder, "watch --from a.wav --job nothing").exit, 3) << "there is no store yet";
  ASSERT_EQ(run(folder, "jobs new site --title x").exit, 0);
  EXPECT_EQ(run(folder, "watch --from a.wav --job nothing").exit, 2);
}

// A child on a pseudo-terminal of its own.
class Terminal {
 public:
  Terminal(const Folder& folder, std::vector<std::string> arguments, unsigned short columns = 80) {
    winsize size{24, columns, 0, 0};
    pid_ = ::forkpty(&fd_, nullptr, nullptr, &size);
    if (pid_ == 0) {
      (void)!::chdir(folder.path.c_str());
      ::setenv("TERM", "xterm", 1);
      ::setenv("LC_ALL", "C.UTF-8", 1);
      ::setenv("NO_COLOR", "1", 1);
      ::setenv("LINEBENCH_HOME", (folder.path / "home").c_str(), 1);
      std::vector<char*> argv{const_cast<char*>(LINEBENCH_PROGRAM)};
      for (std::string& a : arguments) argv.push_back(a.data());
      argv.push_back(nullptr);
      ::execv(LINEBENCH_PROGRAM, argv.data());
      ::_exit(127);
    }
  }
  ~Terminal() {
    if (!ended_) {
      ::kill(pid_, SIGKILL);
      ::waitpid(pid_, nullptr, 0);
    }
    ::close(fd_);
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;
  void type(const std::string& keys) { (void)!::write(fd_, keys.data(), keys.size()); }
  void interrupt() const { ::kill(pid_, SIGINT); }
  /// Reads until the text was seen since the last call, or 60 s.
  bool until(const std::string& wanted) {
    const std::size_t from = seen_;
    const auto since = std::chrono::steady_clock::now();
    while (std::chrono::steady_clock::now() - since < std::chrono::seconds(60)) {
      pollfd p{fd_, POLLIN, 0};
      if (::poll(&p, 1, 100) > 0) {
        char buffer[4096];
        const ssize_t n = ::read(fd_, buffer, sizeof buffer);
        if (n <= 0) break;
        all.append(buffer, static_cast<std::size_t>(n));
      }
      if (const auto at = all.find(wanted, from); at != std::string::npos) {
        seen_ = at + wanted.size();
        return true;
      }
    }
    return all.find(wanted, from) != std::string::npos;
  }
  int end() {
    int status = 0;
    (void)until("\x01 never");  // to the end of the output
    ::waitpid(pid_, &status, 0);
    ended_ = true;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  }
  std::string all;

 private:
  int fd_ = -1;
  pid_t pid_ = -1;
  std::size_t seen_ = 0;
  bool ended_ = false;
};

TEST(LiveCommand, TheScreenHoldsMarksAndEndsByKeys) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 30);
  ASSERT_EQ(run(folder, "jobs new site --title 'hum at counter 2'").exit, 0);
  Terminal t(folder, {"watch", "--from", "a.wav", "--job", "last"});
  ASSERT_TRUE(t.until("Level (rms)")) << t.all;
  ASSERT_TRUE(t.until("q end"));
  EXPECT_NE(t.all.find("\x1b[?1049h"), std::string::npos) << "a screen of its own";
  EXPECT_EQ(t.all.find("\x1b[2J", t.all.find("\x1b[2J") + 1), std::string::npos)
      << "never cleared again: no flicker";
  EXPECT_EQ(t.all.find("\x1b[3"), std::string::npos) << "no colour";
  t.type("h");
  EXPECT_TRUE(t.until("HELD"));
  t.type("h");
  t.type("m");
  ASSERT_TRUE(t.until("what was done: _"));
  t.type(
      "pulled shielf\x7f"
      "d \xc3\xa4");
  ASSERT_TRUE(t.until("pulled shield \xc3\xa4_"));
  t.type("\r");
  EXPECT_TRUE(t.until("mark 1 at "));
  EXPECT_TRUE(t.until("kept in "));
  EXPECT_TRUE(t.until("since mark 1"));
  t.type("q");
  EXPECT_EQ(t.end(), 0);
  const auto back = t.all.find("\x1b[?1049l");
  ASSERT_NE(back, std::string::npos);
  EXPECT_NE(t.all.find("\x1b[?25h"), std::string::npos) << "the cursor is back";
  EXPECT_NE(t.all.find("watched a.wav", back), std::string::npos) << "the summary stays on the screen";

  const auto shown = run(folder, "jobs show last --json");
  ASSERT_EQ(shown.exit, 0) << shown.err;
  const json j = json::parse(shown.out);
  const json& captures = j["job"]["captures"];
  ASSERT_EQ(captures.size(), 1U) << shown.out;
  EXPECT_EQ(captures[0]["label"], "pulled shield \u00e4");
  bool hum = false;
  for (const json& r : captures[0]["readings"]) hum = hum || r["id"] == "audio.hum.level.right";
  EXPECT_TRUE(hum) << "with its readings";
  EXPECT_EQ(run(folder, "report last --out job.html").exit, 0);
  EXPECT_NE(app_test::slurp(folder.path / "job.html").find("pulled shield"), std::string::npos);
  EXPECT_EQ(run(folder, "jobs show last").out.find("not where it was"), std::string::npos)
      << "a mark has no file";
}

TEST(LiveCommand, ANarrowTerminalShowsALineAReading) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 10);
  Terminal t(folder, {"watch", "--from", "a.wav"}, 32);
  EXPECT_TRUE(t.until("l Level (rms): -"));
  EXPECT_TRUE(t.until("r Hum: -45."));
  t.type("q");
  EXPECT_EQ(t.end(), 0);
}

TEST(LiveCommand, CtrlCEndsWithASummary) {
  const Folder folder;
  write_sound(folder.path / "a.wav", 30);
  Terminal t(folder, {"watch", "--from", "a.wav"});
  ASSERT_TRUE(t.until("Hum"));
  t.interrupt();
  EXPECT_EQ(t.end(), 4);
  EXPECT_NE(t.all.find("watched a.wav"), std::string::npos);
  EXPECT_NE(t.all.find("\x1b[?1049l"), std::string::npos) << "and the terminal as it was";
}

}  // namespace
