// The waveform view as a script and a person see it.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/capture/audio_file.hpp>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "support/lowband_synth.hpp"
#include "support/video_synth.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;
namespace fs = std::filesystem;

constexpr double rate = 18e6;

// What a terminal's width has cut into lines.
std::string in_one_line(const std::string& text) {
  std::string out;
  for (const char c : text) {
    const bool space = c == ' ' || c == '\n';
    if (!space || out.empty() || out.back() != ' ') out += space ? ' ' : c;
  }
  return out;
}

std::vector<float> camera(bool is_625, double gain = 1) {
  video_synth::Wave w = is_625 ? video_synth::wave_625() : video_synth::wave_525();
  const double white = is_625 ? 700 : 5000.0 / 7;
  w.picture = video_synth::bars(w, white, 0.75, 0.75, is_625 ? 0 : 0.075 * white);
  w.gain = gain;
  w.noise_mv = 1;
  return video_synth::make(w, rate, 0.13);
}

void write_raw(const fs::path& file, const std::vector<float>& volts, const std::string& sidecar) {
  std::ofstream(file, std::ios::binary)
      .write(reinterpret_cast<const char*>(volts.data()), static_cast<std::streamsize>(4 * volts.size()));
  fs::path beside = file;
  if (!sidecar.empty()) std::ofstream(beside.replace_extension(".json")) << sidecar;
}

constexpr const char* good = R"({"sample_rate": 18e6, "unit": "V", "format": "f32le"})";

double value_of(const json& document, const std::string& id) {
  for (const auto& r : document.at("readings")) {
    if (r.at("id") == id) return r.at("value").get<double>();
  }
  return std::nan("");
}

class MeasureVideo : public ::testing::Test {
 protected:
  void refused(const std::string& arguments, int exit, const std::string& part) {
    SCOPED_TRACE(arguments);
    const auto r = run(folder, arguments);
    EXPECT_EQ(r.exit, exit) << r.out;
    EXPECT_TRUE(r.out.empty());
    EXPECT_EQ(std::count(r.err.begin(), r.err.end(), '\n'), 1) << r.err;
    EXPECT_TRUE(r.err.starts_with("linebench: ")) << r.err;
    EXPECT_NE(r.err.find(part), std::string::npos) << r.err;
  }
  Folder folder;
};

TEST_F(MeasureVideo, JudgesByTheSystemsSet) {
  write_raw(folder.path / "pal.raw", camera(true), good);
  write_raw(folder.path / "m.raw", camera(false), good);
  write_raw(folder.path / "open.raw", camera(true, 2), good);
  const auto pass = run(folder, "measure pal.raw --limits composite-625");
  EXPECT_EQ(pass.exit, 0) << pass.out;
  EXPECT_TRUE(pass.out.starts_with("PASS: ")) << pass.out;
  EXPECT_NE(pass.out.find("18 MHz"), std::string::npos) << pass.out;
  EXPECT_EQ(pass.out.find("mono"), std::string::npos) << pass.out;
  EXPECT_EQ(run(folder, "measure m.raw --limits composite-525").exit, 0);
  // Setup where none belongs fails; lines of the other system come before all that follows from them.
  const auto setup = run(folder, "measure m.raw --limits composite-525-no-setup");
  EXPECT_EQ(setup.exit, 1);
  EXPECT_TRUE(setup.out.starts_with("FAIL: black is too high")) << setup.out;
  EXPECT_TRUE(
      run(folder, "measure m.raw --limits composite-625").out.starts_with("FAIL: wrong scanning system"));
  const auto open = run(folder, "measure open.raw --limits composite-625 --html page.html");
  EXPECT_EQ(open.exit, 1);
  EXPECT_NE(open.out.find("missing 75 ohm termination"), std::string::npos) << open.out;
  EXPECT_NE(app_test::slurp(folder.path / "page.html").find("Sync amplitude"), std::string::npos);
  const json j = json::parse(run(folder, "measure pal.raw --json").out);
  EXPECT_EQ(j.at("input").at("kind"), "composite samples");
  EXPECT_NEAR(value_of(j, "video.sync.amplitude"), 300, 1);
}

