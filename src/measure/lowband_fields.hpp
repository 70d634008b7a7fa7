// Follows vertical sync from field to field and gathers what the readings are made of.
#pragma once

#include <array>
#include <complex>
#include <cstdint>
#include <functional>
#include <linebench/standards/video.hpp>
#include <optional>
#include <span>
#include <vector>

#include "lowband_find.hpp"
#include "lowband_shape.hpp"
#include "video_statistics.hpp"

namespace linebench::measure {

/// A straight line through any number of points, in bounded memory: neighbours are put together when there
/// are too many. The slope's error comes from the scatter of up to 16 stretches, so that slow wander counts.
class LineThroughPoints {
 public:
  void add(double x, double y);
  struct Result {
    double slope = 0;
    double offset = 0;          ///< y at x = 0
    double slope_expanded = 0;  ///< k=2; infinite with too few points
    std::size_t points = 0;
  };
  [[nodiscard]] Result result() const;

 private:
  struct Part {
    double n = 0, x = 0, y = 0;  // sums
  };
  std::vector<Part> parts_;
  double part_size_ = 1;
};

class LowbandFields {
 public:
  /// @param scale samples to mV. @param clock time is by the recorder's own clock.
  LowbandFields(double rate_hz, const FoundLowband& found, const standards::VideoStandard& standard);

  /// Takes the next samples (mV).
  void push(std::span<const float> mv);
  void finish();

  /// Called for each field that was found: its number, and when its first broad pulse began (s).
  std::function<void(std::int64_t number, double t_s)> on_field;

  struct Result {
    std::int64_t fields = 0;                     ///< vertical syncs found
    std::int64_t missing = 0;                    ///< places without one between the first and the last found
    LineThroughPoints::Result field_s;           ///< time over field number
    LineThroughPoints::Result line_phase;        ///< rad over s, re found.line_hz
    double sync = 0, sync_expanded = 0;          ///< mV; by scatter only
    double coupling = 0, coupling_expanded = 0;  ///< 1/s: the sum of all high-pass corners, 2 pi f
    double mean = 0, mean_expanded = 0;          ///< mV of a whole field re blanking, sync included
    double misfit = 0;                           ///< rms left of the averaged fit, re sync
    double drawn = 0;                            ///< VerticalFit::drawn
  };
  /// Valid after finish().
  [[nodiscard]] Result result() const;

 private:
  struct Group {
    std::vector<double> shape;  // sums on the grid
    double fields = 0;
    double whole = 0;   // fields that went into the three below
    double area = 0;    // mean of the samples over a field, sums over fields
    double moment = 0;  // mean over a field of the integral since its start
    double half_s = 0;  // half a field's length
  };
  bool next_field();
  void gather(double from_s, double to_s);
  [[nodiscard]] LowbandWindow window() const {
    return {{buffer_.data() + head_, buffer_.size() - head_}, base_, rate_hz_};
  }

  double rate_hz_;
  double line_hz_;
  VerticalShape shape_;
  std::vector<float> buffer_;
  std::size_t head_ = 0;
  std::int64_t base_ = 0;
  double next_s_ = 0;
  double period_s_ = 0;
  double sync_;
  std::int64_t number_ = 0;
  std::int64_t found_ = 0;
  std::int64_t missing_ = 0;
  std::int64_t missing_since_ = 0;
  std::optional<double> last_s_;  // the field before, where it was found
  std::optional<double> phase_;
  double sum_ = 0;  // of all samples of whole fields, and their count
  double count_ = 0;
  LineThroughPoints field_line_;
  LineThroughPoints phase_line_;
  std::array<Group, line_groups> groups_;
  std::vector<double> values_;
};

}  // namespace linebench::measure
