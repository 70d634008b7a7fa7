// Composite samples from files: the three forms, and what is wrong with a file said in one line.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sndfile.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/capture/video_samples.hpp>

namespace {

using namespace linebench;
namespace fs = std::filesystem;

class VideoFiles : public ::testing::Test {
 protected:
  void SetUp() override {
    dir_ = fs::temp_directory_path() /
           fmt::format("linebench_video_{}", ::testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::remove_all(dir_);
    fs::create_directories(dir_);
  }
  void TearDown() override { fs::remove_all(dir_); }
  fs::path write(const std::string& name, const std::string& bytes) const {
    std::ofstream(dir_ / name, std::ios::binary) << bytes;
    return dir_ / name;
  }
  static std::vector<float> all(capture::VideoSource& s) {
    std::vector<float> out;
    std::vector<float> block(1000);
    while (const std::size_t n = s.read(block))
      out.insert(out.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(n));
    return out;
  }
  // The one line that opening and reading the file ends in.
  static std::string refusal(const fs::path& file, const capture::VideoFileOptions& o = {}) {
    try {
      const auto s = capture::open_video_samples(file, o);
      (void)all(*s);
    } catch (const Error& e) {
      EXPECT_EQ(e.exit(), Exit::Unusable);
      EXPECT_EQ(std::string(e.what()).find('\n'), std::string::npos);
      return e.what();
    }
    return "";
  }
  fs::path dir_;
};

template <class T>
std::string bytes_of(const std::vector<T>& v) {
  return {reinterpret_cast<const char*>(v.data()), v.size() * sizeof(T)};
}

TEST_F(VideoFiles, RawInThreeFormats) {
  write("a.json", R"({"sample_rate": 13500000, "unit": "V", "format": "s16le", "scale": 0.0001})");
  auto s =
      capture::open_video_samples(write("a.raw", bytes_of(std::vector<std::int16_t>{0, 1000, -2857, 32767})));
  EXPECT_EQ(s->facts().sample_rate_hz, 13.5e6);
  EXPECT_EQ(s->facts().frames, 4U);
  auto v = all(*s);
  ASSERT_EQ(v.size(), 4U);
  EXPECT_NEAR(v[2], -0.2857, 1e-6);
  EXPECT_GE(v[3], s->rails()->high);
  write("b.json", R"({"sample_rate": 27e6, "unit": "V", "format": "u8", "scale": 0.01, "offset": -0.6})");
  s = capture::open_video_samples(write("b.raw", std::string("\x00\x3c\xff", 3)));
  v = all(*s);
  EXPECT_NEAR(v[0], -0.6, 1e-6);
  EXPECT_NEAR(v[1], 0.0, 1e-6);
  EXPECT_NEAR(v[2], 1.95, 1e-6);
  EXPECT_LE(v[0], s->rails()->low);
  write("c.json", R"({"sample_rate": 27e6, "unit": "mV", "format": "f32le", "scale": 1})");
  v = all(*capture::open_video_samples(write("c.raw", bytes_of(std::vector<float>{700.0F, -300.0F}))));
  EXPECT_NEAR(v[0], 0.7, 1e-6);
}

TEST_F(VideoFiles, RawRefusals) {
  const fs::path raw = write("a.raw", std::string(1001, 'x'));
  EXPECT_NE(refusal(raw).find("sidecar a.json is missing"), std::string::npos);
  const auto with = [&](const std::string& sidecar) {
    write("a.json", sidecar);
    return refusal(raw);
  };
  EXPECT_NE(with("nonsense").find("not a JSON object"), std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 13.5e6, "format": "s16le", "scale": 1e-4})").find("not a whole number"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 13.5e6, "format": "u8"})").find("\"scale\" is missing"),
            std::string::npos);
  EXPECT_NE(with(R"({"format": "u8", "scale": 1})").find("\"sample_rate\" is missing"), std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": "fast", "format": "u8", "scale": 1})").find("sample_rate"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 48000, "format": "u8", "scale": 1})").find("too slow"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": -1, "format": "u8", "scale": 1})").find("cannot be right"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 13.5e6, "format": "s24", "scale": 1})").find("not known"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 13.5e6, "format": "u8", "scale": 0})").find("scale of 0"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 13.5e6, "format": "u8", "scale": 1, "frames": 77})")
                .find("do not belong together"),
            std::string::npos);
  EXPECT_NE(with(R"({"sample_rate": 13.5e6, "format": "u8", "scale": 1, "unit": "A"})").find("unit"),
            std::string::npos);
  write("a.json", R"({"sample_rate": 13.5e6, "format": "f32le", "scale": 1})");
  EXPECT_NE(refusal(write("a.raw", bytes_of(std::vector<float>{0.0F, std::nanf("")}))).find("sample 1"),
            std::string::npos);
  EXPECT_NE(refusal(write("a.raw", "")).find("no samples"), std::string::npos);
  EXPECT_NE(refusal(dir_ / "none.raw").find("not there"), std::string::npos);
}

