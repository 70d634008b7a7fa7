#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <set>
#include <where.hpp>

#include "app/run_program.hpp"
#include "support/stopwatch.hpp"

namespace {

using app_test::Folder;
using app_test::run;
namespace fs = std::filesystem;

TEST(Demo, RunsWithoutHardwareAndEndsWithAReport) {
  const Folder folder;
  fs::create_directory(folder.path / "paper");
  const stopwatch::Stopwatch watch(stopwatch::Who::Children);
  const auto r = run(folder, "demo --out paper");
  const double s = watch.seconds();
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_LT(s, stopwatch::most(10));
  EXPECT_TRUE(r.err.empty()) << r.err;
  EXPECT_NE(r.out.find("paper/linebench-demo.html"), std::string::npos);
  for (const char* path :
       {"Ticket counter 1", "Ticket counter 3", "Vehicle lane 5", "Passenger-information feed"}) {
    EXPECT_NE(r.out.find(path), std::string::npos) << path;
  }
  const std::string page = app_test::slurp(folder.path / "paper" / "linebench-demo.html");
  EXPECT_NE(page.find("Ferry terminal"), std::string::npos);
  EXPECT_LT(page.size(), 3'000'000u);
}

TEST(Demo, FindsWhatTheSceneHasWrong) {
  const Folder folder;
  const auto r = run(folder, "demo --json");
  ASSERT_EQ(r.exit, 0) << r.err;
  const auto j = nlohmann::json::parse(r.out);
  EXPECT_EQ(j.at("verdict"), "fail");
  ASSERT_EQ(j.at("captures").size(), 9u);
  const auto failed = [&](const std::string& title) {
    std::set<std::string> ids;
    for (const auto& c : j.at("captures")) {
      if (c.at("title") != title) continue;
      for (const auto& reading : c.at("readings")) {
        if (reading.at("verdict") == "fail") ids.insert(reading.at("id"));
      }
    }
    return ids;
  };
  // The feed: sent 10 dB too hot for +4 dBu. Other faults are asserted as their readings exist.
  EXPECT_TRUE(failed("Passenger-information feed").contains("audio.programme.voltage"));
  EXPECT_TRUE(failed("Ticket counter 1").empty());
  EXPECT_TRUE(failed("Vehicle lane 1").empty());
  EXPECT_TRUE(fs::exists(folder.path / "linebench-demo.html"));
}

TEST(Demo, CapturesAreSmallAndCanBeMadeAgain) {
  std::uintmax_t total = 0;
  const fs::path shipped = fs::path(LINEBENCH_SOURCE_DIR) / "captures";
  for (const auto& file : fs::recursive_directory_iterator(shipped)) {
    if (file.is_regular_file()) total += file.file_size();
  }
  EXPECT_LT(total, 3'000'000u);
  const Folder folder;
  ASSERT_EQ(run(folder, "demo --make again").exit, 0);
  int count = 0;
  for (const auto& file : fs::directory_iterator(folder.path / "again")) {
    EXPECT_EQ(app_test::slurp(file.path()), app_test::slurp(shipped / file.path().filename())) << file.path();
    ++count;
  }
  EXPECT_EQ(count, 18);
}

TEST(Demo, MakesItsFolderAndSaysWhereItCannot) {
  const Folder folder;
  EXPECT_EQ(run(folder, "demo --out new/report").exit, 0);
  const auto r = run(folder, "demo --out /proc/nowhere");
  EXPECT_EQ(r.exit, 3);
  EXPECT_NE(r.err.find("/proc/nowhere"), std::string::npos);
}

}  // namespace
