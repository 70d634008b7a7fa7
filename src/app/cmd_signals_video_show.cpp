// What stands on the lines of a test picture, in words and as JSON.
#include <fmt/format.h>

#include <linebench/signals/video_recipe.hpp>
#include <nlohmann/json.hpp>

#include "cmd_signals_video.hpp"

namespace linebench::app {
namespace {

using nlohmann::json;
using signals::ElementShape;
using signals::TestBand;
using signals::TestElement;
using standards::VideoStandard;

const VideoStandard& standard_of(const VideoSignalOptions& o) {
  if (const VideoStandard* s = standards::find_video_standard(o.system)) return *s;
  throw bad_usage(fmt::format("--system {}: use 525, 525-no-setup, 625 or 625-i", o.system));
}

std::string level_words(const TestElement& e) {
  switch (e.shape) {
    case ElementShape::Flat:
      return fmt::format("{:.1f} mV", e.level_mv);
    case ElementShape::Ramp:
      return fmt::format("{:.1f} to {:.1f} mV", e.level_mv, e.end_level_mv);
    case ElementShape::Pulse:
      return fmt::format("{:.1f} mV, half amplitude {:g} ns", e.level_mv, e.had_ns);
    case ElementShape::ModulatedPulse:
      return fmt::format("{:.1f} mV, half amplitude {:g} ns", e.level_mv, e.had_ns);
    case ElementShape::Packet:
      return fmt::format("{:.1f} mV, {:.2f} MHz {:.1f} mV pp", e.level_mv, e.frequency_hz / 1e6,
                         e.chroma_pp_mv);
  }
  return {};
}

std::string element_words(const TestElement& e) {
  std::string s =
      fmt::format("    {:18} {:6.2f} to {:5.2f}  {}", e.name, e.start_us, e.end_us, level_words(e));
  if (e.chroma_pp_mv > 0 && e.shape != ElementShape::Packet)
    s += fmt::format(", chroma {:.1f} mV pp at {:.1f} deg", e.chroma_pp_mv, e.chroma_deg);
  return s + "\n";
}

json element_json(const TestElement& e) {
  json j = {{"name", e.name}, {"start_us", e.start_us}, {"end_us", e.end_us}, {"level_mv", e.level_mv}};
  if (e.shape == ElementShape::Ramp) j["end_level_mv"] = e.end_level_mv;
  if (e.chroma_pp_mv > 0) j["chroma_pp_mv"] = e.chroma_pp_mv;
  if (e.chroma_pp_mv > 0 && e.shape != ElementShape::Packet) j["chroma_deg"] = e.chroma_deg;
  if (e.frequency_hz > 0) j["frequency"] = e.frequency_hz;
  if (e.had_ns > 0) j["half_amplitude_ns"] = e.had_ns;
  return j;
}

template <typename Do>
void for_bands(const signals::TestPicture& p, Do&& each) {
  for (const TestBand& b : p.bands) each(b, false);
  for (const TestBand& b : p.alternate) each(b, true);
}

}  // namespace

std::string picture_words(const signals::Recipe& recipe, const VideoSignalOptions& o) {
  const VideoStandard& s = standard_of(o);
  const signals::TestPicture p = signals::describe(signals::picture_spec(recipe), s);
  std::string out =
      fmt::format("\n  On its lines ({}; us from the leading edge of sync, mV above blanking):\n", s.label);
  if (p.sync_only) return out + "    sync, equalising and broad pulses only: no burst, no picture\n";
  for_bands(p, [&](const TestBand& b, bool alternate) {
    out += fmt::format("  rows {} to {}{}: {}, rests at {:.1f} mV\n", b.first_row, b.last_row,
                       alternate ? ", in turn" : "", b.line.kind, b.line.base_mv);
    for (const TestElement& e : b.line.elements) out += element_words(e);
  });
  return out;
}

json picture_json(const signals::Recipe& recipe, const VideoSignalOptions& o) {
  const VideoStandard& s = standard_of(o);
  const signals::TestPicture p = signals::describe(signals::picture_spec(recipe), s);
  json bands = json::array();
  for_bands(p, [&](const TestBand& b, bool alternate) {
    json elements = json::array();
    for (const TestElement& e : b.line.elements) elements.push_back(element_json(e));
    bands.push_back({{"first_row", b.first_row},
                     {"last_row", b.last_row},
                     {"kind", b.line.kind},
                     {"base_mv", b.line.base_mv},
                     {"in_turn", alternate},
                     {"elements", std::move(elements)}});
  });
  return {{"system", s.name}, {"sync_only", p.sync_only}, {"bands", std::move(bands)}};
}

}  // namespace linebench::app