TEST_F(VideoFiles, Wav) {
  const fs::path file = dir_ / "a.wav";
  SF_INFO info{};
  info.samplerate = 14318182;
  info.channels = 1;
  info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
  SNDFILE* f = sf_open(file.c_str(), SFM_WRITE, &info);
  const std::vector<float> x = {0.5F, -0.25F, 0.0F};
  (void)sf_writef_float(f, x.data(), 3);
  (void)sf_close(f);
  EXPECT_NE(refusal(file).find("--full-scale"), std::string::npos);
  auto s = capture::open_video_samples(file, {.full_scale_v = 2.0});
  EXPECT_NEAR(all(*s)[0], 1.0, 1e-4);
  EXPECT_TRUE(capture::looks_like_video_samples(file));
  write("a.json", R"({"sample_rate": 14318181.818, "scale": 1.5})");
  s = capture::open_video_samples(file);
  EXPECT_EQ(s->facts().sample_rate_hz, 14318181.818);
  EXPECT_NEAR(all(*s)[1], -0.375, 1e-4);
  write("a.json", R"({"sample_rate": 13500000, "scale": 1.5})");
  EXPECT_NE(refusal(file).find("correct one"), std::string::npos);
  EXPECT_NE(refusal(write("b.wav", "RIFFxx")).find("cannot be read"), std::string::npos);
}

std::string csv(const std::string& head, char separator, bool comma, int rows, double step, int digits) {
  std::string out = head;
  for (int i = 0; i < rows; ++i) {
    std::string row = fmt::format("{:.{}e}{}{:.4f}", i * step - 1e-5, digits, separator, 0.001 * (i % 700));
    if (comma) std::replace(row.begin(), row.end(), '.', ',');
    out += row + "\r\n";
  }
  return out;
}

TEST_F(VideoFiles, CsvStyles) {
  auto s = capture::open_video_samples(
      write("a.csv", csv("Model,X\nSource,CH1\nSecond,Volt\n", ',', false, 5000, 1 / 20e6, 9)));
  EXPECT_NEAR(s->facts().sample_rate_hz, 20e6, 1);
  EXPECT_EQ(all(*s).size(), 5000U);
  s = capture::open_video_samples(
      write("b.csv", csv("Zeit;Kanal A\n(s);(V)\n\n", ';', true, 5000, 1 / 13.5e6, 9)));
  EXPECT_NEAR(s->facts().sample_rate_hz, 13.5e6, 1);
  EXPECT_NEAR(all(*s)[699], 0.699, 1e-6);
  // Times with few digits: single steps jump by a fifth, the rate is still right.
  s = capture::open_video_samples(write("c.csv", csv("t,v\n", ',', false, 30000, 1 / 20e6, 4)));
  EXPECT_NEAR(s->facts().sample_rate_hz, 20e6, 20);
  EXPECT_EQ(all(*s).size(), 30000U);
  s = capture::open_video_samples(
      write("d.csv", csv("Time (ms)\tA (mV)\n", '\t', false, 5000, 1e3 / 20e6, 9)));
  EXPECT_NEAR(s->facts().sample_rate_hz, 20e6, 1);
  EXPECT_NEAR(all(*s)[699], 0.000699, 1e-9);
}

TEST_F(VideoFiles, CsvRefusals) {
  const std::string good = csv("t,v\n", ',', false, 3000, 5e-8, 9);
  auto line = [&](int n) {  // where line n (from 1) starts
    std::size_t at = 0;
    for (int i = 1; i < n; ++i) at = good.find('\n', at) + 1;
    return at;
  };
  std::string gap = good;
  gap.erase(line(1001), line(1011) - line(1001));
  const std::string said = refusal(write("gap.csv", gap));
  EXPECT_NE(said.find("line 1001"), std::string::npos) << said;
  EXPECT_NE(said.find("10 samples are missing"), std::string::npos) << said;
  std::string text = good;
  text.insert(line(501), "oops,1\n");
  EXPECT_NE(refusal(write("text.csv", text)).find("line 501"), std::string::npos);
  std::string nan = good;
  nan.insert(line(501), "2.0e-5,nan\n");
  EXPECT_NE(refusal(write("nan.csv", nan)).find("line 501: the value is not a number"), std::string::npos);
  std::string uneven = "t,v\n";
  double t = 0;
  for (int i = 0; i < 3000; ++i) {
    uneven += fmt::format("{:.9e},0.1\n", t);
    t += i < 1500 ? 5e-8 : 7e-8;
  }
  EXPECT_NE(refusal(write("uneven.csv", uneven)).find("not even"), std::string::npos);
  EXPECT_NE(refusal(write("empty.csv", "t,v\n")).find("no samples"), std::string::npos);
  EXPECT_NE(refusal(write("short.csv", "t,v\n0,1\n1e-7,2\n")).find("only 2 rows"), std::string::npos);
  EXPECT_NE(refusal(write("slow.csv", csv("t,v\n", ',', false, 3000, 1e-5, 9))).find("too slow"),
            std::string::npos);
  EXPECT_NE(refusal(write("back.csv", csv("t,v\n", ',', false, 3000, -5e-8, 9))).find("forward"),
            std::string::npos);
}

}  // namespace
