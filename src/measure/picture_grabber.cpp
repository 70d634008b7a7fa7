#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/grabber.hpp>

namespace linebench::measure {
namespace {

using capture::GrabberCalibration;
using capture::Known;

constexpr double follows_well = 0.8;  // share of a pad's loss made up for, from which gain counts as sync's

std::optional<Known> known(const Readings& readings, const char* id) {
  const Reading* r = find_reading(readings, id);
  if (r == nullptr || !std::holds_alternative<double>(r->value)) return std::nullopt;
  return Known{r->number(), r->uncertainty.value_or(0)};
}
std::string pattern_of(const Readings& readings) {
  const Reading* r = find_reading(readings, "picture.pattern");
  return r != nullptr && std::holds_alternative<std::string>(r->value) ? r->text() : "none";
}
double white_of(const std::string& pattern) { return pattern == "bars-75" ? 0.75 : 1.0; }

// A gain that is known no better says nothing: it moved, or the levels do not lie on a line.
constexpr double steady = 0.04;

// How well a gain control and the connectors come back to the same gain (common practice).
constexpr double repeats = 0.005;

struct Bars {
  double white;
  Known gain;
};
Bars bars_of(const Readings& readings, const char* which) {
  const std::string pattern = pattern_of(readings);
  const auto gain = known(readings, "picture.luma.gain");
  if (!pattern.starts_with("bars") || !gain || !(gain->value > 0))
    throw unusable(
        fmt::format("{}: no colour bars in it (seen: {}); send bars of 75 or of 100 %", which, pattern));
  if (gain->u > steady * gain->value)
    throw unusable(fmt::format("{}: its gain is good to {:.0f} % only; {}", which, gain->u,
                               find_reading(readings, "picture.luma.gain")->reason));
  return {white_of(pattern), *gain};
}

const GrabberCalibration::Gain* gain_at(const GrabberCalibration& c, double white) {
  for (const auto& g : c.gain) {
    if (std::abs(g.white - white) < 0.01) return &g;
  }
  return nullptr;
}

void add_reason(Reading& r, const std::string& text) { r.reason += (r.reason.empty() ? "" : "; ") + text; }

// Natural logarithm of a gain over the grabber's own, and its uncertainty.
struct Excess {
  double ln, u;
};
Excess excess(const Bars& b, const GrabberCalibration* c) {
  const auto* own = c != nullptr ? gain_at(*c, b.white) : nullptr;
  const Known k =
      own != nullptr ? own->percent : Known{100, 3};  // 3 %: common practice for grabbers as they come
  return {std::log(b.gain.value / k.value), std::hypot(b.gain.u / b.gain.value, k.u / k.value)};
}

// What stands against a ratio from this grabber's gain, and what it may be off by besides.
struct Doubt {
  std::string refused;
  double u = 0;  // of ln of the lower white's gain
};
// Gain that was learnt to be lower at high white is either held down by a limiter, which then keeps that
// white at its level, or set by sync and picture together, peak to peak, at any level. A pad shows neither:
// it takes sync and white down alike.
Doubt looks_at_white(const GrabberCalibration& c, const Bars& low, const Bars& high) {
  const auto* own_low = gain_at(c, low.white);
  const auto* own_high = gain_at(c, high.white);
  if (own_low == nullptr || own_high == nullptr)
    return {
        "this grabber's gain was not learnt at both whites, so it is not known whether it goes by sync "
        "alone; calibrate it with bars of 75 % and of 100 % (linebench calibrate --grabber)",
        0};
  const auto ln = [](const Known& over, const Known& under) { return std::log(over.value / under.value); };
  const auto u = [](const Known& a, const Known& b) {
    return std::hypot(a.u / a.value, b.u / b.value, 2 * repeats);
  };
  const double learnt = ln(own_high->percent, own_low->percent);
  const double u_learnt = u(own_high->percent, own_low->percent);
  if (std::abs(learnt) <= u_learnt) return {};
  const Doubt by_both{
      "this grabber's gain goes by white as well as by sync, as its two whites show: look at sync with the "
      "waveform or the lowband view",
      0};
  if (learnt > 0) return by_both;
  const double held = ln(high.gain, own_high->percent);
  const double u_held = u(high.gain, own_high->percent);
  if (std::abs(held) <= u_held) {
    // Peak to peak, sync being 0.3 of what full white makes 1: how far both gains move with sync.
    const double sync = 0.3;
    const double of_low = sync / (sync + 0.7 * low.white);
    const double of_high = sync / (sync + 0.7 * high.white);
    const double moved = std::abs(ln(low.gain, own_low->percent));
    const bool would_show = moved * of_high / of_low > 2 * u_held;
    return {{}, would_show ? 0 : moved * (1 / of_low - 1)};
  }
  const bool below_limit = held < 0 && std::abs(ln(high.gain, low.gain)) <= u(high.gain, low.gain);
  return below_limit ? Doubt{} : by_both;
}

}  // namespace

void learn_grabber(GrabberCalibration& c, const Readings& readings) {
  const std::string pattern = pattern_of(readings);
  if (pattern == "multiburst") {
    const Reading* r = find_reading(readings, "picture.multiburst");
    if (r == nullptr || !std::holds_alternative<Curve>(r->value) || r->curve().x.size() < 2)
      throw unusable("the multiburst in it could not be measured");
    c.response = r->curve();
    c.response->uncertainty.resize(c.response->x.size(), r->uncertainty.value_or(0.1));
    return;
  }
  const Bars b = bars_of(readings, "the calibration picture");
  std::erase_if(c.gain, [&](const auto& g) { return std::abs(g.white - b.white) < 0.01; });
  c.gain.push_back({b.white, b.gain});
  std::sort(c.gain.begin(), c.gain.end(), [](const auto& x, const auto& y) { return x.white < y.white; });
  if (const auto s = known(readings, "picture.saturation"); s && s->value > 0.3) c.saturation = s;
  if (const auto h = known(readings, "picture.hue")) c.hue_deg = h;
  if (const auto n = known(readings, "picture.noise")) c.noise_codes = n->value;
  const Reading* hum = find_reading(readings, "picture.hum.level");
  if (hum != nullptr && std::holds_alternative<double>(hum->value))
    c.hum_percent = hum->number();
  else if (hum != nullptr && hum->at_most)
    c.hum_percent = *hum->at_most;
}

void learn_gain_control(GrabberCalibration& c, const Readings& straight, const Readings& padded,
                        double pad_db) {
  if (!(pad_db >= 1 && pad_db <= 12))
    throw bad_usage(fmt::format("--pad-db {}: give the pad's loss, 1 to 12 dB", pad_db));
  const Bars a = bars_of(straight, "the picture without the pad");
  const Bars b = bars_of(padded, "the picture through the pad");
  if (a.white != b.white)
    throw unusable("the pictures with and without the pad are not the same bars; send the same twice");
  const double db = db_from_amplitude(b.gain.value / a.gain.value);
  const double u_db = 8.686 * std::hypot(a.gain.u / a.gain.value, b.gain.u / b.gain.value);
  // A pad is good to 2 % of its loss or better (common practice).
  c.follows = Known{1 + db / pad_db, std::hypot(u_db / pad_db, 0.02 * db / pad_db)};
}

void take_out_grabber(Readings& readings, const GrabberCalibration& c) {
  const std::string said = fmt::format("the grabber's own part taken out ({})", c.at.substr(0, 10));
  const auto* gain = gain_at(c, white_of(pattern_of(readings)));
  if (gain == nullptr && !c.gain.empty()) gain = &c.gain.back();
  for (Reading& r : readings) {
    if (r.id == "picture.multiburst" && c.response && std::holds_alternative<Curve>(r.value)) {
      Curve& curve = std::get<Curve>(r.value);
      const Curve& own = *c.response;
      for (std::size_t i = 0; i < curve.x.size(); ++i) {
        const auto near = std::min_element(own.x.begin(), own.x.end(), [&](double p, double q) {
          return std::abs(p - curve.x[i]) < std::abs(q - curve.x[i]);
        });
        const auto k = static_cast<std::size_t>(near - own.x.begin());
        if (std::abs(own.x[k] / curve.x[i] - 1) > 0.05) continue;  // packets of another multiburst
        curve.y[i] -= own.y[k];
        if (i < curve.uncertainty.size())
          curve.uncertainty[i] = std::hypot(curve.uncertainty[i], own.uncertainty[k]);
      }
      add_reason(r, said);
      continue;
    }
    if (!std::holds_alternative<double>(r.value)) continue;
    const double v = r.number();
    const double u = r.uncertainty.value_or(0);
    const auto scaled = [&](const Known& by) {
      r.value = v / by.value;
      r.uncertainty = std::abs(v / by.value) * std::hypot(v != 0 ? u / v : 0, by.u / by.value);
      add_reason(r, said);
    };
    if (gain != nullptr && (r.id == "picture.luma.gain" || r.id == "picture.luma.white_mv")) {
      scaled({gain->percent.value / 100, gain->percent.u / 100});
    } else if (r.id == "picture.saturation" && c.saturation) {
      scaled(*c.saturation);
    } else if (r.id == "picture.hue" && c.hue_deg) {
      r.value = v - c.hue_deg->value;
      r.uncertainty = std::hypot(u, c.hue_deg->u);
      add_reason(r, said);
    } else if (r.id == "picture.hum.level" && c.hum_percent) {
      r.uncertainty = std::hypot(u, *c.hum_percent);  // of any phase
      add_reason(r, fmt::format("the grabber has up to {:.2g} % of its own", *c.hum_percent));
    } else if (r.id == "picture.noise" && c.noise_codes) {
      const double own = *c.noise_codes;
      if (v > 1.15 * own) {
        const double rest = std::sqrt(v * v - own * own);
        r.value = rest;
        r.uncertainty = v / rest * std::hypot(u, 0.02 * own * own / v);
        add_reason(r, said);
      } else {
        r = unmeasurable(r.id, fmt::format("no more than the grabber's own {:.2f} codes", own),
                         std::sqrt(std::max(0.0, v * v - own * own)) + u);
      }
    }
  }
  // Signal to noise stands on noise.
  if (c.noise_codes) {
    const Reading* noise = find_reading(readings, "picture.noise");
    for (Reading& r : readings) {
      if (r.id != "picture.snr" || !r.measured() || noise == nullptr) continue;
      if (!noise->measured()) {
        r = unmeasurable("picture.snr", noise->reason);
      } else if (noise->number() > 0) {
        r.value = db_from_amplitude(219 / noise->number());
        r.uncertainty = 8.686 * noise->uncertainty.value_or(0) / noise->number();
        add_reason(r, said);
      }
    }
  }
}

Readings sync_to_white(const Readings& lower, const Readings& higher, const GrabberCalibration* c) {
  const Bars low = bars_of(lower, "the picture with the lower white");
  const Bars high = bars_of(higher, "the picture with the higher white");
  if (!(low.white < high.white))
    throw bad_usage("the first picture must have the lower white: bars of 75 % before bars of 100 %");
  // Gain control may bring both whites to one level, which is a third; beyond that the bars are not those.
  if (low.gain.value > 1.4 * high.gain.value)
    throw bad_usage(
        "the first picture's white is higher than the second's, as if they were the wrong way round: first "
        "bars of "
        "75 %, then bars of 100 %");
  // White itself, which the bars' name and their gain make up together.
  const double whites = std::log(high.white * high.gain.value / (low.white * low.gain.value));
  if (std::abs(whites) < 0.02 + std::hypot(low.gain.u / low.gain.value, high.gain.u / high.gain.value))
    throw bad_usage(
        "white comes in at one level in both pictures: the same bars were sent twice, or gain control brings "
        "any white to that level, and then the two say nothing of sync; send bars of 75 %, then bars of 100 "
        "%");
  const Excess a = excess(low, c);
  const Excess b = excess(high, c);
  Readings out;
  const double differ = b.ln - a.ln;
  const double u_differ = std::hypot(a.u, b.u);
  const bool limited = differ < -std::hypot(u_differ, 2 * repeats);
  // A limiter that turned the gain down at high white when the grabber was learnt, and is not reached by a
  // white that is lower for its sync, makes the second gain look high: as they come both are the same.
  const double as_they_come = std::log(high.gain.value / low.gain.value);
  const double u_as_they_come =
      std::hypot(low.gain.u / low.gain.value, high.gain.u / high.gain.value, 2 * repeats);
  const bool high_now = differ > std::hypot(u_differ, 2 * repeats);
  const bool odd = high_now && as_they_come > u_as_they_come;
  const bool not_reached = high_now && !odd;
  const std::string follows = c == nullptr || !c->follows         ? "; whether it follows sync is not known"
                              : c->follows->value >= follows_well ? "; it follows sync"
                                                                  : "; it does not follow sync";
  if (limited)
    out.push_back(text_reading(
        "picture.sync.gain_control", "turned down by high white",
        fmt::format("{:.1f} % less gain at the higher white: too much picture for its sync, "
                    "too much signal{}{}",
                    100 * (1 - std::exp(differ)),
                    c == nullptr || gain_at(*c, low.white) == nullptr || gain_at(*c, high.white) == nullptr
                        ? ", or a gain control that goes by white as well"
                        : "",
                    follows)));
  else if (odd)
    out.push_back(text_reading(
        "picture.sync.gain_control", "higher at high white",
        "no gain control does that alone: the source's two whites are not as they should be" + follows));
  else
    out.push_back(
        text_reading("picture.sync.gain_control", "the same at both whites",
                     (not_reached ? "the limit at high white that worked in calibration is not reached"
                                  : "no limiting of white") +
                         follows));
  out.push_back(number_reading("picture.sync.gain_lower", low.gain.value, low.gain.u));
  out.push_back(number_reading("picture.sync.gain_higher", high.gain.value, high.gain.u));
  const auto refuse = [&](const std::string& why) {
    out.push_back(unmeasurable("picture.sync.ratio", why));
    return out;
  };
  if (c == nullptr || !c->follows)
    return refuse(
        "it is not known whether this grabber's gain follows sync; calibrate it with bars straight and "
        "through a pad "
        "(linebench calibrate --frames BARS --padded BARS --pad-db 6)");
  if (std::abs(c->follows->value - 1) > 1 - follows_well)
    return refuse(
        fmt::format("this grabber's gain does not follow sync (it makes up for {:.0f} % of a pad): look at "
                    "sync with the waveform or the lowband view",
                    100 * c->follows->value));
  if (odd) return refuse("the source's two whites do not agree, so its ratio cannot be told");
  const Doubt doubt = looks_at_white(*c, low, high);
  if (!doubt.refused.empty()) return refuse(doubt.refused);
  // Where white is limited only the lower one counts; else both, by their weights.
  Excess e = a;
  if (not_reached)
    e.u = std::hypot(a.u, 0.5 * (differ - as_they_come));  // the lower white may have been limited a little
  if (!limited && !not_reached) {
    const double wa = 1 / (a.u * a.u + 1e-8);
    const double wb = 1 / (b.u * b.u + 1e-8);
    e = {(wa * a.ln + wb * b.ln) / (wa + wb), 1 / std::sqrt(wa + wb)};
  }
  // How far a loss on the way (6 dB at most) shows where the gain control does not make up for all of it.
  const double loss = (std::abs(1 - c->follows->value) + c->follows->u) * std::log(2.0);
  const double ratio = 100 * std::exp(-e.ln);
  const double u = ratio * std::hypot(std::hypot(e.u, doubt.u), loss, repeats);
  std::string words = "sync and white are in proportion, within the uncertainty";
  if (ratio + u < 100)
    words =
        "sync is low for its white (or white is high for its sync): a load, a bad coupling or a source out "
        "of line";
  else if (ratio - u > 100)
    words =
        "sync is high for its white (or white is low for its sync): clipped white, or a source out of line";
  out.push_back(number_reading("picture.sync.ratio", ratio, u, words));
  return out;
}

}  // namespace linebench::measure
