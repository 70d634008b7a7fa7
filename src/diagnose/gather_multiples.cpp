// What the named multiples of a sound's hum say of it together.
#include "gather_multiples.hpp"

#include <linebench/base/decibel.hpp>
#include <linebench/standards/weighting.hpp>

#include "gather.hpp"

namespace linebench::diagnose {
namespace {

// Each named multiple with its mean square.
std::vector<std::pair<int, double>> named_multiples(const Readings& r, const std::string& suffix) {
  std::vector<std::pair<int, double>> out;
  for (int n = 1; n <= most_multiples; ++n) {
    if (const auto h = number_of(r, fmt::format("audio.hum.harmonic.{}{}", n, suffix)))
      out.emplace_back(n, power_from_db(h->value));
  }
  return out;
}

}  // namespace

double hum_tail(const Readings& r, const std::string& suffix) {
  const auto all = number_of(r, "audio.hum.level" + suffix);
  if (!all) return 0;
  double left = power_from_db(all->value);
  for (const auto& [n, power] : named_multiples(r, suffix)) left -= power;
  // Less is what their uncertainties leave of a difference.
  constexpr double share = 0.1;
  return left > share * power_from_db(all->value) ? left : 0;
}

bool hum_goes_on(const Readings& r, const std::string& suffix) {
  const auto named = named_multiples(r, suffix);
  if (named.empty()) return false;
  const double top = named.back().first;
  double below = 0, above = 0;  // lower and upper half of the highest octave
  int n_below = 0, n_above = 0;
  for (const auto& [n, power] : named) {
    if (n <= 0.5 * top) continue;
    (n > 0.75 * top ? above : below) += power;
    ++(n > 0.75 * top ? n_above : n_below);
  }
  constexpr int enough = 3;
  constexpr double hardly_falls = 0.7;  // from half to half; a wave with steps in it falls to 0.5
  return n_below >= enough && n_above >= enough && above / n_above > hardly_falls * below / n_below;
}

double hum_a_weighted(const Readings& r, const std::string& suffix) {
  const auto f = number_of(r, "audio.hum.frequency" + suffix);
  double sum = 0;
  if (!f) return sum;
  for (const auto& [n, power] : named_multiples(r, suffix))
    sum += power * power_from_db(standards::a_weighting_db(n * f->value));
  return sum;
}

}  // namespace linebench::diagnose
