// Signs from a path's response.
#include "gather.hpp"

namespace linebench::diagnose {
namespace {

std::optional<double> band_mean(const Curve& c, double from_hz, double to_hz) {
  double sum = 0;
  int n = 0;
  for (std::size_t i = 0; i < c.x.size(); ++i) {
    if (c.x[i] < from_hz || c.x[i] > to_hz || !std::isfinite(c.y[i])) continue;
    sum += c.y[i];
    ++n;
  }
  return n > 0 ? std::optional(sum / n) : std::nullopt;
}

}  // namespace

void gather_response(const Capture& c, const std::string& suffix, const std::string& name, Gatherer& out) {
  const Readings& r = c.readings;
  // From sample to sample: both ends' gains are in it, unless they are known in volts.
  if (const auto g = number_of(r, "audio.response.gain" + suffix)) {
    const bool known = c.facts.full_scale_v.has_value();
    out.number("audio.response.gain", g->value, known ? g->u : std::hypot(g->u, unknown_gain_db), name,
               known ? "" : "input not calibrated in volts");
  }
  if (const auto p = number_of(r, "audio.response.polarity" + suffix))
    out.word("audio.response.polarity", p->value < 0 ? "reversed" : "same", name);
  if (const auto e = number_of(r, "audio.response.echo.level" + suffix)) {
    out.number("audio.response.echo", e->value, e->u, name);
  } else if (const auto b = bound_of(r, "audio.response.echo.level" + suffix)) {
    out.bound("audio.response.echo", *b, 0, name);
  }
  const Reading* curve = find_reading(r, "audio.response" + suffix);
  if (curve == nullptr || !std::holds_alternative<Curve>(curve->value)) return;
  if (const auto top = band_mean(curve->curve(), 2400, 3500))
    out.number("audio.response.top", *top, 0.3, name);
  if (const auto bottom = band_mean(curve->curve(), 300, 410))
    out.number("audio.response.bottom", *bottom, 0.3, name);
}

}  // namespace linebench::diagnose
