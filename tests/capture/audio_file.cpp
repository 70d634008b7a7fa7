// Files written come back exactly; files that are wrong are refused with one clear line.
#include <gtest/gtest.h>
#include <sndfile.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cmath>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <limits>
#include <linebench/base/error.hpp>
#include <linebench/capture/audio_file.hpp>
#include <string>
#include <vector>

#include "support/synth.hpp"
#include "temp_folder.hpp"

namespace {

namespace fs = std::filesystem;
using namespace linebench;
using capture::SampleFormat;

std::vector<float> read_all(AudioSource& source, std::size_t block_frames = 1000) {
  std::vector<float> all;
  std::vector<float> block(block_frames * static_cast<std::size_t>(source.facts().channels));
  while (const std::size_t n = source.read(block)) {
    all.insert(all.end(), block.begin(),
               block.begin() + static_cast<std::ptrdiff_t>(n * source.facts().channels));
  }
  return all;
}

std::vector<float> ramp(std::size_t n, float lo = -1.0F, float hi = 0.999F) {
  std::vector<float> x(n);
  for (std::size_t i = 0; i < n; ++i)
    x[i] = lo + (hi - lo) * static_cast<float>(i) / static_cast<float>(n - 1);
  return x;
}

/// The line of the error a file is refused with, checked for its exit code and form.
std::string refusal(const fs::path& path) {
  try {
    auto source = capture::open_audio_file(path);
    (void)read_all(*source);
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Unusable);
    const std::string line = e.what();
    EXPECT_EQ(line.find('\n'), std::string::npos) << line;
    EXPECT_NE(line.find(path.filename().string()), std::string::npos) << line;
    EXPECT_NE(line.find(';'), std::string::npos) << "says what to do: " << line;
    return line;
  }
  ADD_FAILURE() << path << " was accepted";
  return "";
}

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

