// The test-picture measures: all that needs to know what is on the line.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <map>
#include <optional>
#include <vector>

#include "video_content.hpp"
#include "video_field_tilt.hpp"
#include "video_pattern.hpp"
#include "video_replicates.hpp"
#include "video_sync.hpp"

namespace linebench::measure {

/// What was recognised, and the averages to read it off.
class KnownLines {
 public:
  KnownLines() = default;
  KnownLines(const ContentMeter& contents, const VideoSetup& setup)
      : known_(know_lines(contents, setup)), lines_(contents.lines()), noise_mv_(setup.noise_mv) {}
  [[nodiscard]] const std::vector<KnownLine>& all() const { return known_; }
  /// Lines of the capture that were sorted.
  [[nodiscard]] double lines() const { return lines_; }
  /// The one of most lines that has what `wanted` asks for; nullptr when there is none.
  template <class F>
  [[nodiscard]] const KnownLine* find(F&& wanted) const {
    for (const KnownLine& k : known_) {
      if (wanted(k)) return &k;
    }
    return nullptr;
  }
  /// Made when first asked for.
  [[nodiscard]] const Replicates& replicates_of(const KnownLine& k) const;

 private:
  std::vector<KnownLine> known_;
  double lines_ = 0;
  double noise_mv_ = 0;
  mutable std::map<const LineContent*, Replicates> made_;
};

/// video.pattern, bars, multiburst, K2T, pulse to bar, tilts, non-linearity, differential gain and phase,
/// chrominance delay and gain; and video.white from a bar where there is one. What is not there is
/// unmeasurable, with the picture that would show it.
class PictureMeter : public LineMeter {
 public:
  /// @param sync knows at the end whether the picture ends early; it must outlive this.
  PictureMeter(const VideoSetup& setup, const SyncMeter& sync)
      : sync_(sync), content_(setup), field_(setup) {}
  void line(const LineView& view) override {
    content_.line(view);
    field_.line(view);
  }
  void finish(const VideoSetup& setup, Readings& out) override;
  [[nodiscard]] const ContentMeter& content() const { return content_; }
  /// After finish(): what was recognised, most lines first.
  [[nodiscard]] const KnownLines& known() const { return known_; }

 private:
  const SyncMeter& sync_;
  ContentMeter content_;
  FieldTiltMeter field_;
  KnownLines known_;
};

// Each in a file of its own: readings of one kind of test waveform, or why there are none.
void read_bars(const KnownLines& known, const VideoSetup& setup, Readings& out);
void read_multiburst(const KnownLines& known, const VideoSetup& setup, Readings& out);
/// K2T, pulse to bar.
void read_pulse(const KnownLines& known, const VideoSetup& setup, Readings& out);
/// Line tilt; video.white, in place of the one that is there.
void read_bar(const KnownLines& known, const VideoSetup& setup, Readings& out);
/// Middle of the bar's top over the level beside it, mV.
[[nodiscard]] double bar_height_mv(const AveragedLine& a, const FoundBar& b);
void read_staircase(const KnownLines& known, const VideoSetup& setup, Readings& out);
void read_modulated_pulse(const KnownLines& known, const VideoSetup& setup, Readings& out);
/// video.setup in 525 lines, in place of the one that is there: black of colour bars; unmeasurable where
/// there are only test lines, which stand on blanking whatever the system.
void read_black(const KnownLines& known, const VideoSetup& setup, Readings& out);
/// For a picture that ends before blanking should begin: video.front_porch is unmeasurable where that is what
/// the test lines do.
void read_early_end(const KnownLines& known, Readings& out);

}  // namespace linebench::measure
