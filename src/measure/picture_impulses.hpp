// Sparkle: points of a picture that stand out of what lies beside them in their row.
#pragma once

#include <linebench/base/reading.hpp>

#include "picture_view.hpp"

namespace linebench::measure {

/// picture.impulses. Looked for where a test picture is level along a row, clear of its edges, against
/// what stands 1.2 us before and after: hum, gain control and whole rows that are brighter change nothing.
class PictureImpulseMeter final : public FrameMeter {
 public:
  explicit PictureImpulseMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  /// @param refused why rows cannot be told to stand where they stood; empty: they do
  void finish(const std::string& refused, Readings& out) const;

 private:
  const PictureSetup& setup_;
  std::vector<std::uint8_t> level_;   // of each luma sample, 255 where it is looked at
  std::uint64_t looked_ = 0;          // of a frame
  std::vector<std::uint8_t> beyond_;  // scratch, a row's
  int least_ = 0;                     // codes
  std::uint64_t frames_ = 0, seen_ = 0, samples_ = 0;
};

}  // namespace linebench::measure