void write_text(const fs::path& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

void write_with_sndfile(const fs::path& path, int format, int rate, int channels,
                        const std::vector<float>& x) {
  SF_INFO info{};
  info.samplerate = rate;
  info.channels = channels;
  info.format = format;
  SNDFILE* f = sf_open(path.c_str(), SFM_WRITE, &info);
  ASSERT_NE(f, nullptr) << sf_strerror(nullptr);
  sf_writef_float(f, x.data(), static_cast<sf_count_t>(x.size()) / channels);
  sf_close(f);
}

struct Kind {
  const char* name;
  SampleFormat format;
  double step;  // quantising step
  const char* words;
};

class RoundTrip : public testing::TestWithParam<Kind> {};

TEST_P(RoundTrip, SamplesAndFacts) {
  const TempFolder folder;
  const fs::path path = folder / GetParam().name;
  const std::vector<float> x = ramp(2 * 12345);
  CaptureFacts facts;
  facts.device = "ALSA: counter card";
  facts.clock_error_ppm = -3.5;
  facts.full_scale_v = 2.5;
  facts.calibration = "counter card, 2024-05-01";
  facts.xruns = 2;
  facts.signal = "tone-1k";
  facts.notes = {"One sentence."};
  {
    capture::AudioFileWriter writer(path, 44100, 2, GetParam().format);
    writer.write(std::span(x).first(2 * 5000));
    writer.write(std::span(x).subspan(2 * 5000));
    EXPECT_EQ(writer.frames(), 12345U);
    (void)writer.finish(facts);
  }
  auto source = capture::open_audio_file(path);
  const CaptureFacts& f = source->facts();
  EXPECT_EQ(f.format, GetParam().words);
  EXPECT_EQ(f.sample_rate_hz, 44100);
  EXPECT_EQ(f.channels, 2);
  EXPECT_EQ(f.frames, 12345U);
  EXPECT_EQ(f.device, facts.device);
  EXPECT_EQ(f.clock_error_ppm, facts.clock_error_ppm);
  EXPECT_EQ(f.full_scale_v, facts.full_scale_v);
  EXPECT_EQ(f.calibration, facts.calibration);
  EXPECT_EQ(f.xruns, 2U);
  EXPECT_EQ(f.signal, "tone-1k");
  EXPECT_EQ(f.notes, facts.notes);
  EXPECT_FALSE(f.interrupted);
  const std::vector<float> y = read_all(*source);
  ASSERT_EQ(y.size(), x.size());
  double worst = 0;
  for (std::size_t i = 0; i < x.size(); ++i) worst = std::max(worst, std::abs(double{x[i]} - double{y[i]}));
  EXPECT_LE(worst, GetParam().step / 2 * 1.0001);
  // What came from a device in this format goes through unchanged: a second generation is the same, bit for
  // bit.
  const fs::path second = folder / (std::string("second-") + GetParam().name);
  capture::AudioFileWriter writer(second, 44100, 2, GetParam().format);
  writer.write(y);
  writer.close();
  EXPECT_EQ(read_all(*capture::open_audio_file(second)), y);
}

INSTANTIATE_TEST_SUITE_P(Formats, RoundTrip,
                         testing::Values(Kind{"a.wav", SampleFormat::Pcm16, 0x1p-15, "WAV, 16 bit"},
                                         Kind{"a.wav", SampleFormat::Pcm24, 0x1p-23, "WAV, 24 bit"},
                                         Kind{"a.wav", SampleFormat::Pcm32, 0x1p-24, "WAV, 32 bit"},
                                         Kind{"a.wav", SampleFormat::Float32, 0, "WAV, 32 bit float"},
                                         Kind{"a.WAV", SampleFormat::Float64, 0, "WAV, 64 bit float"},
                                         Kind{"a.flac", SampleFormat::Pcm16, 0x1p-15, "FLAC, 16 bit"},
                                         Kind{"a.flac", SampleFormat::Pcm24, 0x1p-23, "FLAC, 24 bit"},
                                         Kind{"a.w64", SampleFormat::Pcm24, 0x1p-23, "W64, 24 bit"},
                                         Kind{"a.rf64", SampleFormat::Pcm32, 0x1p-24, "RF64, 32 bit"},
                                         Kind{"a.aiff", SampleFormat::Pcm24, 0x1p-23, "AIFF, 24 bit"},
                                         Kind{"a.aif", SampleFormat::Float32, 0, "AIFF, 32 bit float"}));

TEST(AudioFileWriter, StopsAtFullScaleInIntegerFormats) {
  const TempFolder folder;
  capture::AudioFileWriter writer(folder / "hot.wav", 48000, 1, SampleFormat::Pcm16);
  writer.write(std::vector<float>{1.5F, -1.5F, 1.0F, -1.0F, 0.0F});
  writer.close();
  const std::vector<float> expected{32767.0F / 32768.0F, -1.0F, 32767.0F / 32768.0F, -1.0F, 0.0F};
  EXPECT_EQ(read_all(*capture::open_audio_file(folder / "hot.wav")), expected);
}

TEST(AudioFileWriter, WhatWasWrittenBeforeACrashCanBeRead) {
  for (const char* name : {"crash.wav", "crash.w64", "crash.aiff", "crash.flac", "crash.rf64"}) {
    const TempFolder folder;
    const fs::path path = folder / name;
    capture::AudioFileWriter writer(path, 48000, 2, SampleFormat::Pcm24);
    const std::vector<float> second = ramp(2 * 48000);
    for (int i = 0; i < 3; ++i) writer.write(second);
    // The file as a crash would leave it: copied while the writer still has it open and has not finished.
    const fs::path left = folder / (std::string("left-") + name);
    fs::copy_file(path, left);
    auto source = capture::open_audio_file(left);
    EXPECT_GE(read_all(*source).size(), 2U * 48000 * 2) << name;
    EXPECT_GE(source->facts().frames, 2U * 48000) << name;
  }
}

TEST(AudioFileWriter, DiskFullIsSaidAndWhatIsThereIsKept) {
  const TempFolder folder;
  // A limit on file size stands in for a full disk: the write fails in the same place.
  rlimit before{};
  ASSERT_EQ(getrlimit(RLIMIT_FSIZE, &before), 0);
  auto* old = std::signal(SIGXFSZ, SIG_IGN);
  rlimit small = before;
  small.rlim_cur = 1'000'000;
  ASSERT_EQ(setrlimit(RLIMIT_FSIZE, &small), 0);
  std::string line;
  std::uint64_t kept = 0;
  {
    capture::AudioFileWriter writer(folder / "full.wav", 48000, 2, SampleFormat::Pcm24);
    const std::vector<float> x = ramp(2 * 4800);
    try {
      for (int i = 0; i < 1000; ++i) writer.write(x);
    } catch (const Error& e) {
      line = e.what();
      EXPECT_EQ(e.exit(), Exit::Unusable);
    }
    CaptureFacts facts;
    facts.interrupted = true;
    kept = writer.finish(facts).frames;
  }
  setrlimit(RLIMIT_FSIZE, &before);
  std::signal(SIGXFSZ, old);
  EXPECT_TRUE(has(line, "the disk is full")) << line;
  EXPECT_GT(kept, 160000U);
  auto source = capture::open_audio_file(folder / "full.wav");
  EXPECT_TRUE(source->facts().interrupted);
  EXPECT_NEAR(static_cast<double>(read_all(*source).size() / 2), static_cast<double>(kept), 1.0);
}

TEST(AudioFileWriter, RefusesWhatItCannotWrite) {
  const TempFolder folder;
  EXPECT_THROW(capture::AudioFileWriter(folder / "a.txt", 48000, 1, SampleFormat::Pcm16), Error);
  EXPECT_THROW(capture::AudioFileWriter(folder / "a.flac", 48000, 1, SampleFormat::Float32), Error);
  EXPECT_THROW(capture::AudioFileWriter(folder / "no/such/a.wav", 48000, 1, SampleFormat::Pcm16), Error);
  EXPECT_THROW((void)capture::pcm_format(20), Error);
}

TEST(AudioFileReader, RefusesWithOneClearLine) {
  const TempFolder folder;
  EXPECT_TRUE(has(refusal(folder / "nothing.wav"), "no such file"));
  fs::create_directory(folder / "folder.wav");
  EXPECT_TRUE(has(refusal(folder / "folder.wav"), "folder"));
  write_text(folder / "empty.wav", "");
  EXPECT_TRUE(has(refusal(folder / "empty.wav"), "empty"));
  write_text(folder / "text.wav", "vehicle lane 3, ticket counter 12\n" + std::string(5000, 'x'));
  EXPECT_TRUE(has(refusal(folder / "text.wav"), "not an audio file"));
  write_text(folder / "head.wav", "RIFF");
  EXPECT_TRUE(has(refusal(folder / "head.wav"), "not an audio file"));
  write_with_sndfile(folder / "none.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, {});
  EXPECT_TRUE(has(refusal(folder / "none.wav"), "no samples"));
  write_with_sndfile(folder / "none.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 48000, 1, {});
  EXPECT_FALSE(refusal(folder / "none.flac").empty());
  write_with_sndfile(folder / "slow.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 100, 1, ramp(1000));
  EXPECT_TRUE(has(refusal(folder / "slow.wav"), "100 Hz"));
  write_with_sndfile(folder / "fast.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 2'000'000, 1, ramp(1000));
  EXPECT_TRUE(has(refusal(folder / "fast.wav"), "2000000 Hz"));
}

TEST(AudioFileReader, ZeroChannelsInTheHeader) {
  const TempFolder folder;
  const fs::path path = folder / "zero.wav";
  write_with_sndfile(path, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, ramp(1000));
  std::fstream f(path, std::ios::in | std::ios::out | std::ios::binary);
  f.seekp(22);  // channel count of the fmt chunk
  f.write("\0\0", 2);
  f.close();
  EXPECT_FALSE(refusal(path).empty());
}

TEST(AudioFileReader, NamesTheFirstSampleThatIsNoNumber) {
  const TempFolder folder;
  std::vector<float> x = ramp(2 * 48000);
  x[2 * 24000 + 1] = std::numeric_limits<float>::quiet_NaN();
  x[2 * 40000] = std::numeric_limits<float>::infinity();
  write_with_sndfile(folder / "nan.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, x);
  const std::string line = refusal(folder / "nan.wav");
  EXPECT_TRUE(has(line, "not-a-number sample at 0.500000 s, right")) << line;
  x[2 * 24000 + 1] = -std::numeric_limits<float>::infinity();
  write_with_sndfile(folder / "inf.aiff", SF_FORMAT_AIFF | SF_FORMAT_DOUBLE, 48000, 2, x);
  EXPECT_TRUE(has(refusal(folder / "inf.aiff"), "infinite sample at 0.500000 s, right"));
  x.assign(3 * 997, 0.1F);
  x.back() = std::numeric_limits<float>::quiet_NaN();  // the last sample, in a rest that fills no block
  write_with_sndfile(folder / "last.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 3, x);
  EXPECT_TRUE(has(refusal(folder / "last.wav"), "channel 3"));
}

TEST(AudioFileReader, HugeButFiniteFloatsAreNotTakenForInfinite) {
  const TempFolder folder;
  write_with_sndfile(folder / "big.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 1,
                     std::vector<float>(100, 3e38F));
  try {
    read_all(*capture::open_audio_file(folder / "big.wav"));
    FAIL() << "samples far above full scale were taken";
  } catch (const Error& e) {
    EXPECT_NE(std::string(e.what()).find("3e+38"), std::string::npos) << e.what();
    EXPECT_EQ(std::string(e.what()).find("infinite"), std::string::npos) << e.what();
  }
}

class Truncated : public testing::TestWithParam<std::pair<const char*, int>> {};

TEST_P(Truncated, IsReadAsFarAsItGoesAndMarked) {
  const auto [name, container] = GetParam();
  const TempFolder folder;
  const fs::path path = folder / name;
  std::vector<float> x(48000);
  synth::add_noise(x, -20, 7);
  write_with_sndfile(path, container | SF_FORMAT_PCM_24, 48000, 1, x);
  fs::resize_file(path, fs::file_size(path) / 2);
  auto source = capture::open_audio_file(path);
  const std::size_t n = read_all(*source).size();
  EXPECT_NEAR(static_cast<double>(n), 24000, 4096);
  EXPECT_EQ(source->facts().frames, n);
  EXPECT_TRUE(source->facts().interrupted);
  ASSERT_EQ(source->facts().notes.size(), 1U);
  EXPECT_TRUE(has(source->facts().notes[0], "promises 1.000 s")) << source->facts().notes[0];
}

INSTANTIATE_TEST_SUITE_P(Containers, Truncated,
                         testing::Values(std::pair{"t.wav", SF_FORMAT_WAV}, std::pair{"t.w64", SF_FORMAT_W64},
                                         std::pair{"t.rf64", SF_FORMAT_RF64},
                                         std::pair{"t.aiff", SF_FORMAT_AIFF},
                                         std::pair{"t.flac", SF_FORMAT_FLAC}));

TEST(AudioFileReader, OpenEndedHeaderIsNotTakenForTruncated) {
  // A recorder writing into a pipe cannot go back to fill in the length and leaves all ones.
  const TempFolder folder;
  const fs::path path = folder / "pipe.wav";
  write_with_sndfile(path, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, ramp(48000));
  std::fstream f(path, std::ios::in | std::ios::out | std::ios::binary);
  f.seekp(4);
  f.write("\xff\xff\xff\xff", 4);
  f.seekp(40);
  f.write("\xff\xff\xff\xff", 4);
  f.close();
  auto source = capture::open_audio_file(path);
  EXPECT_EQ(read_all(*source).size(), 48000U);
  EXPECT_FALSE(source->facts().interrupted);
  EXPECT_TRUE(source->facts().notes.empty());
}

TEST(AudioFileReader, ForeignSidecarIsLeftAloneAndABrokenOneIsSaid) {
  const TempFolder folder;
  const fs::path path = folder / "a.wav";
  write_with_sndfile(path, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, ramp(1000));
  write_text(folder / "a.facts.json", R"({"sample_rate": 44100, "device": "other"})");
  auto source = capture::open_audio_file(path);
  EXPECT_EQ(source->facts().device, "");
  ASSERT_EQ(source->facts().notes.size(), 1U);
  write_text(folder / "a.facts.json", "{");
  EXPECT_THROW((void)capture::open_audio_file(path), Error);
  write_text(folder / "a.facts.json", R"({"xruns": "many"})");
  EXPECT_THROW((void)capture::open_audio_file(path), Error);
}

TEST(AudioFileReader, LossyCodingIsSaid) {
  const TempFolder folder;
  const fs::path path = folder / "a.ogg";
  write_with_sndfile(path, SF_FORMAT_OGG | SF_FORMAT_VORBIS, 48000, 1, ramp(48000));
  auto source = capture::open_audio_file(path);
  ASSERT_EQ(source->facts().notes.size(), 1U);
  EXPECT_TRUE(has(source->facts().notes[0], "coding loses"));
}

}  // namespace
