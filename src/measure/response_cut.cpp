// The stretches of sent and returned signal that belong together, and which file is which.
#include <algorithm>
#include <cmath>
#include <linebench/measure/response.hpp>
#include <numbers>

#include "response_path.hpp"

namespace linebench::measure::response {
namespace {

constexpr double before_s = 0.05;  // of the return ahead of the direct sound
constexpr double after_s = 2.2;    // behind the end of the sent signal, for its echoes
constexpr double taper_s = 0.02;   // where the return holds only part of the sent signal

// Level below which a file's quietest tenth of a second lies.
double quietest(std::span<const float> x, double rate_hz) {
  const auto block = static_cast<std::size_t>(0.05 * rate_hz);
  double least = 1;
  for (std::size_t at = 0; at + block <= x.size(); at += block)
    least = std::min(least, rms(x.subspan(at, block)));
  return least;
}

}  // namespace

double rms(std::span<const float> x) {
  double s = 0;
  double m = 0;
  for (const float v : x) {
    s += static_cast<double>(v) * static_cast<double>(v);
    m += static_cast<double>(v);
  }
  const auto n = static_cast<double>(x.size());
  return std::sqrt(std::max(0.0, s / n - m / n * (m / n)));
}

Cut cut(std::span<const float> sent, std::span<const float> returned, double lag, double rate_hz) {
  Cut c;
  const auto whole = static_cast<std::ptrdiff_t>(std::floor(lag));
  const auto sent_size = static_cast<std::ptrdiff_t>(sent.size());
  const auto returned_size = static_cast<std::ptrdiff_t>(returned.size());
  const std::ptrdiff_t from = std::max<std::ptrdiff_t>(0, -whole);
  const std::ptrdiff_t to = std::min(sent_size, returned_size - whole);
  if (to - from < static_cast<std::ptrdiff_t>(response_shortest_s * rate_hz)) return c;
  const auto before = std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(before_s * rate_hz), from + whole);
  const auto after =
      std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(after_s * rate_hz), returned_size - whole - to);
  c.sent.assign(sent.begin() + from, sent.begin() + to);
  c.returned.assign(returned.begin() + from + whole - before, returned.begin() + to + whole + after);
  // A stretch that misses the start or the end of the return starts or ends in mid-signal: faded in both
  // alike.
  const auto fade = [&](std::vector<float>& x, std::size_t at, bool rising) {
    const auto n = static_cast<std::size_t>(taper_s * rate_hz);
    for (std::size_t i = 0; i < n && at + i < x.size(); ++i) {
      const double t = (static_cast<double>(i) + 0.5) / static_cast<double>(n);
      const double g = 0.5 - 0.5 * std::cos(std::numbers::pi * (rising ? t : 1 - t));
      x[at + i] *= static_cast<float>(g);
    }
  };
  const auto n = static_cast<std::size_t>(taper_s * rate_hz);
  if (from > 0) {
    std::fill(c.returned.begin(), c.returned.begin() + before, 0.0F);
    fade(c.sent, 0, true);
    fade(c.returned, static_cast<std::size_t>(before), true);
  }
  if (to < sent_size) {
    c.returned.resize(static_cast<std::size_t>(before) + c.sent.size());
    fade(c.sent, c.sent.size() - n, false);
    fade(c.returned, c.returned.size() - n, false);
  }
  c.before = static_cast<std::size_t>(before);
  c.rest = lag - static_cast<double>(whole);
  c.used = static_cast<double>(to - from) / static_cast<double>(sent_size);
  return c;
}

// Whether what is called sent looks like a recording of what is called returned: it holds it from later on,
// and what is sent by a machine is quiet where it pauses, a recording is not; or there is more of it at both
// ends, and that is quiet.
bool likely_swapped(std::span<const float> sent, std::span<const float> returned, double lag,
                    double rate_hz) {
  if (!(lag < -0.0005 * rate_hz)) return false;
  const auto at = static_cast<std::size_t>(-lag);
  if (at >= sent.size()) return false;
  const auto inside = sent.subspan(at, std::min(returned.size(), sent.size() - at));
  const double loud = rms(inside);
  // A recording that began late misses signal; a file given first by mistake had only noise before it.
  if (rms(sent.first(at)) > 0.03 * loud) return false;
  const double own = quietest(sent, rate_hz) / std::max(loud, 1e-12);
  const double other = quietest(returned, rate_hz) / std::max(rms(returned), 1e-12);
  const bool noisier = own > 3 * other && own > 1e-6;
  return noisier || sent.size() > returned.size();
}

}  // namespace linebench::measure::response
