// Two programs at once: on one file, on one port of the page, on one job store. Two guided jobs on one store:
// tests/check/session.cpp; two captures from a sound card to one file: tests/sound/at_once.cpp.
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <sys/socket.h>

#include <linebench/base/error.hpp>
#include <linebench/job/store.hpp>
#include <nlohmann/json.hpp>
#include <set>

#include "capture/temp_folder.hpp"
#include "captures.hpp"
#include "child.hpp"
#include "program.hpp"

namespace {

using namespace linebench;
using app_test::Folder;
using app_test::run;
using fault_test::Child;
using fault_test::Program;
using nlohmann::json;

std::string message(const std::function<void()>& work) {
  try {
    work();
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Unusable);
    return e.what();
  }
  return "";
}

// ---- one file ----

TEST(TwoPrograms, TheSecondOnOneSoundFileIsRefusedAndTheFirstStaysWhole) {
  for (const char* name : {"a.wav", "a.w64", "a.flac"}) {
    const TempFolder folder;
    const auto file = folder / name;
    Child first([&](const Child::Say& say) { (void)fault_test::take_sound(file, 3600, 100, say); });
    std::uint64_t shown_ms = 0;
    while (shown_ms < 500) {
      const auto said = first.next();
      ASSERT_TRUE(said) << name;
      shown_ms = *said;
    }
    const std::string line = message([&] { (void)fault_test::take_sound(file, 1, 1000); });
    EXPECT_NE(line.find("another program is writing it; choose another name"), std::string::npos) << line;
    EXPECT_NE(line.find(file.string()), std::string::npos) << line;
    ASSERT_TRUE(first.next()) << "the first goes on";
    const std::uint64_t last_ms = *first.kill_after(std::chrono::milliseconds(20));
    EXPECT_GT(fault_test::expect_marks(file), (last_ms - 100) * 48) << name;
    // The lock ends with its program, in whatever way that ended.
    EXPECT_EQ(message([&] { (void)fault_test::take_sound(file, 1, 1000); }), "") << name;
  }
}