TEST_F(MeasureVideo, WavNeedsItsFullScale) {
  std::vector<float> x = camera(true);
  for (float& v : x) v /= 2.0F;
  linebench::capture::AudioFileWriter writer(folder.path / "a.wav", rate, 1,
                                             linebench::capture::SampleFormat::Pcm16);
  writer.write(x);
  writer.close();
  refused("measure a.wav", 3, "--full-scale");
  const json j = json::parse(run(folder, "measure a.wav --full-scale 2 --json").out);
  EXPECT_NEAR(value_of(j, "video.sync.amplitude"), 300, 1);
  // Ten times too much: said with the readings, not as an error.
  const auto wrong = run(folder, "measure a.wav --full-scale 20");
  EXPECT_EQ(wrong.exit, 0);
  EXPECT_NE(in_one_line(wrong.out).find("cannot be a video level"), std::string::npos) << wrong.out;
  EXPECT_EQ(in_one_line(wrong.out).find(" mV)"), std::string::npos) << "no bound by a wrong scale\n"
                                                                    << wrong.out;
  EXPECT_EQ(wrong.out.find("Average picture level  "), std::string::npos) << wrong.out;
}

TEST_F(MeasureVideo, ClippedConverterIsSaid) {
  std::vector<float> x = camera(true);
  for (float& v : x) v = std::clamp(v / 0.4F, -1.0F, 1.0F);
  linebench::capture::AudioFileWriter writer(folder.path / "a.wav", rate, 1,
                                             linebench::capture::SampleFormat::Pcm16);
  writer.write(x);
  writer.close();
  const auto r = run(folder, "measure a.wav --full-scale 0.4");
  EXPECT_EQ(r.exit, 0);
  EXPECT_NE(in_one_line(r.out).find("the recorder clipped"), std::string::npos) << r.out;
}

TEST_F(MeasureVideo, BadInputIsOneLineAndThree) {
  const std::vector<float> x = camera(true);
  write_raw(folder.path / "bare.raw", x, "");
  refused("measure bare.raw", 3, "bare.json is missing");
  write_raw(folder.path / "format.raw", x, R"({"sample_rate": 18e6, "unit": "V", "format": "s24le"})");
  refused("measure format.raw", 3, "s24le");
  write_raw(folder.path / "count.raw", x,
            R"({"sample_rate": 18e6, "unit": "V", "format": "f32le", "frames": 100})");
  refused("measure count.raw", 3, "do not belong together");
  write_raw(folder.path / "slow.raw", x, R"({"sample_rate": 192000, "unit": "V", "format": "f32le"})");
  refused("measure slow.raw", 3, "too slow");
  write_raw(folder.path / "scale.raw", x,
            R"({"sample_rate": 18e6, "unit": "V", "format": "f32le", "scale": 0})");
  refused("measure scale.raw", 3, "scale");
  std::ofstream csv(folder.path / "gap.csv");
  csv << "Time (s),Voltage (V)\n";
  for (int i = 0; i < 40000; ++i)
    csv << (i + (i > 30000 ? 7 : 0)) / rate << "," << x[static_cast<std::size_t>(i)] << "\n";
  csv.close();
  refused("measure gap.csv", 3, "gap.csv line");
  refused("measure nowhere.raw", 3, "not there");
  linebench::capture::AudioFileWriter writer(folder.path / "tone.wav", 48000, 1,
                                             linebench::capture::SampleFormat::Pcm16);
  writer.write(std::vector<float>(48000, 0.1F));
  writer.close();
  refused("measure tone.wav --view waveform --full-scale 1", 3, "--view lowband");
  write_raw(folder.path / "pal.raw", x, good);
  refused("measure pal.raw --view audio", 3, "--view waveform");
  refused("measure pal.raw --full-scale 1", 3, "sidecar");
}

