// A line as a list of shapes at exact times: what a description (video_picture.hpp) and a line's structure
// come to.
#pragma once

#include <complex>
#include <linebench/signals/video_picture.hpp>
#include <linebench/signals/video_shapes.hpp>
#include <linebench/standards/video_lines.hpp>
#include <vector>

namespace linebench::signals {

/// What an event's amplitude multiplies.
enum class Carrier : std::uint8_t {
  None,        ///< luma: the real part of the amplitude, mV
  Subcarrier,  ///< U + jV, mV peak; V of lines with V positive, unless `fixed`
  Own,         ///< a sine of frequency_hz with its zero crossing at origin_us; mV peak
};

struct LineEvent {
  ShapeKind shape = ShapeKind::Step;
  Carrier carrier = Carrier::None;
  double at_us = 0;
  std::complex<double> amplitude{};  ///< mV; Slope: mV per us
  double had_ns = 0;
  double frequency_hz = 0;
  double origin_us = 0;
};

/// Where picture may stand on a line, us from 0H.
struct PictureWindow {
  double from_us = 0;
  double to_us = 0;
};
/// Of a whole or half line; empty (from >= to) where the line has no picture.
[[nodiscard]] PictureWindow picture_window(const standards::VideoStandard& s,
                                           const standards::LineStructure& l);

/// Sync, equalising and broad pulses and the burst (V positive: +135 deg or 180 deg).
void add_structure_events(std::vector<LineEvent>& events, const standards::VideoStandard& s,
                          const standards::LineStructure& l, bool burst);

/// The picture part inside a window, with blanking edges at its ends. Flats and ramps are cut at the window,
/// other elements that do not lie wholly inside are left out. All amplitudes of one carrier add up to 0.
void add_picture_events(std::vector<LineEvent>& events, const standards::VideoStandard& s,
                        const TestLine& line, const PictureWindow& window);

}  // namespace linebench::signals