TEST(TwoPrograms, TheSecondOnOneFileOfFramesIsRefusedAndTheFirstStaysWhole) {
  const TempFolder folder;
  const auto file = folder / "a.yuv";
  Child first([&](const Child::Say& say) { (void)fault_test::take_frames(file, 100'000, say); });
  ASSERT_TRUE(first.next());
  const std::string line = message([&] { (void)fault_test::take_frames(file, 5); });
  EXPECT_NE(line.find("another program is writing it"), std::string::npos) << line;
  ASSERT_TRUE(first.next()) << "the first goes on";
  const std::uint64_t shown = *first.kill_after(std::chrono::milliseconds(20));
  EXPECT_GE(fault_test::expect_frames(file), shown);
  EXPECT_EQ(message([&] { (void)fault_test::take_frames(file, 5); }), "");
}

TEST(TwoPrograms, OneNameForTwoSignalsHoldsOneOfThemWhole) {
  const Folder folder;
  Program a(folder.path, {"signals", "write", "tone-997", "--out", "x.wav", "--seconds", "20", "--replace"});
  Program b(folder.path, {"signals", "write", "tone-997", "--out", "x.wav", "--seconds", "30", "--replace"});
  EXPECT_EQ(a.wait(), 0) << a.said();
  EXPECT_EQ(b.wait(), 0) << b.said();
  const double s = capture::open_audio_file(folder.path / "x.wav")->facts().duration_s();
  EXPECT_TRUE(s == 20 || s == 30) << s;
  for (const auto& e : std::filesystem::directory_iterator(folder.path))
    EXPECT_EQ(e.path().string().find(".part"), std::string::npos) << e.path() << " was left behind";
}

// Samples and the facts beside them are of one program, whichever came last.
TEST(TwoPrograms, OneNameForTwoVideoSignalsHoldsSamplesAndFactsOfOne) {
  const Folder folder;
  for (int round = 0; round < 12; ++round) {
    const auto write = [](const char* system) {
      return std::vector<std::string>{"signals",  "write", "video-bars-75", "--out", "x.raw",
                                      "--frames", "1",     "--system",      system,  "--replace"};
    };
    Program a(folder.path, write("625"));
    Program b(folder.path, write("525"));
    EXPECT_EQ(a.wait(), 0) << a.said();
    EXPECT_EQ(b.wait(), 0) << b.said();
    const json facts = json::parse(app_test::slurp(folder.path / "x.json"));
    // 27 MS/s, 16 bit: 1 080 000 samples of a frame of 625 lines, 900 900 of 525 [BT.601, BT.1700].
    const std::uintmax_t samples = std::filesystem::file_size(folder.path / "x.raw") / 2;
    EXPECT_EQ(samples, facts.at("system") == "625" ? 1'080'000U : 900'900U) << facts;
  }
  for (const auto& e : std::filesystem::directory_iterator(folder.path))
    EXPECT_EQ(e.path().string().find(".part"), std::string::npos) << e.path() << " was left behind";
}

// ---- one port ----

// A port that nobody had a moment ago.
int free_port() {
  const int s = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof at;
  int port = -1;
  if (::bind(s, reinterpret_cast<sockaddr*>(&at), size) == 0 &&
      ::getsockname(s, reinterpret_cast<sockaddr*>(&at), &size) == 0)
    port = ntohs(at.sin_port);
  ::close(s);
  return port;
}

// The first line of what the page answers, "" where nobody listens.
std::string answer_of(int port) {
  const int s = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  at.sin_port = htons(static_cast<std::uint16_t>(port));
  std::string text;
  if (::connect(s, reinterpret_cast<sockaddr*>(&at), sizeof at) == 0) {
    const std::string ask =
        "GET / HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) + "\r\nConnection: close\r\n\r\n";
    if (::send(s, ask.data(), ask.size(), MSG_NOSIGNAL) == static_cast<ssize_t>(ask.size())) {
      char buffer[512];
      const ssize_t n = ::recv(s, buffer, sizeof buffer, 0);
      if (n > 0) text.assign(buffer, static_cast<std::size_t>(n));
    }
  }
  ::close(s);
  return text.substr(0, text.find('\r'));
}

TEST(TwoPrograms, TheSecondPageOnOnePortIsToldWhichAndWhatToDo) {
  const Folder folder;
  fault_test::write_sound(folder.path / "a.wav", 2);
  const std::string port = std::to_string(free_port());
  Program first(folder.path, {"watch", "--from", "a.wav", "--repeat", "--page", "--port", port});
  ASSERT_TRUE(first.until("page: http://127.0.0.1:" + port)) << first.said();
  const auto second = run(folder, "watch --from a.wav --page --port " + port);
  EXPECT_EQ(second.exit, 3) << second.out;
  EXPECT_NE(second.err.find("--port " + port + ": "), std::string::npos) << second.err;
  EXPECT_NE(second.err.find("taken by another program"), std::string::npos) << second.err;
  EXPECT_NE(second.err.find("give another"), std::string::npos) << second.err;
  EXPECT_EQ(std::count(second.err.begin(), second.err.end(), '\n'), 1) << second.err;
  EXPECT_NE(answer_of(std::stoi(port)).find(" 200 "), std::string::npos) << "the first one's page stays";
  EXPECT_EQ(first.interrupt(), 4) << first.said();
  EXPECT_EQ(answer_of(std::stoi(port)), "") << "nobody listens when it has ended";
}

TEST(TwoPrograms, WithoutAPortEachPageHasItsOwn) {
  const Folder folder;
  fault_test::write_sound(folder.path / "a.wav", 2);
  const auto port_of = [](const Program& p) {
    const std::string before = "http://127.0.0.1:";
    if (!p.until(before)) return 0;
    const std::string text = p.said();
    return std::atoi(text.c_str() + text.find(before) + before.size());
  };
  Program a(folder.path, {"watch", "--from", "a.wav", "--repeat", "--page"});
  const int port_a = port_of(a);
  Program b(folder.path, {"watch", "--from", "a.wav", "--repeat", "--page"});
  const int port_b = port_of(b);
  EXPECT_NE(port_a, port_b);
  for (const int port : {port_a, port_b}) EXPECT_NE(answer_of(port).find(" 200 "), std::string::npos) << port;
}

// ---- one store ----

TEST(TwoPrograms, OneNewStoreIsMadeOnceByMany) {
  const Folder folder;
  std::vector<std::unique_ptr<Program>> all;
  all.reserve(6);
  for (int i = 0; i < 6; ++i)
    all.push_back(std::make_unique<Program>(
        folder.path, std::vector<std::string>{"jobs", "--store", "s.sqlite", "new", "feed", "--title",
                                              "berth " + std::to_string(i)}));
  for (const auto& p : all) EXPECT_EQ(p->wait(), 0) << p->said();
  std::set<std::string> titles, refs;
  for (const job::Job& j : job::Store(folder.path / "s.sqlite").jobs()) {
    titles.insert(j.title);
    refs.insert(j.ref);
  }
  EXPECT_EQ(titles.size(), 6U);
  EXPECT_EQ(refs.size(), 6U);
}

TEST(TwoPrograms, MeasurementsInterleavedInOneJobAreAllKept) {
  const Folder folder;
  fault_test::write_sound(folder.path / "a.wav", 1);
  const auto file = folder.path / "s.sqlite";
  job::Store store(file);
  const job::Job job = store.open_job({.kind = job::JobKind::Feed, .title = "both"});
  constexpr int rounds = 4;
  for (int i = 0; i < rounds; ++i) {
    const std::vector<std::string> words = {"measure", "a.wav", "--store", "s.sqlite", "--job", job.ref};
    Program a(folder.path, words);
    Program b(folder.path, words);
    store.note(job, "a third writer, " + std::to_string(i));
    EXPECT_EQ(a.wait(), 0) << a.said();
    EXPECT_EQ(b.wait(), 0) << b.said();
  }
  const auto captures = store.captures(job);
  ASSERT_EQ(captures.size(), 2U * rounds);
  EXPECT_EQ(store.notes(job).size(), static_cast<std::size_t>(rounds));
  EXPECT_FALSE(captures[0].readings.empty());
  for (const job::Capture& c : captures) {
    EXPECT_EQ(c.readings.size(), captures[0].readings.size());
    EXPECT_EQ(c.sha256, captures[0].sha256);
  }
}

}  // namespace
