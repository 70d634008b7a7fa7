// A disk of one or two megabytes that runs full, in a mount namespace of its own: said in a line, and what
// was written before can be read. The job store: tests/check/session.cpp (a guided job on such a disk).
#include <gtest/gtest.h>
#include <sched.h>
#include <sys/mount.h>

#include <fstream>
#include <linebench/base/error.hpp>

#include "app/run_program.hpp"
#include "capture/temp_folder.hpp"
#include "captures.hpp"
#include "child.hpp"

namespace {

using namespace linebench;
namespace fs = std::filesystem;

constexpr int no_mount = 77;

void write_line(const char* file, const std::string& text) { std::ofstream(file) << text; }

/// Runs `work` in another process whose folder `disk` is a small disk. @return false where that cannot be
/// had.
template <typename Work>
int on_small_disk(const fs::path& disk, const char* size, Work work) {
  fs::create_directories(disk);
  const auto user = geteuid();
  const auto group = getegid();
  fault_test::Child child([&](const auto&) {
    if (unshare(CLONE_NEWUSER | CLONE_NEWNS) != 0) _exit(no_mount);
    write_line("/proc/self/setgroups", "deny");
    write_line("/proc/self/uid_map", "0 " + std::to_string(user) + " 1");
    write_line("/proc/self/gid_map", "0 " + std::to_string(group) + " 1");
    if (mount("none", disk.c_str(), "tmpfs", 0, size) != 0) _exit(no_mount);
    work();
    if (testing::Test::HasFailure()) throw std::runtime_error("see above");
  });
  return child.wait();
}

#define ON_SMALL_DISK(disk, size, ...)                                                            \
  if (const int status = on_small_disk(disk, size, __VA_ARGS__); status == no_mount) {            \
    GTEST_SKIP() << "NOT TESTED: this system lets nobody mount a disk in a namespace of his own"; \
  } else {                                                                                        \
    EXPECT_EQ(status, 0);                                                                         \
  }

TEST(DiskFull, SoundIsKeptAsFarAsItWent) {
  const TempFolder folder;
  const fs::path disk = folder / "disk";
  for (const char* name : {"a.wav", "a.w64", "a.flac"}) {
    ON_SMALL_DISK(disk, "size=1m", [&] {
      const auto out = fault_test::take_sound(disk / name, 3600, 1000);
      EXPECT_EQ(out.end, capture::End::StorageFailed) << name;
      EXPECT_NE(out.line.find("the disk is full"), std::string::npos) << out.line;
      // 6 bytes a frame; a block of the file system and one of a coder may be missing.
      EXPECT_GT(fault_test::expect_marks(disk / name), 900'000U / 6) << name;
    });
  }
}

TEST(DiskFull, FramesAreKeptAsFarAsTheyWent) {
  const TempFolder folder;
  const fs::path disk = folder / "disk";
  ON_SMALL_DISK(disk, "size=1m", [&] {
    const auto out = fault_test::take_frames(disk / "a.yuv", 100'000);
    EXPECT_EQ(out.end, capture::End::StorageFailed);
    EXPECT_NE(out.line.find("make room on the disk"), std::string::npos) << out.line;
    // A frame has 8192 bytes.
    EXPECT_GT(fault_test::expect_frames(disk / "a.yuv"), 900'000U / 8192);
  });
}

TEST(DiskFull, WithNoRoomAtAllNothingIsLeft) {
  const TempFolder folder;
  const fs::path disk = folder / "disk";
  ON_SMALL_DISK(disk, "size=64k", [&] {
    std::ofstream(disk / "filler") << std::string(1 << 20, 'x');
    for (const auto& take :
         {std::function<void()>([&] { (void)fault_test::take_sound(disk / "a.wav", 1, 1000); }),
          std::function<void()>([&] { (void)fault_test::take_frames(disk / "a.yuv", 10); })}) {
      try {
        take();
        ADD_FAILURE() << "a full disk took a capture";
      } catch (const Error& e) {
        EXPECT_EQ(e.exit(), Exit::Unusable);
        EXPECT_NE(std::string(e.what()).find("No space left"), std::string::npos) << e.what();
      }
    }
    for (const auto& e : fs::directory_iterator(disk))
      EXPECT_EQ(e.path().filename(), "filler") << "was left behind";
  });
}

TEST(DiskFull, APageIsWholeOrNotThere) {
  const app_test::Folder folder;
  const fs::path disk = folder.path / "disk";
  {
    capture::AudioFileWriter writer(folder.path / "a.wav", 48000, 1, capture::SampleFormat::Pcm16);
    std::vector<float> x(4 * 48000);
    for (std::size_t i = 0; i < x.size(); ++i) x[i] = fault_test::mark(i, 0);
    writer.write(x);
  }
  ON_SMALL_DISK(disk, "size=200k", [&] {
    const auto good = app_test::run(folder, "measure a.wav --html disk/a.html");
    EXPECT_LE(good.exit, 1) << good.err;
    const std::string before = app_test::slurp(disk / "a.html");
    EXPECT_NE(before.find("</html>"), std::string::npos) << good.err;
    std::ofstream(disk / "filler") << std::string(1 << 20, 'x');
    for (const char* page : {"disk/a.html", "disk/b.html"}) {
      const auto r = app_test::run(folder, std::string("measure a.wav --html ") + page);
      EXPECT_EQ(r.exit, 3) << r.err;
      EXPECT_NE(r.err.find("No space left"), std::string::npos) << r.err;
    }
    EXPECT_EQ(app_test::slurp(disk / "a.html"), before) << "the old page stays";
    EXPECT_FALSE(fs::exists(disk / "b.html"));
    EXPECT_EQ(std::distance(fs::directory_iterator(disk), fs::directory_iterator()), 2)
        << "nothing half made";
  });
}

}  // namespace
