#include "cmd_calibrate_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/grabber.hpp>
#include <linebench/measure/picture.hpp>
#include <nlohmann/json.hpp>

#include "calibrate_steps.hpp"
#include "measure_frames.hpp"
#include "say.hpp"

namespace linebench::app {

namespace {

// A pad takes sync and white down alike: only two whites tell which of them the gain goes by.
std::string follows_what(const capture::GrabberCalibration& c) {
  if (c.gain.size() < 2) return "it follows sync or white; bars of 75 % and of 100 % tell which";
  const auto& [low, high] = std::minmax(c.gain.front().percent.value, c.gain.back().percent.value);
  return high > 1.015 * low ? "it follows sync, and white too" : "it follows sync";
}

}  // namespace

void print_grabber(const capture::GrabberCalibration& c) {
  print("{}, {} lines\n", c.device, c.lines);
  const auto line = [](const std::string& what, const std::string& value) {
    print("  {:<13} {}\n", what, value);
  };
  for (const auto& g : c.gain)
    line("gain", fmt::format("{:.1f} % \u00b1{:.1f} with white of {:.0f} %", g.percent.value, g.percent.u,
                             100 * g.white));
  if (c.saturation)
    line("saturation", fmt::format("{:.3f} \u00b1{:.3f}", c.saturation->value, c.saturation->u));
  if (c.hue_deg) line("hue", fmt::format("{:.1f} \u00b1{:.1f} deg", c.hue_deg->value, c.hue_deg->u));
  if (c.noise_codes) line("noise", fmt::format("{:.2f} codes", *c.noise_codes));
  if (c.hum_percent) line("hum", fmt::format("{:.2g} % of white or less", *c.hum_percent));
  if (c.response) {
    const auto [lo, hi] = std::minmax_element(c.response->y.begin(), c.response->y.end());
    line("response",
         fmt::format("{:.1f} to {:.1f} dB up to {:.1f} MHz", *lo, *hi, c.response->x.back() / 1e6));
  }
  if (c.follows)
    line("gain control", fmt::format("makes up for {:.0f} % of a pad\u2019s loss: {}", 100 * c.follows->value,
                                     c.follows->value > 0.8   ? follows_what(c)
                                     : c.follows->value < 0.2 ? "its gain is fixed"
                                                              : "it follows sync in part"));
}

Exit calibrate_grabber(const GrabberSteps& steps, Context& context) {
  if (!steps.grabber.from.empty()) {
    if (!steps.frames.empty() || !steps.padded.empty())
      throw bad_usage(
          "--grabber takes the pictures in now, --frames and --padded are files of them: one or the other");
    return calibrate_grabber_guided(steps, context);
  }
  if (steps.frames.empty())
    throw bad_usage("--padded: name the same bars without the pad as well, with --frames");
  if (steps.padded.empty() != (steps.pad_db == 0))
    throw bad_usage("--padded and --pad-db belong together: the capture, and the pad's loss in dB");
  std::optional<capture::GrabberCalibration> c;
  Readings bars;
  for (const std::string& file : steps.frames) {
    const MeasuredFrames m = measure_frames_raw(file, "", context);
    const std::string device = m.facts.device.empty() ? steps.device : m.facts.device;
    if (device.empty())
      throw bad_usage(
          fmt::format("{}: it does not say which grabber it came from; name it with --device", file));
    if (!c) {
      c = capture::find_grabber(device, m.lines).value_or(capture::GrabberCalibration{});
      c->device = device;
      c->lines = m.lines;
    }
    if (c->device != device || c->lines != m.lines)
      throw bad_usage(fmt::format("{}: is of {}, {} lines; calibrate one input at one standard at a time",
                                  file, device, m.lines));
    try {
      measure::learn_grabber(*c, m.readings);
    } catch (const Error& e) {
      throw unusable(fmt::format("{}: {}", file, e.what()));
    }
    const std::string pattern = find_reading(m.readings, "picture.pattern")->text();
    if (!bars.empty() && pattern == find_reading(bars, "picture.pattern")->text())
      throw unusable(
          fmt::format("{}: looks like {} as the file before it does: the same bars were sent twice, or gain "
                      "control brings "
                      "white to one level whatever comes in; --grabber knows which bars it asked for",
                      file, pattern));
    if (pattern.starts_with("bars")) bars = m.readings;
  }
  if (!steps.padded.empty()) {
    if (bars.empty()) throw bad_usage("--padded: name the same bars without the pad as well, with --frames");
    const std::string sent = "video-" + find_reading(bars, "picture.pattern")->text();
    const MeasuredFrames padded = measure_frames_raw(steps.padded, sent, context);
    measure::learn_gain_control(*c, bars, padded.readings, steps.pad_db);
  }
  store_grabber_calibration(*c, context);
  return Exit::Ok;
}

void store_grabber_calibration(capture::GrabberCalibration& c, const Context& context) {
  c.at = iso_now();
  const auto stored = capture::store_grabber(c);
  if (context.json) {
    const nlohmann::json j = {{"schema", "linebench/1"},
                              {"command", "calibrate"},
                              {"calibrations", nlohmann::json::array()},
                              {"grabbers", {capture::grabber_to_json(c)}}};
    print("{}\n", json_text(j, 2));
  } else {
    print_grabber(c);
  }
  say("stored in {}; it holds for this input while its controls stay where they are\n", stored.string());
}

}  // namespace linebench::app
