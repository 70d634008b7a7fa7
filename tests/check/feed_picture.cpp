// The picture of a programme feed as a grabber brings it: frames written here byte by byte, from the code
// table of [BT.601] for 75 % bars.
#include <gtest/gtest.h>

#include <array>
#include <nlohmann/json.hpp>
#include <random>

#include "app/run_program.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

constexpr int width = 720;

enum class Moves { Nothing, AsScanned, FieldsSwapped, RoundAndRound };

// Bars at 720 samples a line; a white block 80 samples wide that crosses them by 6 samples a field.
void write_frames(const std::filesystem::path& file, int height, int frames, Moves moves) {
  // Y, Cb, Cr of white, yellow, cyan, green, magenta, red, blue, black [BT.601].
  constexpr std::array<std::array<int, 3>, 8> bars = {{{180, 128, 128},
                                                       {162, 44, 142},
                                                       {131, 156, 44},
                                                       {112, 72, 58},
                                                       {84, 184, 198},
                                                       {65, 100, 212},
                                                       {35, 212, 114},
                                                       {16, 128, 128}}};
  std::mt19937 gen(7);
  std::normal_distribution<double> noise(0, 1);
  std::vector<char> grain(1 << 16);
  for (char& g : grain) g = static_cast<char>(std::lround(noise(gen)));
  std::ofstream out(file, std::ios::binary);
  std::vector<char> packed(static_cast<std::size_t>(2 * width * height));
  for (int n = 0; n < frames; ++n) {
    const std::size_t from = gen() % 60000;
    for (int row = 0; row < height; ++row) {
      const int field = row % 2;
      const int time = 2 * n + (moves == Moves::FieldsSwapped ? 1 - field : field);
      const int block = moves == Moves::RoundAndRound ? (40 + 6 * time) % 600 : 40 + 6 * time;
      const bool crossed = moves != Moves::Nothing && row >= 100 && row < 300;
      for (int x = 0; x < width; ++x) {
        auto code = bars[static_cast<std::size_t>(x / 90)];
        if (crossed && x >= block && x < block + 80) code = {200, 128, 128};
        const auto at = static_cast<std::size_t>(2 * (row * width + x));
        packed[at] = static_cast<char>(code[0] + grain[(from + at) % grain.size()]);
        packed[at + 1] = static_cast<char>(code[static_cast<std::size_t>(1 + x % 2)]);
      }
    }
    out.write(packed.data(), static_cast<std::streamsize>(packed.size()));
  }
  std::ofstream(std::filesystem::path(file).replace_extension(".json"))
      << json{{"width", width},       {"height", height},
              {"format", "yuyv"},     {"standard", height == 576 ? "625" : "525"},
              {"field_order", "top"}, {"frame_rate", height == 576 ? 25.0 : 30000.0 / 1001}};
}

json check_picture(const Folder& folder, const std::string& system) {
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.carries\" = \"video\"\n\"feed.again\" = \"no\"\n"
         "\"checklist.after\" = \"all\"\n\"feed.system\" = \""
      << system << "\"\n";
  const auto r = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  return json::parse(r.out);
}

std::string outcome(const json& j) { return j.at("job").at("outcome"); }

bool says(const json& j, const std::string& weight, const std::string& what) {
  for (const auto& p : j.at("points")) {
    if (p.at("weight") == weight && p.at("what").get<std::string>().find(what) != std::string::npos)
      return true;
  }
  return false;
}

// A grabber strips sync and burst and sets the level: it clears no feed by itself.
TEST(FeedPicture, AGrabberAloneDecidesNothing) {
  const Folder folder;
  write_frames(folder.path / "feed.video.yuv", 576, 50, Moves::Nothing);
  const json j = check_picture(folder, "625");
  EXPECT_EQ(outcome(j), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "Sync, burst, setup")) << j.at("points").dump(1);
}

// A 625-line picture is none for 525-line monitors, however good it is, and the other way round.
TEST(FeedPicture, AnotherSystemIsNotConnected) {
  const Folder folder;
  write_frames(folder.path / "feed.video.yuv", 576, 50, Moves::Nothing);
  for (const char* system : {"525", "525-no-setup"}) {
    const json j = check_picture(folder, system);
    EXPECT_EQ(outcome(j), "do not connect") << system;
    EXPECT_TRUE(says(j, "stop", "625 lines, and the installation works with 525")) << j.at("points").dump(1);
  }
  write_frames(folder.path / "feed.video.yuv", 480, 50, Moves::Nothing);
  EXPECT_EQ(outcome(check_picture(folder, "625")), "do not connect");
  const json right = check_picture(folder, "525");
  EXPECT_EQ(outcome(right), "not decided") << right.at("points").dump(1);
}

TEST(FeedPicture, FieldsInTheWrongOrderAreToBePutRight) {
  const Folder folder;
  write_frames(folder.path / "feed.video.yuv", 576, 40, Moves::FieldsSwapped);
  const json j = check_picture(folder, "625");
  EXPECT_EQ(outcome(j), "connect with a change") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "change", "wrong order")) << j.at("points").dump(1);
  write_frames(folder.path / "feed.video.yuv", 576, 40, Moves::AsScanned);
  const json kept = check_picture(folder, "625");
  EXPECT_EQ(outcome(kept), "not decided") << kept.at("points").dump(1);
  EXPECT_FALSE(says(kept, "change", ""));
}

// A block that passes once in two seconds, taken for two seconds, swells and fades as a hum bar does.
TEST(FeedPicture, WhatMovesInAShortLookIsNoHum) {
  const Folder folder;
  write_frames(folder.path / "feed.video.yuv", 576, 50, Moves::RoundAndRound);
  const json j = check_picture(folder, "625");
  EXPECT_EQ(outcome(j), "not decided") << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "change", "Hum bars")) << j.at("points").dump(1);
}

}  // namespace
