// A dead path must not pass, and the first line must say that it is dead.
#include <gtest/gtest.h>

#include <fstream>
#include <linebench/capture/audio_file.hpp>
#include <nlohmann/json.hpp>
#include <random>

#include "app/run_program.hpp"
#include "support/synth.hpp"

namespace {

using app_test::Folder;
using app_test::run;

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

constexpr double rate = 48000;

void write_wav(const std::filesystem::path& path, const std::vector<synth::Samples>& channels) {
  std::vector<float> interleaved(channels.size() * channels[0].size());
  for (std::size_t i = 0; i < channels[0].size(); ++i) {
    for (std::size_t c = 0; c < channels.size(); ++c) interleaved[i * channels.size() + c] = channels[c][i];
  }
  linebench::capture::AudioFileWriter writer(path, rate, static_cast<int>(channels.size()),
                                             linebench::capture::SampleFormat::Pcm24);
  writer.write(interleaved);
  writer.close();
}

synth::Samples noise(double dbfs, unsigned seed) {
  synth::Samples x(synth::count(3, rate));
  synth::add_noise(x, dbfs, seed);
  return x;
}
synth::Samples tone(double dbfs) {
  synth::Samples x = noise(-90, 1);
  synth::add_sine(x, rate, 1000, dbfs);
  return x;
}

class NoSignal : public ::testing::Test {
 protected:
  void SetUp() override {
    const synth::Samples zeros(synth::count(3, rate), 0.0F);
    write_wav(folder.path / "zeros.wav", {zeros});
    write_wav(folder.path / "zeros2.wav", {zeros, zeros});
    write_wav(folder.path / "half.wav", {tone(-18), zeros});
    write_wav(folder.path / "half-noise.wav", {noise(-95, 3), tone(-18)});
    write_wav(folder.path / "dc.wav", {synth::Samples(synth::count(3, rate), 0.001F)});
    write_wav(folder.path / "idle.wav", {noise(-85, 2)});
    write_wav(folder.path / "tone.wav", {tone(-18)});
  }
  Folder folder;
};

TEST_F(NoSignal, IsNeverAPass) {
  for (const char* set : {"speech-path", "wideband-path", "professional-feed", "consumer-feed"}) {
    for (const char* file : {"zeros.wav", "zeros2.wav", "half.wav", "half-noise.wav", "dc.wav"}) {
      const auto r = run(folder, std::string("measure ") + file + " --full-scale 5 --limits " + set);
      EXPECT_EQ(r.exit, 1) << file << " " << set;
      const std::string first = r.out.substr(0, r.out.find('\n'));
      EXPECT_TRUE(has(r.out.substr(0, 300), "no signal")) << file << " " << set << ": " << first;
      EXPECT_TRUE(has(r.out, "Do: ")) << file << " " << set;
    }
  }
}

TEST_F(NoSignal, IsTheFirstLineWithoutLimitsToo) {
  const auto r = run(folder, "measure zeros.wav");
  EXPECT_EQ(r.exit, 0);
  EXPECT_TRUE(r.out.starts_with("MEASURED: no signal: all samples are zero")) << r.out;
  EXPECT_TRUE(run(folder, "measure half.wav").out.starts_with("MEASURED: no signal on the right"));
  EXPECT_TRUE(run(folder, "measure half-noise.wav").out.starts_with("MEASURED: no signal on the left"));
}

TEST_F(NoSignal, NorIsThereVideoInNoise) {
  std::mt19937 gen(4);
  std::normal_distribution<double> mv(0, 2000);
  std::ofstream raw(folder.path / "noise.raw", std::ios::binary);
  for (int i = 0; i < 800'000; ++i) {
    const auto v = static_cast<std::int16_t>(mv(gen));
    raw.write(reinterpret_cast<const char*>(&v), 2);
  }
  std::ofstream(folder.path / "noise.json")
      << R"({"sample_rate": 13500000, "unit": "V", "format": "s16le", "scale": 0.00005})";
  raw.close();
  const auto r = run(folder, "measure noise.raw");
  EXPECT_TRUE(r.out.starts_with("MEASURED: no composite video: ")) << r.out;
}

TEST_F(NoSignal, FailsWhereOneIsKnownToHaveBeenSent) {
  const auto silent = run(folder, "measure idle.wav --signal tone-1k --limits speech-path");
  EXPECT_EQ(silent.exit, 1);
  EXPECT_TRUE(silent.out.starts_with("FAIL: nothing came back: ")) << silent.out;
  EXPECT_EQ(run(folder, "measure tone.wav --signal tone-1k --limits speech-path").exit, 0);
  // Another tone is not the one that was sent.
  EXPECT_EQ(run(folder, "measure tone.wav --signal tone-400 --limits speech-path").exit, 1);
}

TEST_F(NoSignal, AnIdlePathIsJudgedAndSaidToBeIdle) {
  const auto r = run(folder, "measure idle.wav --limits speech-path");
  EXPECT_EQ(r.exit, 0);
  EXPECT_TRUE(r.out.starts_with("PASS: ")) << r.out;
  EXPECT_TRUE(has(r.out.substr(0, 200), "nothing was being sent")) << r.out;
}

TEST_F(NoSignal, ResponseOfADeadPathIsOpenAndSaidFirst) {
  ASSERT_EQ(run(folder, "signals write sweep-speech --channels mono --out sweep.wav").exit, 0);
  write_wav(folder.path / "dead.wav", {noise(-85, 9)});
  const auto plain = run(folder, "response sweep.wav dead.wav");
  EXPECT_TRUE(plain.out.starts_with("MEASURED: nothing could be measured: ")) << plain.out;
  EXPECT_EQ(run(folder, "response sweep.wav dead.wav --limits speech-path").exit, 1);
}

TEST_F(NoSignal, ResponseOfAGoodPathPasses) {
  ASSERT_EQ(run(folder, "signals write sweep-speech --channels mono --bits float --out sweep.wav").exit, 0);
  auto file = linebench::capture::open_audio_file(folder.path / "sweep.wav");
  std::vector<float> x(file->facts().frames);
  x.resize(file->read(x));
  synth::Samples back(x.begin(), x.end());
  synth::add_noise(back, -80, 5);
  write_wav(folder.path / "back.wav", {back});
  const auto r = run(folder, "response sweep.wav back.wav --limits speech-path");
  EXPECT_EQ(r.exit, 0) << r.out;
  EXPECT_TRUE(r.out.starts_with("PASS: ")) << r.out;
}

TEST_F(NoSignal, APageThatCannotBeWrittenIsSaidBeforeMeasuring) {
  for (const char* page : {"/proc/x.html", "nowhere/x.html"}) {
    const auto r = run(folder, std::string("measure tone.wav --html ") + page);
    EXPECT_EQ(r.exit, 3) << page;
    EXPECT_EQ(r.out, "") << page;
    EXPECT_EQ(std::count(r.err.begin(), r.err.end(), '\n'), 1) << r.err;
  }
  for (const char* page : {".", "zeros.wav"}) {  // a folder, and a file that is no report
    const auto r = run(folder, std::string("measure tone.wav --html ") + page);
    EXPECT_EQ(r.exit, 2) << page << r.err;
  }
  EXPECT_EQ(run(folder, "measure tone.wav --html r.html").exit, 0);
  EXPECT_EQ(run(folder, "measure tone.wav --html r.html").exit, 0);  // an older report is replaced
}

TEST_F(NoSignal, LimitSetsAreListedWithTheBrokenOnesNamed) {
  const auto store = folder.path / "home" / "limits";
  std::filesystem::create_directories(store / "folder.toml");
  std::ofstream(store / "broken.toml") << "title = 3\n";
  const auto r = run(folder, "limits list");
  EXPECT_EQ(r.exit, 0);
  EXPECT_TRUE(has(r.out, "\nspeech-path ")) << r.out;
  EXPECT_FALSE(has(r.out + r.err, "folder"));
  EXPECT_TRUE(has(r.err, "broken.toml")) << r.err;
  EXPECT_EQ(std::count(r.err.begin(), r.err.end(), '\n'), 1) << r.err;
  const auto show = run(folder, "limits show speech-path");
  EXPECT_TRUE(has(show.out, "max -58 dBFS")) << show.out;
  EXPECT_EQ(run(folder, "limits show nix").exit, 2);
}

}  // namespace
