// Files that hold a capture, and what stands beside them.
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/video_samples.hpp>
#include <string>

#include "scratch.hpp"
#include "target.hpp"

using namespace linebench;

namespace {

// The RIFF layout, 16 bit mono, 48 kHz, four samples.
std::string small_wav() {
  const std::string body("\x01\x00\x02\x00\xff\xff\x00\x00", 8);
  std::string s(
      "RIFF\x2c\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x80\xbb\x00\x00\x00\x77\x01\x00"
      "\x02\x00\x10\x00"
      "data\x08\x00\x00\x00",
      44);
  return s + body;
}

}  // namespace

FUZZ_TARGET(sound_file) {
  const auto file = fuzz::scratch("sound/capture.wav", input);
  fuzz::reads([&] { fuzz::read_all(*capture::open_audio_file(file)); });
  (void)capture::looks_like_video_samples(file);
  fuzz::reads([&] { fuzz::read_all(*capture::open_video_samples(file, {.full_scale_v = 1.0})); });
}

FUZZ_TARGET(facts) {
  static const auto wav = fuzz::scratch("facts/capture.wav", small_wav());
  fuzz::scratch("facts/capture.facts.json", input);
  fuzz::reads([&] {
    const auto source = capture::open_audio_file(wav);
    fuzz::require(source->facts().sample_rate_hz == 48000 && source->facts().channels == 1,
                  "a sidecar changes nothing that the file itself says");
    fuzz::read_all(*source);
  });
}

// Sidecar, then samples.
FUZZ_TARGET(raw_video) {
  const auto [sidecar, samples] = fuzz::split(input);
  fuzz::scratch("raw/capture.json", sidecar);
  const auto file = fuzz::scratch("raw/capture.raw", samples);
  fuzz::reads([&] { fuzz::read_all(*capture::open_video_samples(file)); });
}

// Sidecar, then how the frames begin; what is missing of three small ones is filled up.
FUZZ_TARGET(yuv) {
  const auto [sidecar, begin] = fuzz::split(input);
  std::string frames(begin);
  if (frames.size() < 3 * 2 * 64 * 64) frames.resize(3 * 2 * 64 * 64, '\x80');
  fuzz::scratch("yuv/capture.json", sidecar);
  const auto file = fuzz::scratch("yuv/capture.yuv", frames);
  fuzz::reads([&] { fuzz::read_all(*capture::open_frames(file)); });
}

FUZZ_TARGET(csv) {
  const auto file = fuzz::scratch("csv/capture.csv", input);
  fuzz::reads([&] { fuzz::read_all(*capture::open_video_samples(file)); });
}
