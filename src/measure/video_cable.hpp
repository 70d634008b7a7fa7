// Loss of the cable, and how much cable that is.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <string>

#include "video_cable_fit.hpp"
#include "video_echo.hpp"

namespace linebench::measure {

/// video.cable.loss, video.cable.length. A cable's loss goes with the root of frequency and leaves a tail
/// behind every edge that falls with the root of time; the loss that has to be taken back for sync and
/// porches to stand still is the cable's, whatever the source's edges were. The burst re sync is held against
/// it.
class CableMeter : public LineMeter {
 public:
  /// @param echo keeps the mean lines and knows the echoes; it must outlive this and finish before it.
  /// @param cable name of a type, see standards/cable.hpp.
  CableMeter(const EchoMeter& echo, std::string cable) : echo_(echo), cable_(std::move(cable)) {}
  void line(const LineView&) override {}
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  const EchoMeter& echo_;
  std::string cable_;
};

}  // namespace linebench::measure
