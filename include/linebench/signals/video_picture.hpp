// Test pictures as what stands on each line: one description, from which the composite encoder, the BT.601
// frames and a receiver that wants to know where to measure all work.
//
// Element times are this program's own choice where the standards' exact start times are not to hand; those
// of the composite line follow the insertion lines of both systems as commonly used (from memory).
#pragma once

#include <cstdint>
#include <linebench/standards/video.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::signals {

/// Shape of one element along the line.
enum class ElementShape {
  Flat,   ///< level_mv from start to end, chroma on top of it where chroma_pp_mv > 0
  Ramp,   ///< from level_mv at start to end_level_mv at end, chroma as for Flat
  Pulse,  ///< sin^2 pulse of half-amplitude duration had_ns, peak level_mv, centred between start and end
  ModulatedPulse,  ///< the same with subcarrier: luma peak level_mv, chroma p-p at the peak chroma_pp_mv
  Packet,  ///< sine of frequency_hz on level_mv, chroma_pp_mv peak to peak, sine's zero crossing at start
};

/// One element. Times in us from 0H: 50 % points of its edges (pulses: centre -+ had). Levels in mV, blanking
/// = 0. Edges are integrated sin^2 steps of half-amplitude duration edge_had_ns; chroma envelopes have their
/// own (chroma_edge_had_ns below).
struct TestElement {
  std::string name{};  ///< "yellow", "riser 3", "2T pulse", "packet 4.20 MHz"
  ElementShape shape = ElementShape::Flat;
  double start_us = 0;
  double end_us = 0;
  double level_mv = 0;
  double end_level_mv = 0;  ///< Ramp only
  double chroma_pp_mv = 0;
  double chroma_deg = 0;  ///< from +(B-Y) on lines with V positive; 625 mirrors it where V is inverted
  double frequency_hz = 0;
  double had_ns = 0;
  double edge_had_ns = 0;

  [[nodiscard]] double centre_us() const { return (start_us + end_us) / 2; }
};

/// What a line shows between its blanking edges; where no element stands it rests at base_mv.
struct TestLine {
  std::string kind{};  ///< "bars", "staircase", "multiburst", ...: the picture this line can stand for
  double base_mv = 0;
  std::vector<TestElement>
      elements{};  ///< sorted by start; flats may touch, nothing overlaps but pulses' feet
};

/// The same line on a band of rows of the interleaved frame (0 at the top), both fields alike.
struct TestBand {
  int first_row = 0;
  int last_row = 0;  ///< inclusive
  TestLine line{};
};

struct TestPicture {
  std::string name{};
  std::vector<TestBand> bands{};      ///< cover all rows, top to bottom
  std::vector<TestBand> alternate{};  ///< shown in turn with `bands` where not empty (bounce)
  int alternate_every_frames = 0;
  bool sync_only = false;  ///< no burst either

  /// Whether `alternate` stands on a frame (>= 0).
  [[nodiscard]] bool is_alternate(std::int64_t frame) const {
    return alternate_every_frames > 0 && (frame / alternate_every_frames) % 2 != 0;
  }
  /// The line on a row, in the given frame. std::out_of_range where there is none.
  [[nodiscard]] const TestLine& line_at(std::int64_t frame, int row) const;
};

/// What to draw. Only what the picture knows is used; the rest keeps its default.
struct PictureSpec {
  std::string picture = "bars";  ///< one of picture_names()
  std::string form = "75";       ///< bars: "75", "100", "100-0-75-0"
  int risers = 5;                ///< staircase: 5 or 10
  bool subcarrier = false;       ///< staircase, ramp: with subcarrier (40 IRE, 280 mV p-p) on the U axis
  double level_percent = 100;    ///< flat, window: black = 0, white = 100
  double low_percent = 10;       ///< bounce
  double high_percent = 90;
  double seconds = 2;  ///< bounce: time at each level
};

/// "bars", "staircase", "ramp", "pulse-bar", "modulated-pulse", "composite-line", "multiburst", "flat",
/// "window", "bounce", "crosshatch", "field-square", "red", "bands" (several in one picture), "sync" (no
/// picture, no burst).
[[nodiscard]] std::vector<std::string_view> picture_names();

/// The picture in a system. Throws Error(Usage) for a name, form or number it does not know.
[[nodiscard]] TestPicture describe(const PictureSpec& spec, const standards::VideoStandard& standard);

/// 10 to 90 % rise time of an integrated sin^2 step over its half-amplitude duration: 2x with
/// x/2 + sin(pi x)/(2 pi) = 0.4.
inline constexpr double rise_per_had = 0.964376655659473;
/// Envelope of chroma in a picture: -2 dB at 1.3 MHz, -20 dB at 3.6 MHz and beyond, inside the limits of both
/// systems for coded colour difference (< 2 dB at 1.3 MHz, > 20 dB at 3.6 MHz [170M, from memory]).
inline constexpr double chroma_edge_had_ns = 230;

}  // namespace linebench::signals