TEST_F(MeasureVideo, OptionsOfAnotherViewAreBadUsage) {
  write_raw(folder.path / "pal.raw", camera(true), good);
  refused("measure pal.raw --tone 1000", 2, "--tone");
  refused("measure pal.raw --velocity-factor nan", 2, "0.66");
  refused("measure pal.raw --system 405", 2, "405");
}

TEST_F(MeasureVideo, PicturesToThePageAndAsPng) {
  write_raw(folder.path / "pal.raw", camera(true), good);
  const auto r = run(folder, "measure pal.raw --png a.png --line 100 --html a.html");
  EXPECT_EQ(r.exit, 0) << r.err;
  const std::string png = app_test::slurp(folder.path / "a.png");
  ASSERT_GT(png.size(), 20000U);
  EXPECT_EQ(png.substr(1, 3), "PNG");
  EXPECT_NE(app_test::slurp(folder.path / "a.html").find("Line 100"), std::string::npos);
  refused("measure pal.raw --png a.jpg", 2, ".png");
  refused("measure pal.raw --png no/such/a.png", 3, "a.png");
}

TEST_F(MeasureVideo, LowbandOfASoundCardsRecording) {
  lowband_synth::Card card;
  card.rate_hz = 96000;
  card.full_scale_v = 1;
  linebench::capture::AudioFileWriter writer(folder.path / "card.wav", 96000, 1,
                                             linebench::capture::SampleFormat::Pcm24);
  writer.write(lowband_synth::make(card, 1.5, 1));
  writer.close();
  const auto judged = run(folder, "measure card.wav --view lowband --full-scale 1 --limits lowband-625");
  EXPECT_EQ(judged.exit, 0) << judged.out;
  // The same through a pad of 2 to 1: half the volts at the card stand for the same on the line.
  const json j =
      json::parse(run(folder, "measure card.wav --view lowband --full-scale 0.5 --pad 2 --json").out);
  EXPECT_NEAR(value_of(j, "video.sync.amplitude"), 300, 5);
  EXPECT_NEAR(value_of(j, "video.line.frequency"), 15625, 0.1);
  const json bare = json::parse(run(folder, "measure card.wav --view lowband --json").out);
  for (const auto& r : bare.at("readings")) {
    if (r.at("id") == "video.sync.amplitude") {
      EXPECT_EQ(r.at("verdict"), "unmeasurable");
    }
  }
  refused("measure card.wav --view lowband --pad 0.5", 2, "--pad");
  refused("measure card.wav --view lowband --png a.png", 2, "--png");
  refused("measure card.wav --pad 2", 2, "--pad");
  write_raw(folder.path / "pal.raw", camera(true), good);
  refused("measure pal.raw --view lowband", 3, "--view waveform");
}

TEST_F(MeasureVideo, NothingThereIsNotMeasured) {
  std::vector<float> noise(2'400'000, 0.0F);
  video_synth::add_noise(noise, 100, 3);
  write_raw(folder.path / "noise.raw", noise, good);
  const auto r = run(folder, "measure noise.raw --limits composite-625 --json");
  EXPECT_EQ(r.exit, 1);
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("verdict"), "fail");
  for (const auto& reading : j.at("readings")) {
    if (reading.at("id") == "video.signal") {
      EXPECT_EQ(reading.at("value"), "none");
    } else {
      EXPECT_EQ(reading.at("verdict"), "unmeasurable") << reading.at("id");
    }
  }
  // Nor does it pass where no limits are named.
  const auto bare = run(folder, "measure noise.raw --json");
  EXPECT_EQ(bare.exit, 1);
  EXPECT_EQ(json::parse(bare.out).at("verdict"), "incomplete");
}

}  // namespace
