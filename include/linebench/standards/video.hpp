// Every timing and level constant of composite video, 525 lines / 59.94 fields (M) and 625 lines / 50 fields
// (B, D, G, H and I). Levels in mV across 75 ohm with blanking = 0; times from 0H, the 50 % point of the line
// sync's leading edge; widths and porches between 50 % points.
//
// Source tags: [170M] SMPTE ST 170M; [BT.470] ITU-R BT.470-6 / BT.1700; [73.682] 47 CFR 73.682; [N.60] CCITT
// N.60; [BT.601] ITU-R BT.601; [D23] EBU D 23. A tag with Status::Memory means: attributed to it, not read
// there yet.
#pragma once

#include <array>
#include <cstdint>
#include <linebench/standards/sourced.hpp>
#include <optional>
#include <span>
#include <string_view>

namespace linebench::standards {

enum class VideoSystem {
  M525,         ///< 525/59.94 with 7.5 % setup
  M525NoSetup,  ///< 525/59.94, black = blanking (as used in Japan)
  B625,         ///< 625/50, B, D, G, H
  I625,         ///< 625/50, I: other tolerances and porch
};

/// One system. All members are plain constants; see the instances below.
struct VideoStandard {
  VideoSystem system = VideoSystem::M525;
  std::string_view name{};   ///< "525", "525-no-setup", "625", "625-i": the command line's words
  std::string_view label{};  ///< for people

  // Frequencies, exact
  int lines_per_frame = 0;
  Rational line_rate_hz{};
  Rational subcarrier_hz{};
  Rational subcarrier_cycles_per_line{};
  int colour_fields = 0;  ///< fields until subcarrier, sync and V switch repeat: 4 or 8
  Spec line_rate_spec_hz{};
  Spec subcarrier_spec_hz{};

  // Levels
  Spec sync_mv{};  ///< negative
  Spec black_mv{};
  Spec white_mv{};
  Spec burst_pp_mv{};
  double setup_fraction =
      0;  ///< black above blanking as a share of white; picture signals shrink by 1 - this
  double maximum_with_colour_mv = 0;  ///< above sync tip [N.60]

  // Line timing
  Spec sync_width_us{};
  Spec line_blanking_us{};
  Spec front_porch_us{};    ///< end of picture to 0H
  Spec active_start_us{};   ///< 0H to end of line blanking
  Spec sync_rise_ns{};      ///< 10 to 90 %
  Spec blanking_rise_ns{};  ///< 10 to 90 %
  Spec burst_start_us{};    ///< to the envelope's 50 % point
  Spec burst_cycles{};      ///< between the envelope's 50 % points
  Spec burst_rise_ns{};     ///< envelope, 10 to 90 %

  // Field timing
  int equalising_before = 0;  ///< half-line pulses
  int broad = 0;
  int equalising_after = 0;
  Spec equalising_width_us{};
  Spec broad_width_us{};  ///< time at sync level
  Spec serration_us{};    ///< gap between broad pulses
  Spec field_blanking_lines{};

  // Colour
  bool swinging_burst = false;  ///< burst and V alternate line by line
  double burst_axis_deg = 0;    ///< from +(B-Y): 180, or +-135 where swinging
  Spec sc_h_deg{};

  // Test waveforms and bandwidth
  double t_ns = 0;  ///< T: 1/(2 x nominal bandwidth) of the sin^2 pulses
  double video_bandwidth_hz = 0;
  double modulated_pulse_had_ns = 0;  ///< 12.5T (525), 20T (625): half-amplitude duration

  // Sampled form [BT.601]: 13.5 MHz luma
  int samples_per_line = 0;
  int zero_h_to_digital_active = 0;  ///< luma samples
  int active_rows = 0;               ///< picture rows per frame, both half lines counted as rows

