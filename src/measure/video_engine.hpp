// From samples to lines: the buffer, the tracker, the counter and the subcarrier, put together.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <linebench/capture/video_samples.hpp>
#include <linebench/measure/video_line.hpp>
#include <linebench/measure/video_receiver.hpp>
#include <span>
#include <vector>

#include "video_count.hpp"
#include "video_subcarrier.hpp"
#include "video_tracker.hpp"

namespace linebench::measure {

/// A stretch of the capture in memory that moves forward.
class SampleBuffer {
 public:
  explicit SampleBuffer(capture::VideoSource& source) : source_(source), rails_(source.rails()) {}
  /// Reads on until `end` (sample index) is in memory or the source is at its end. False: it is not there.
  bool reach(std::int64_t end);
  /// Forgets what lies before `begin`.
  void forget(std::int64_t begin);
  /// Makes room for that many samples at once; what is not asked for is found as it is needed.
  void make_room(std::size_t samples) { grow(samples); }
  [[nodiscard]] std::int64_t begin() const { return base_; }
  [[nodiscard]] std::int64_t end() const { return base_ + static_cast<std::int64_t>(filled_ - head_); }
  [[nodiscard]] const float* data() const { return samples_.data() + head_; }
  [[nodiscard]] SampleWindow window(bool inverted) const {
    return {data(), begin(), end(), inverted ? -1.0F : 1.0F};
  }
  void count_into(VideoReceiver::Counts& c) const;

 private:
  void survey(std::span<const float> fresh);
  void grow(std::size_t samples);
  capture::VideoSource& source_;
  std::optional<capture::VideoSource::Rails> rails_;
  std::vector<float> samples_;  // room, of which head_..filled_-1 are samples
  std::size_t head_ = 0;
  std::size_t filled_ = 0;
  std::int64_t base_ = 0;
  bool ended_ = false;
  bool any_ = false;
  float highest_ = 0;
  float lowest_ = 0;
  std::uint64_t clipped_ = 0;
  std::uint64_t at_highest_ = 0;
  std::uint64_t at_lowest_ = 0;
};

/// One run over the lines of a buffer.
class LineEngine {
 public:
  LineEngine(SampleBuffer& buffer, const VideoSetup& setup, const FoundSync& sync,
             const FieldStructure& fields, const FoundSubcarrier& colour, double back_porch_end_us);
  /// Measures the next line and hands out the one before it. False at the end of the samples.
  bool step(std::span<LineMeter* const> meters);
  void keep_all() { keep_all_ = true; }  ///< the buffer is not to forget anything (acquisition)
  [[nodiscard]] const LineTracker& tracker() const { return tracker_; }
  [[nodiscard]] std::uint64_t lines() const { return lines_; }
  [[nodiscard]] std::uint64_t missing() const { return missing_; }
  [[nodiscard]] std::uint64_t relocks() const { return relocks_; }
  [[nodiscard]] double subcarrier_hz() const { return subcarrier_.hz(); }

 private:
  void hand_out(std::span<LineMeter* const> meters);
  void fill_line(const LineMark& before, const LineMark& now, const LineMark& after, LineView& v);
  void look_again();

  SampleBuffer& buffer_;
  VideoSetup setup_;
  LineTracker tracker_;
  LineCounter counter_;
  SubcarrierLock subcarrier_;
  std::array<LineMark, 3> marks_{};
  int have_ = 0;
  std::vector<float> mv_;
  bool keep_all_ = false;
  std::uint64_t lines_ = 0;
  std::uint64_t missing_ = 0;
  std::uint64_t relocks_ = 0;
};

}  // namespace linebench::measure
