#include "follows.hpp"

#include <cmath>
#include <cstdlib>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/standards/weighting.hpp>
#include <string>
#include <string_view>

namespace linebench::check {
namespace {

const Reading* failing(const job::Capture& c, std::string_view id) {
  const Reading* r = find_reading(c.readings, id);
  return r != nullptr && r->verdict == Verdict::Fail ? r : nullptr;
}

bool is_level(std::string_view id) {
  return id == "video.sync.amplitude" || id == "video.white" || id == "video.burst.amplitude" ||
         id == "video.setup";
}

}  // namespace

namespace {

// Of its nominal value, which is the middle of its limits.
std::optional<double> share(const Reading* r) {
  if (r == nullptr || !r->limit || !r->limit->min || !r->limit->max) return std::nullopt;
  return 2 * r->number() / (*r->limit->min + *r->limit->max);
}

// Sync and burst too large or too small by one factor: it is the source's level, and sync tells it best.
std::optional<double> common_gain(const job::Capture& c) {
  constexpr double alike = 0.1;
  const auto sync = share(failing(c, "video.sync.amplitude"));
  const auto burst = share(failing(c, "video.burst.amplitude"));
  if (!sync || !burst || std::abs(*burst / *sync - 1) > alike) return std::nullopt;
  return sync;
}

}  // namespace

std::optional<double> once_right(const job::Capture& c, const Reading& r) {
  const auto* value = std::get_if<double>(&r.value);
  if (value == nullptr || !is_level(r.id)) return std::nullopt;
  // A 75 ohm source: into an open line twice the level, into two loads two thirds.
  if (const Reading* termination = failing(c, "video.termination"))
    return termination->text() == "missing" ? *value / 2 : *value * 1.5;
  const auto gain = r.id == "video.sync.amplitude" ? std::nullopt : common_gain(c);
  return gain ? std::optional(*value / *gain) : std::nullopt;
}

double hum_as_heard(const Readings& readings, const std::string& side) {
  const Reading* hz = find_reading(readings, "audio.hum.frequency" + side);
  if (hz == nullptr || !hz->measured()) return 0;
  double hum = 0;
  for (const Reading& r : readings) {
    constexpr std::string_view harmonic = "audio.hum.harmonic.";
    if (!r.id.starts_with(harmonic) || !r.id.ends_with(side) || !r.measured()) continue;
    const double n = std::atoi(r.id.c_str() + harmonic.size());
    hum += power_from_db(r.number() + standards::a_weighting_db(n * hz->number()));
  }
  return hum;
}

namespace {

// Hum that is out of its own limits, as the ear weighs it, in the noise it is a part of: all but a fifth of
// the noise, or so much that the rest is within the limit.
bool noise_is_hum(const job::Capture& c, const Reading& noise) {
  constexpr double most_of_it = 0.8;
  const std::string side = noise.id.substr(std::string_view("audio.noise.a").size());
  const double hum = hum_as_heard(c.readings, side);
  if (failing(c, "audio.hum.level" + side) == nullptr || hum == 0) return false;
  const double all = power_from_db(noise.number());
  return hum > most_of_it * all || (noise.limit->max && all - hum <= power_from_db(*noise.limit->max));
}

// An echo adds to what it comes back upon, or takes from it, at most as much as it is large.
bool by_an_echo(const job::Capture& c, const Reading& r) {
  constexpr double doubt = 1.15;
  const Reading* echo = failing(c, "video.echo.level");
  if (echo == nullptr || !is_level(r.id) || !r.limit) return false;
  const double most = doubt * amplitude_from_db(echo->number());
  if (r.limit->max && r.number() > *r.limit->max) return r.number() < *r.limit->max * (1 + most);
  return r.limit->min && r.number() > *r.limit->min * (1 - most);
}

}  // namespace

bool follows_from_another(const job::Capture& c, const Reading& r) {
  const ReadingKind* kind = find_kind(r.id);
  // What does not arrive has no response, no clearness and no distortion.
  if (kind != nullptr && r.id.starts_with("audio.") && kind->id != "audio.signal" &&
      failing(c, "audio.signal" + r.id.substr(kind->id.size())) != nullptr)
    return true;
  if (kind != nullptr && kind->id == "audio.noise.a") return noise_is_hum(c, r);
  // What falls by so much at once is gone.
  constexpr double gone_db = 20;
  if (kind != nullptr && kind->id == "audio.tone.step" && std::abs(r.number()) >= gone_db)
    return failing(c, "audio.dropout.count" + r.id.substr(kind->id.size())) != nullptr;
  if (!r.id.starts_with("video.")) return false;
  if (failing(c, "video.system") != nullptr)
    return r.id != "video.system" && r.id != "video.polarity" && r.id != "video.hum.level";
  // Steps and colours are means over lines that must lie on each other.
  if (failing(c, "video.sync.jitter") != nullptr &&
      (r.id == "video.nonlinearity" || r.id.starts_with("video.differential_")))
    return true;
  if (r.id == "video.field.frequency")
    return failing(c, "video.lines_per_frame") != nullptr || failing(c, "video.line.frequency") != nullptr;
  // The subcarrier is made of the same clock as the line.
  if (r.id == "video.burst.frequency" && failing(c, "video.line.frequency") != nullptr) {
    const auto line = share(find_reading(c.readings, "video.line.frequency"));
    const auto subcarrier = share(&r);
    constexpr double one_clock = 20e-6;
    return line && subcarrier && std::abs(*subcarrier - *line) < one_clock;
  }
  if (by_an_echo(c, r)) return true;
  const auto then = once_right(c, r);
  if (!then) return false;
  // Still out on this side then, it is to be put right as well; out on the other, the next measurement says
  // by how much.
  const bool low = r.limit->min && *then < *r.limit->min;
  const bool high = r.limit->max && *then > *r.limit->max;
  return judge::side(r) == judge::Side::Low ? !low : !high;
}

std::vector<const Reading*> levels_with(const job::Capture& c, const Reading& sync) {
  std::vector<const Reading*> out;
  if (sync.id != "video.sync.amplitude" || sync_alone(c, sync)) return out;
  for (const Reading& r : c.readings) {
    if (is_level(r.id) && r.id != sync.id && r.verdict == Verdict::Fail &&
        judge::side(r) == judge::side(sync))
      out.push_back(&r);
  }
  return out;
}

bool sync_alone(const job::Capture& c, const Reading& r) {
  if (r.id != "video.sync.amplitude") return false;
  const Reading* burst = find_reading(c.readings, "video.burst.amplitude");
  const bool low = judge::side(r) == judge::Side::Low;
  if (burst != nullptr && burst->measured() && burst->verdict == Verdict::Pass) return true;
  const Reading* white = find_reading(c.readings, "video.white");
  // Its limit has no least, since not every picture has full white; one that reaches it is not low.
  constexpr double full = 0.93;
  return low && white != nullptr && white->measured() && white->limit && white->limit->max &&
         white->number() > full * *white->limit->max;
}

}  // namespace linebench::check