  [[nodiscard]] constexpr bool is_525() const { return lines_per_frame == 525; }
  [[nodiscard]] constexpr double line_period_us() const {
    return 1e6 * static_cast<double>(line_rate_hz.den) / static_cast<double>(line_rate_hz.num);
  }
  [[nodiscard]] constexpr double half_line_us() const { return line_period_us() / 2; }
  [[nodiscard]] constexpr double field_rate_hz() const {
    return 2.0 * line_rate_hz.value() / lines_per_frame;
  }
  [[nodiscard]] constexpr double frame_rate_hz() const { return line_rate_hz.value() / lines_per_frame; }
  [[nodiscard]] constexpr double burst_length_us() const {
    return 1e6 * burst_cycles.nominal / subcarrier_hz.value();
  }
  [[nodiscard]] constexpr double active_end_us() const { return line_period_us() - front_porch_us.nominal; }
  [[nodiscard]] constexpr double active_width_us() const { return active_end_us() - active_start_us.nominal; }
  /// mV of a picture level given as a share of black-to-white (0 = black, 1 = white).
  [[nodiscard]] constexpr double picture_mv(double share) const {
    return white_mv.nominal * (setup_fraction + (1 - setup_fraction) * share);
  }
  /// mV of one per cent (625) or one IRE unit (525).
  [[nodiscard]] constexpr double percent_mv() const { return white_mv.nominal / 100; }
};

namespace detail {

inline constexpr double ire_mv = 1000.0 / 140.0;  // 140 IRE = 1 V sync tip to white [N.60], computed

constexpr VideoStandard make_525(bool setup) {
  using enum Status;
  VideoStandard s;
  s.system = setup ? VideoSystem::M525 : VideoSystem::M525NoSetup;
  s.name = setup ? "525" : "525-no-setup";
  s.label = setup ? "525 lines, 59.94 fields, setup 7.5 IRE" : "525 lines, 59.94 fields, no setup";
  s.lines_per_frame = 525;
  s.line_rate_hz = {2'250'000, 143};
  s.subcarrier_hz = {39'375'000, 11};
  s.subcarrier_cycles_per_line = {455, 2};
  s.colour_fields = 4;
  s.line_rate_spec_hz = {2'250'000.0 / 143, 0.044, 0.044, "[73.682]", Seen, Seen};
  s.subcarrier_spec_hz = {39'375'000.0 / 11, 10, 10, "[73.682]", Seen, Seen};

  s.sync_mv = {-40 * ire_mv, 2 * ire_mv, 2 * ire_mv, "[N.60]", Seen, Memory};
  s.black_mv = setup ? Spec{7.5 * ire_mv, 2.5 * ire_mv, 2.5 * ire_mv, "[73.682]", Memory, Memory}
                     : Spec{0, 2.5 * ire_mv, 2.5 * ire_mv, "[170M]", Memory, Memory};
  s.white_mv = {100 * ire_mv, 2 * ire_mv, 2 * ire_mv, "[N.60]", Seen, Memory};
  s.burst_pp_mv = {40 * ire_mv, 2 * ire_mv, 2 * ire_mv, "[170M]", Secondary, Memory};
  s.setup_fraction = setup ? 0.075 : 0.0;
  s.maximum_with_colour_mv = 1250;

  s.sync_width_us = {4.7, 0.1, 0.1, "[170M]", Secondary, Memory};
  s.line_blanking_us = {10.9, 0.2, 0.2, "[170M]", Secondary, Memory};
  s.front_porch_us = {1.5, 0.1, 0.1, "[170M]", Secondary, Memory};
  s.active_start_us = {9.4, 0.1, 0.1, "[170M]", Secondary, Memory};
  s.sync_rise_ns = {140, 20, 20, "[170M]", Memory, Memory};
  s.blanking_rise_ns = {140, 20, 20, "[170M]", Memory, Memory};
  s.burst_start_us = {19e6 * 11 / 39'375'000, 0.1, 0.1, "[170M]", Secondary, Memory};
  s.burst_cycles = {9, 1, 1, "[170M]", Secondary, Memory};
  s.burst_rise_ns = {300, 100, 200, "[170M]", Memory, Memory};

  s.equalising_before = s.broad = s.equalising_after = 6;
  s.equalising_width_us = {2.3, 0.1, 0.1, "[170M]", Secondary, Secondary};
  s.broad_width_us = {572.0 / 18 - 4.7, 0.1, 0.1, "[170M]", Computed, Memory};  // half line less serration
  s.serration_us = {4.7, 0.1, 0.1, "[170M]", Secondary, Memory};
  s.field_blanking_lines = {20, 1, 1, "[170M]", Memory, Memory};

  s.swinging_burst = false;
  s.burst_axis_deg = 180;
  s.sc_h_deg = {0, 10, 10, "[170M]", Memory, Memory};
  s.t_ns = 125;
  s.video_bandwidth_hz = 4.2e6;
  s.modulated_pulse_had_ns = 12.5 * 125;
  s.samples_per_line = 858;
  s.zero_h_to_digital_active = 122;
  s.active_rows = 486;
  return s;
}

constexpr VideoStandard make_625(bool system_i) {
  using enum Status;
  VideoStandard s;
  s.system = system_i ? VideoSystem::I625 : VideoSystem::B625;
  s.name = system_i ? "625-i" : "625";
  s.label = system_i ? "625 lines, 50 fields, system I" : "625 lines, 50 fields, systems B, D, G, H";
  s.lines_per_frame = 625;
  s.line_rate_hz = {15'625, 1};
  s.subcarrier_hz = {17'734'475, 4};
  s.subcarrier_cycles_per_line = {709'379, 2'500};  // 283.75 + 1/625
  s.colour_fields = 8;
  s.line_rate_spec_hz = {15'625, 0.02 * 15'625e-2, 0.02 * 15'625e-2, "[BT.470]", Secondary, Memory};
  s.subcarrier_spec_hz = system_i ? Spec{4'433'618.75, 1, 1, "[BT.470]", Secondary, Secondary}
                                  : Spec{4'433'618.75, 5, 5, "[BT.470]", Secondary, Secondary};

  s.sync_mv = {-300, 9, 9, "[N.60]", Seen, Memory};
  s.black_mv = {0, 14, 14, "[BT.470]", Secondary, Memory};
  s.white_mv = {700, 20, 20, "[N.60]", Seen, Memory};
  s.burst_pp_mv = {300, 30, 30, "[BT.470]", Secondary, Memory};
  s.setup_fraction = 0;
  s.maximum_with_colour_mv = 1250;

  s.sync_width_us = system_i ? Spec{4.7, 0.1, 0.1, "[BT.470]", Secondary, Memory}
                             : Spec{4.7, 0.2, 0.2, "[BT.470]", Secondary, Secondary};
  s.line_blanking_us = system_i ? Spec{12.05, 0.25, 0.25, "[BT.470]", Secondary, Memory}
                                : Spec{12.0, 0.3, 0.3, "[BT.470]", Secondary, Memory};
  s.front_porch_us = system_i ? Spec{1.65, 0.1, 0.1, "[BT.470]", Memory, Memory}
                              : Spec{1.5, 0.3, 0.3, "[BT.470]", Secondary, Memory};
  s.active_start_us = system_i ? Spec{10.4, 0.2, 0.2, "[BT.470]", Computed, Memory}  // 12.05 - 1.65
                               : Spec{10.5, 0.3, 0.3, "[BT.470]", Secondary, Memory};
  s.sync_rise_ns = system_i ? Spec{250, 50, 50, "[BT.470]", Secondary, Memory}
                            : Spec{200, 100, 100, "[BT.470]", Secondary, Memory};
  s.blanking_rise_ns = {300, 100, 100, "[BT.470]", Memory, Memory};
  s.burst_start_us = {5.6, 0.1, 0.1, "[BT.470]", Secondary, Secondary};
  s.burst_cycles = {10, 1, 1, "[BT.470]", Secondary, Secondary};
  s.burst_rise_ns = {300, Spec::no_tolerance, Spec::no_tolerance, "common practice", Memory, Memory};

  s.equalising_before = s.broad = s.equalising_after = 5;
  s.equalising_width_us = {2.35, 0.1, 0.1, "[BT.470]", Secondary, Secondary};
  s.broad_width_us = {27.3, 0.2, 0.2, "[BT.470]", Secondary, Memory};
  s.serration_us = system_i ? Spec{4.7, 0.1, 0.1, "[BT.470]", Secondary, Memory}
                            : Spec{4.7, 0.2, 0.2, "[BT.470]", Secondary, Memory};
  s.field_blanking_lines = {25, 0.5, 0.5, "[BT.470]", Secondary, Memory};

  s.swinging_burst = true;
  s.burst_axis_deg = 135;
  s.sc_h_deg = {0, 20, 20, "[D23]", Memory, Memory};
  s.t_ns = 100;
  s.video_bandwidth_hz = system_i ? 5.5e6 : 5.0e6;
  s.modulated_pulse_had_ns = 20 * 100;
  s.samples_per_line = 864;
  s.zero_h_to_digital_active = 132;
  s.active_rows = 576;
  return s;
}

}  // namespace detail

inline constexpr VideoStandard video_525 = detail::make_525(true);
inline constexpr VideoStandard video_525_no_setup = detail::make_525(false);
inline constexpr VideoStandard video_625 = detail::make_625(false);
inline constexpr VideoStandard video_625_i = detail::make_625(true);

/// The timing and levels that go with a number of lines, 525 or 625, where setup and system I do not count.
[[nodiscard]] constexpr const VideoStandard& standard_of(int lines) {
  return lines == 625 ? video_625 : video_525;
}

/// All systems, 525 first.
[[nodiscard]] std::span<const VideoStandard* const> video_standards();
[[nodiscard]] const VideoStandard& video_standard(VideoSystem system);
/// By name ("525", "525-no-setup", "625", "625-i"); nullptr when there is none.
[[nodiscard]] const VideoStandard* find_video_standard(std::string_view name);

}  // namespace linebench::standards
