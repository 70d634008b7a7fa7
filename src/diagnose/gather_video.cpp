// Signs from composite readings: waveform and lowband views.
#include <algorithm>
#include <linebench/base/decibel.hpp>
#include <linebench/standards/video.hpp>

#include "gather.hpp"

namespace linebench::diagnose {
namespace {

// Recipes that hold full white; for others a level below nominal says nothing.
bool white_sent(const CaptureFacts& facts, const Readings& readings) {
  if (const auto kind = text_of(readings, "video.bars.kind"); kind && kind->starts_with("100")) return true;
  for (const char* start : {"video-bars-100", "video-bands", "video-white", "video-window", "video-pulse-bar",
                            "video-staircase", "video-composite-line", "video-field-square"}) {
    if (facts.signal.starts_with(start)) return true;
  }
  return false;
}

// Some test lines rest on blanking and have no black; their lowest part says nothing of setup.
bool holds_black(const Readings& readings) {
  const std::string pattern = text_of(readings, "video.pattern").value_or("");
  for (const char* without : {"pulse", "staircase", "multiburst", "window", "several"}) {
    if (pattern.find(without) != std::string::npos) return false;
  }
  return true;
}

// A size that was measured, or the bound where nothing was found.
void amount(const Readings& r, std::string_view id, std::string_view sign, const std::string& from,
            Gatherer& out) {
  if (const auto v = number_of(r, id)) {
    out.number(sign, std::abs(v->value), v->u, from);
  } else if (const auto b = bound_of(r, id)) {
    out.bound(sign, *b, from);
  }
}

// dB of a value against nominal, with its uncertainty in dB.
void ratio(std::string_view sign, const Number& v, double nominal, const std::string& from,
           const std::string& shown, Gatherer& out) {
  if (!(v.value > 0) || !(nominal > 0)) return;
  out.number(sign, db_from_amplitude(v.value / nominal), 8.686 * v.u / v.value, from, shown);
}

void levels(const Capture& c, const Site& site, bool is_625, Gatherer& out) {
  const Readings& r = c.readings;
  const standards::VideoStandard& nominal = is_625 ? standards::video_625 : standards::video_525;
  const auto sync = number_of(r, "video.sync.amplitude");
  const double sync_nominal = std::abs(nominal.sync_mv.nominal);
  if (sync)
    ratio("video.sync.level", *sync, sync_nominal, c.name, fmt::format("{:.0f} mV", sync->value), out);
  const auto white = number_of(r, "video.white");
  if (white) {
    const bool high = white->value > 1.06 * nominal.white_mv.nominal;
    if (high || white_sent(c.facts, r))
      ratio("video.white.level", *white, nominal.white_mv.nominal, c.name,
            fmt::format("{:.0f} mV", white->value), out);
  }
  if (const auto burst = number_of(r, "video.burst.amplitude")) {
    out.word("video.colour", "present", c.name);
    if (sync && sync->value > 0) {
      const Number v{
          burst->value / sync->value,
          std::hypot(burst->u / sync->value, burst->value * sync->u / (sync->value * sync->value))};
      ratio("video.burst.ratio", v, nominal.burst_pp_mv.nominal / sync_nominal, c.name,
            fmt::format("burst {:.0f} mV", burst->value), out);
    }
  } else if (const Reading* b = find_reading(r, "video.burst.amplitude");
             b != nullptr && b->reason.find("no colour burst") != std::string::npos) {
    out.word("video.colour", "none", c.name);
  }
  const auto setup = number_of(r, "video.setup");
  if (setup && sync && holds_black(r) && site.system.substr(0, 3) == (is_625 ? "625" : "525")) {
    const double gain = sync->value / sync_nominal;
    const double expected = site.system == "525" ? standards::video_525.black_mv.nominal * gain : 0;
    out.number("video.setup.error", setup->value - expected, setup->u, c.name);
  }
  if (const auto rise = number_of(r, "video.sync.rise"))
    ratio("video.sync.rise", *rise, nominal.sync_rise_ns.nominal, c.name,
          fmt::format("{:.0f} ns", rise->value), out);
}

void lock_of(const Capture& c, Gatherer& out) {
  const Readings& r = c.readings;
  const auto mains = number_of(r, "video.hum.frequency");
  const auto field = number_of(r, "video.field.frequency");
  if (mains && field) {
    const double u = std::hypot(mains->u, field->u);
    const double apart = std::abs(mains->value - field->value);
    const std::string remark = fmt::format("hum {:.3f} Hz, field {:.3f} Hz", mains->value, field->value);
    if (apart > 1.5 * u && apart < 5) {
      out.word("video.lock", "free", c.name, remark);
    } else if (u < 0.01 && apart < u) {
      out.word("video.lock", "locked", c.name, remark);
    }
  }
}

void hum(const Capture& c, Gatherer& out) {
  const Readings& r = c.readings;
  amount(r, "video.hum.level", "video.hum.level", c.name, out);
  // Sizes squared by kind; what the picture hides counts as large as it may be.
  double one = 0, even = 0, odd = 0, upper = 0;
  bool seen = false;
  bool hidden = false;
  for (int n = 1; n <= 40; ++n) {
    const std::string id = fmt::format("video.hum.harmonic.{}", n);
    double& kind = n == 1 ? one : n > 5 ? upper : n % 2 == 0 ? even : odd;
    if (const auto h = number_of(r, id)) {
      kind += h->value * h->value;
      seen = true;
    } else if (const auto most = bound_of(r, id)) {
      kind += *most * *most;
      hidden = true;
    } else if (find_reading(r, id) != nullptr) {
      return lock_of(c, out);  // it may be anything, so what is left has no pattern
    }
  }
  const double all = one + even + odd + upper;
  if (seen && all > 0) {
    const double most = std::max({one, even, odd});
    const bool rich = upper > 0.15 * all || most < 0.6 * all;
    if (!(rich && hidden)) {
      out.word("video.hum.pattern",
               rich           ? "rich"
               : most == one  ? "fundamental"
               : most == even ? "even"
                              : "odd",
               c.name);
    }
  }
  lock_of(c, out);
}

}  // namespace

void gather_video(const Capture& c, const Site& site, Gatherer& out) {
  const Readings& r = c.readings;
  const auto signal = text_of(r, "video.signal");
  if (!signal) return;
  out.word("video.signal", *signal, c.name);
  if (*signal == "none") return;  // nothing else of it means anything
  const std::string system = text_of(r, "video.system").value_or("");
  const bool is_625 = system.starts_with("625");
  if (!site.system.empty() && !system.empty()) {
    const bool match = site.system.substr(0, 3) == system.substr(0, 3) && !system.ends_with("4.43");
    out.word("video.system.match", match ? "as expected" : "other", c.name, system);
  }
  if (const auto p = text_of(r, "video.polarity")) out.word("video.polarity", *p, c.name);
  if (const auto i = text_of(r, "video.interlaced")) {
    const auto lines = number_of(r, "video.lines_per_frame");
    out.word("video.interlaced", *i, c.name, lines ? fmt::format("{:.0f} lines", lines->value) : "");
  }
  levels(c, site, is_625, out);
  if (const auto missing = number_of(r, "video.sync.missing")) {
    const double lines = c.facts.duration_s() * (is_625 ? 15625.0 : 15734.27);
    // Without a length known to the facts the count is taken as of one second.
    const double thousands = (lines > 0 ? lines : 15700) / 1000;
    out.number("video.sync.missing", missing->value / thousands, 2 * std::sqrt(missing->value) / thousands,
               c.name, fmt::format("{:.0f} in all", missing->value));
  }
  amount(r, "video.sync.jitter", "video.sync.jitter", c.name, out);
  hum(c, out);
  amount(r, "video.noise", "video.noise", c.name, out);
  amount(r, "video.noise.periodic.level", "video.noise.periodic", c.name, out);
  if (const auto f = number_of(r, "video.noise.periodic.frequency"))
    out.word("video.noise.rate", f->value < 600e3 ? "20 to 600 kHz" : "higher", c.name,
             fmt::format("{:.1f} kHz", f->value / 1e3));
  if (const auto e = number_of(r, "video.echo.level")) {
    out.number("video.echo.level", e->value, e->u, c.name);
    if (const auto d = number_of(r, "video.echo.polarity"))
      out.word("video.echo.polarity", d->value < 0 ? "reversed" : "same", c.name);
  } else if (const auto b = bound_of(r, "video.echo.level")) {
    out.bound("video.echo.level", *b, c.name);
  }
  // Edges that are bent by more than echoes show no cable's loss either.
  const Reading* echo = find_reading(r, "video.echo.level");
  const bool bent = echo != nullptr && !echo->measured() && !echo->at_most;
  if (const auto loss = number_of(r, "video.cable.loss"); loss && !bent)
    out.number("video.cable.loss", loss->value, loss->u, c.name);
  // Without colour, bars are a staircase of unequal steps: no non-linearity.
  const bool grey = !number_of(r, "video.burst.amplitude");
  for (const char* id : {"video.differential_gain", "video.nonlinearity"})
    if (!grey) amount(r, id, "video.nonlinearity", c.name, out);
  amount(r, "video.field_tilt", "video.field_tilt", c.name, out);
}

}  // namespace linebench::diagnose
