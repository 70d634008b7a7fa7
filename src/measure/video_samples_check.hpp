// What is wrong with the samples themselves: a converter driven to its end, a scale that cannot be right. The
// readings that it spoils become unmeasurable; the rest stay.
#pragma once

#include <linebench/measure/video_receiver.hpp>

namespace linebench::measure {

/// Takes the noise of the back porch, which tells a clipped tip from one without noise.
class SampleCheck : public LineMeter {
 public:
  void line(const LineView& view) override;
  /// Adds no readings.
  void finish(const VideoSetup& setup, Readings& out) override;
  /// Once all readings are there.
  void check(const VideoSetup& setup, const VideoReceiver::Counts& counts, Readings& readings) const;
  /// Where no signal was found: what the samples say about that goes to video.signal.
  static void check_nothing(const VideoReceiver::Counts& counts, Readings& readings);

 private:
  double difference2_ = 0;  // squared, of neighbours
  double pairs_ = 0;
};

}  // namespace linebench::measure
