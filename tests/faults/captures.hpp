// Captures from devices in memory whose every sample tells where it came from.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/frame_source.hpp>
#include <thread>

#include "capture/fake_sound.hpp"
#include "picture/fake_grabber.hpp"

namespace fault_test {

using namespace linebench;

/// Sample n of channel c, exact in 16 bits.
inline float mark(std::uint64_t n, std::size_t c) {
  return static_cast<float>((n * 7 + c * 11) % 30000) / 32768.0F;
}

inline fake::Behaviour counting_input() {
  fake::Behaviour b;
  b.path = [](std::uint64_t at, std::size_t frames, std::vector<float>& in, const std::vector<float>&) {
    const std::size_t channels = in.size() / frames;
    for (std::size_t i = 0; i < in.size(); ++i) in[i] = mark(at + i / channels, i % channels);
  };
  return b;
}

/// Takes sound in to a file, `speed` times as fast as in life.
/// @param shown is called with the thousandths of a second a person has been shown.
inline capture::Outcome take_sound(const std::filesystem::path& file, double seconds, double speed,
                                   const std::function<void(std::uint64_t)>& shown = {}) {
  fake::System system(counting_input());
  system.on_sleep = [&] {
    std::this_thread::sleep_for(std::chrono::duration<double, std::milli>(10 / speed));
  };
  capture::Session session(system, {.from = system.behaviour.devices[0]}, system);
  capture::AudioFileWriter writer(file, session.rate_hz(), session.inputs(), capture::SampleFormat::Pcm24);
  writer.begin({});
  capture::FileSink sink(writer);
  const auto watch = [&](const capture::SessionStatus& s) {
    if (shown) shown(static_cast<std::uint64_t>(s.done_s * 1000));
  };
  capture::Outcome out = session.run({.take = &sink, .seconds = seconds, .watch = watch});
  if (out.end != capture::End::StorageFailed) (void)writer.finish(out.facts);
  return out;
}

/// That the file holds the marks from the first sample on, unbroken. @return how many frames.
inline std::uint64_t expect_marks(const std::filesystem::path& file) {
  auto source = capture::open_audio_file(file);
  EXPECT_TRUE(source->facts().interrupted) << file;
  EXPECT_FALSE(source->facts().notes.empty()) << file;
  std::vector<float> x(2 * 4096);
  std::uint64_t at = 0;
  for (std::size_t n = 0; (n = source->read(x)) > 0; at += n) {
    for (std::size_t i = 0; i < 2 * n; ++i) {
      if (x[i] != mark(at + i / 2, i % 2)) {
        ADD_FAILURE() << file << ": another sample at frame " << at + i / 2;
        return at;
      }
    }
  }
  return at;
}

/// Takes frames in to a file: 64 x 64, one every 2 ms.
inline capture::PictureOutcome take_frames(const std::filesystem::path& file, std::uint32_t frames,
                                           const std::function<void(std::uint64_t)>& shown = {}) {
  fake_grabber::Stream stream(fake_grabber::setting(), fake_grabber::frames(frames));
  capture::YuvFileSink sink(file, stream.setting());
  // The watch is called a few times a second only; a frame handed over is as good as shown.
  struct Telling final : capture::FrameSink {
    capture::FrameSink& inner;
    const std::function<void(std::uint64_t)>& shown;
    std::uint64_t count = 0;
    Telling(capture::FrameSink& i, const std::function<void(std::uint64_t)>& s) : inner(i), shown(s) {}
    void write(std::span<const std::uint8_t> yuyv, const capture::FrameMark& mark) override {
      inner.write(yuyv, mark);
      ++count;
      if (shown) shown(count);
    }
  } telling(sink, shown);
  auto out = capture::take_picture(stream, "g", {.take = &telling, .seconds = frames / 25.0});
  if (out.end != capture::End::StorageFailed) (void)sink.finish(out);
  return out;
}

/// That the file holds whole frames of the fake grabber. @return how many.
inline std::uint64_t expect_frames(const std::filesystem::path& file) {
  const fake_grabber::Stream stream(fake_grabber::setting(), {});
  const auto source = capture::open_frames(file);
  EXPECT_TRUE(source->facts().interrupted) << file;
  capture::Frame f;
  std::uint64_t n = 0;
  for (; source->read(f); ++n) {
    for (std::size_t i = 0; i < f.y.size(); ++i) {
      if (f.y[i] != stream.buffer()[2 * i]) {
        ADD_FAILURE() << file << ": another picture in frame " << n;
        return n;
      }
    }
  }
  return n;
}

}  // namespace fault_test
