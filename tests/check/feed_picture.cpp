// The picture of a programme feed as a grabber brings it: frames written here byte by byte, from the code
// table of [BT.601] for 75 % bars.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <functional>
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

json check_picture(const Folder& folder, const std::string& system, const std::string& more = "") {
  std::ofstream(folder.path / "answers.toml")
      << more
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

// Composite samples of the program's own, changed in the samples: at 27 MS/s a line of 64 us is 1728 of them.
using Samples = std::vector<std::int16_t>;
void change_samples(const Folder& folder, const std::string& recipe, int frames,
                    const std::function<void(Samples&)>& change) {
  ASSERT_EQ(run(folder, "signals write " + recipe + " --system 625 --frames " + std::to_string(frames) +
                            " --rate 27e6 --out feed.video.raw")
                .exit,
            0);
  std::string bytes = app_test::slurp(folder.path / "feed.video.raw");
  Samples x(bytes.size() / 2);
  std::memcpy(x.data(), bytes.data(), 2 * x.size());
  change(x);
  std::memcpy(bytes.data(), x.data(), 2 * x.size());
  std::ofstream(folder.path / "feed.video.raw", std::ios::binary) << bytes;
}

TEST(FeedPicture, ColoursThatAreTooWeakForTheirBurst) {
  const Folder folder;
  // The burst 1.3 times as strong: colours are 1 / 1.3 of what they should be for it, between 5.3 and 8.2 us
  // after each leading edge of sync [BT.1700].
  const auto stronger = [](Samples& x) {
    const int slice = *std::min_element(x.begin(), x.end()) / 2;
    for (std::size_t i = 1; i + 240 < x.size(); ++i) {
      if (!(x[i - 1] > slice && x[i] <= slice && x[i + 100] <= slice && x[i + 140] > slice)) continue;
      for (std::size_t k = i + 143; k < i + 222; ++k) x[k] = static_cast<std::int16_t>(1.3 * x[k]);
    }
  };
  change_samples(folder, "video-bars-75", 4, stronger);
  const json j = check_picture(folder, "625");
  EXPECT_TRUE(says(j, "change", "Saturation of the bars: 0.769")) << j.at("points").dump(1);
}

// A first-order high pass of 20 Hz, as a worn-out coupling capacitor is, reads as hum at the field rate.
TEST(FeedPicture, ASagIsNotCalledHumAlone) {
  const Folder folder;
  change_samples(folder, "video-bars-75", 6, [](Samples& x) {
    const double keep = std::exp(-2 * 3.14159265358979 * 20 / 27e6);
    double before = x[0], out = x[0];
    for (std::int16_t& v : x) {
      out = keep * (out + v - before);
      before = v;
      v = static_cast<std::int16_t>(std::lround(out));
    }
  });
  const json j = check_picture(folder, "625");
  EXPECT_EQ(outcome(j), "connect with a change") << j.at("points").dump(1);
  EXPECT_NE(j.at("points").dump().find("coupling capacitor"), std::string::npos) << j.at("points").dump(1);
}

TEST(FeedPicture, BlackShowsNoWhite) {
  const Folder folder;
  change_samples(folder, "video-black", 6, [](Samples&) {});
  const json j = check_picture(folder, "625");
  EXPECT_EQ(outcome(j), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "White, and whether it is cut off, was not seen")) << j.at("points").dump(1);
}

// Lines that start up to 5 samples (185 ns) early or late: what is read across them says nothing of its own.
TEST(FeedPicture, WhatFollowsFromJitterIsNotTold) {
  const Folder folder;
  change_samples(folder, "video-bars-75", 6, [](Samples& x) {
    std::mt19937 gen(3);
    std::uniform_int_distribution<int> shift(-5, 5);
    const Samples from = x;
    for (std::size_t line = 1; (line + 2) * 1728 < x.size(); ++line) {
      const auto by = static_cast<std::size_t>(1728 + shift(gen));
      std::copy_n(from.begin() + static_cast<std::ptrdiff_t>((line - 1) * 1728 + by), 1728,
                  x.begin() + static_cast<std::ptrdiff_t>(line * 1728));
    }
  });
  const json j = check_picture(folder, "625", "\"feed.colour\" = \"yes\"\n");
  EXPECT_TRUE(says(j, "change", "Sync jitter")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "change", "colour burst")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "change", "non-linearity")) << j.at("points").dump(1);
}

}  // namespace
