// Densities of signs.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "model.hpp"

namespace linebench::diagnose {
namespace {

bool adds_as_power(Scale s) { return s == Scale::Decibel || s == Scale::Amount || s == Scale::Count; }

// Less than is usual of hum, noise or echo says as little against a sound job as the usual: it is held there.
double held(const Sign& sign, double value) {
  if (value >= sign.fine_low && value <= sign.fine_high) return sign.usual;
  return adds_as_power(sign.scale) ? std::max(value, sign.usual - sign.spread) : value;
}

double normal_below(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

}  // namespace

double power_of(const Sign& sign, double level) {
  return adds_as_power(sign.scale) ? std::exp(level * (std::numbers::ln10 / 10)) : 0;
}

namespace {

Predicted predict_from(const Sign& sign, double usual_power, Causes causes) {
  Predicted p{sign.usual, sign.spread};
  if (!adds_as_power(sign.scale)) {
    double variance = p.sd * p.sd;
    for (const Cause* c : causes) {
      if (!c->acts) continue;
      p.mean += c->mean;
      variance += c->sd * c->sd;
    }
    p.sd = std::sqrt(variance);
    return p;
  }
  // Powers add; each part's spread counts by its share of the sum.
  double sum = usual_power;
  double spread2 = usual_power * usual_power * p.sd * p.sd;
  bool alone = true;
  for (const Cause* c : causes) {
    if (!c->acts) continue;
    sum += c->power;
    spread2 += c->power * c->power * c->sd * c->sd;
    alone = false;
  }
  if (alone) return p;
  p.mean = 10 / std::numbers::ln10 * std::log(sum);
  p.sd = std::sqrt(spread2) / sum;
  return p;
}

}  // namespace

Predicted predict(const Sign& sign, Causes causes) {
  return predict_from(sign, power_of(sign, sign.usual), causes);
}

std::vector<double> predict_words(const Sign& sign, Causes causes) {
  std::vector<double> out(sign.words.size(), 0.0);
  const bool weighed = std::ranges::all_of(causes, [](const Cause* c) { return !c->acts || c->weight > 0; });
  double all = 0;
  for (const Cause* c : causes) {
    if (!c->acts) continue;
    const double weight = weighed ? c->weight : 1;
    for (std::size_t i = 0; i < out.size(); ++i) out[i] += weight * c->words[i];
    all += weight;
  }
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = all > 0 ? out[i] / all : sign.words[i].second;
  return out;
}

namespace {

bool act(Causes causes) {
  return std::ranges::any_of(causes, [](const Cause* c) { return c->acts; });
}

// Of one reading, whatever it was picked from.
double log_density_found_once(const Sign& sign, const Evidence& e, Causes causes, double usual_power) {
  // An answer that a fault never gives is misread no oftener with it than without.
  const bool answer = sign.trial && sign.scale == Scale::Words;
  double stray = sign.certain             ? certain_stray_share
                 : act(causes) && !answer ? stray_share
                                          : sound_stray_share;
  if (sign.scale == Scale::Words) {
    std::size_t place = 0;
    while (place < sign.words.size() && sign.words[place].first != e.word) ++place;
    if (place == sign.words.size()) return 0;
    const double p = predict_words(sign, causes)[place];
    return std::log((1 - stray) * p + stray / static_cast<double>(sign.words.size()));
  }
  const Predicted m = predict_from(sign, usual_power, causes);
  const double sd = std::sqrt(m.sd * m.sd + e.sd * e.sd);
  const double value = held(sign, e.value);
  const double z = (value - m.mean) / sd;
  const double span = sign.high - sign.low;
  if (e.at_most) {
    const double share = std::clamp((value - sign.low) / span, 1e-4, 1.0);
    return std::log((1 - stray) * normal_below(z) + stray * share);
  }
  if (e.at_least) {
    const double share = std::clamp((sign.high - value) / span, 1e-4, 1.0);
    return std::log((1 - stray) * normal_below(-z) + stray * share);
  }
  // What a meter shows on the far side of the usual has nothing to do with the fault.
  const bool other_side = sign.trial && (value - sign.usual) * (m.mean - sign.usual) < 0;
  if (other_side) stray = sound_stray_share;
  constexpr double root_two_pi = 2.5066282746310002;
  return std::log((1 - stray) * std::exp(-0.5 * z * z) / (sd * root_two_pi) + stray / span);
}

double log_density_of_one(const Sign& sign, const Evidence& e, Causes causes, double usual_power) {
  return e.times * log_density_found_once(sign, e, causes, usual_power);
}

double log_unknown_found_once(const Sign& sign, const Evidence& e) {
  if (sign.scale == Scale::Words) return -std::log(static_cast<double>(sign.words.size()));
  const double span = sign.high - sign.low;
  if (e.at_most) {
    // That nothing was found where nothing is usual speaks for no fault, known or not.
    const double share = std::log(std::clamp((held(sign, e.value) - sign.low) / span, 1e-4, 1.0));
    return std::min(share, log_density_found_once(sign, e, {}, power_of(sign, sign.usual)));
  }
  if (e.at_least) return std::log(std::clamp((sign.high - held(sign, e.value)) / span, 1e-4, 1.0));
  return -std::log(span);
}

double log_unknown_of_one(const Sign& sign, const Evidence& e) {
  return e.times * log_unknown_found_once(sign, e);
}

// Probability that a reading is no further from sound than this one.
double not_odder(const Sign& sign, const Evidence& e, Causes causes) {
  if (sign.scale == Scale::Words) {
    double own = 0;
    for (const auto& [word, share] : sign.words) own = word == e.word ? share : own;
    const std::vector<double> p = predict_words(sign, causes);
    double sum = 0;
    for (std::size_t i = 0; i < p.size(); ++i) sum += sign.words[i].second >= own ? p[i] : 0;
    return sum;
  }
  const Predicted m = predict(sign, causes);
  const double sd = std::sqrt(m.sd * m.sd + e.sd * e.sd);
  const double value = held(sign, e.value);
  if (sign.scale != Scale::Shift) return normal_below((value - m.mean) / sd);
  const double off = std::abs(value - sign.usual);
  return normal_below((sign.usual + off - m.mean) / sd) - normal_below((sign.usual - off - m.mean) / sd);
}

// The oddest of n readings was picked, and the cause is in one of them: in this one, or in another that it
// left less odd. `log_ratio` is ln of p(reading with the cause) / p(reading where sound).
double of_picked(double log_ratio, double others, double n) {
  constexpr double least = 1e-6;
  return std::log((std::exp(std::min(log_ratio, 600.0)) + (n - 1) * std::max(others, least)) / n);
}

}  // namespace

Sound sound_case(const Sign& sign, const Evidence& e) {
  const double power = power_of(sign, sign.usual);
  return {log_density_of_one(sign, e, {}, power), not_odder(sign, e, {}), power};
}

double log_density(const Sign& sign, const Evidence& e, Causes causes, const Sound& sound) {
  const double one = log_density_of_one(sign, e, causes, sound.power);
  if (!(e.among > 1) || e.at_most || !act(causes)) return one;
  const double others = not_odder(sign, e, causes) / std::max(sound.not_odder, 1e-6);
  return sound.log + of_picked(one - sound.log, others, e.among);
}

double log_density_unknown(const Sign& sign, const Evidence& e) {
  const double one = log_unknown_of_one(sign, e);
  if (!(e.among > 1) || e.at_most) return one;
  const double sound = log_density_of_one(sign, e, {}, power_of(sign, sign.usual));
  return sound + of_picked(one - sound, 0.5, e.among);
}

Cause cause_of(const Sign& sign, const Effect& effect, double severity) {
  Cause c;
  if (severity < effect.above) return c;
  c.acts = true;
  if (sign.scale != Scale::Words) {
    c.mean = effect.from + severity * (effect.to - effect.from);
    c.sd = effect.spread;
    c.power = power_of(sign, c.mean);
    return c;
  }
  // What the fault's words leave over goes to the words it does not name, by their share where nothing is
  // wrong.
  const double left = std::max(0.0, 1 - effect.word_share);
  const auto named = [&](const std::string& w) {
    return std::find_if(effect.words.begin(), effect.words.end(),
                        [&](const auto& p) { return p.first == w; });
  };
  double others = 0;
  for (const auto& [word, share] : sign.words) {
    if (named(word) == effect.words.end()) others += share;
  }
  for (const auto& [word, share] : sign.words) {
    const auto it = named(word);
    if (it != effect.words.end()) {
      c.words.push_back(it->second + (others > 0 ? 0 : left * share));
    } else {
      c.words.push_back(left * share / others);
    }
  }
  return c;
}

}  // namespace linebench::diagnose
