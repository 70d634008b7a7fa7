// The next test: expected information per minute of work.
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "model.hpp"

namespace linebench::diagnose {
namespace {

constexpr int bins = 48;
constexpr double least_hypothesis = 1e-3;  // less likely ones cannot change which test is best
constexpr double least_bits = 0.03;
constexpr double all_but_certain = 0.9;
constexpr double nearly_certain = 0.8;
constexpr double likely = 0.5;
constexpr double nearly_as_good = 0.6;
// Whatever the test, getting there, setting up and asking again takes its time: the project's estimate. It
// keeps a quick look that settles little from being put before a trial that settles all.
constexpr double minutes_round_it = 5;

const Effect* effect_on(const Fault& fault, int variant, const std::string& sign) {
  for (const Effect& e : fault.variants[static_cast<std::size_t>(variant)].effects) {
    if (e.sign == sign) return &e;
  }
  for (const Effect& e : fault.effects) {
    if (e.sign == sign) return &e;
  }
  return nullptr;
}

std::vector<double> outcomes(const Sign& sign, Causes causes) {
  if (sign.scale == Scale::Words) return predict_words(sign, causes);
  const Predicted p = predict(sign, causes);
  const double sd = std::hypot(p.sd, sign.trial ? 0.5 * sign.trial->uncertainty : 0.0);
  std::vector<double> out(bins);
  double below = 0;
  for (int i = 0; i < bins; ++i) {
    const double edge = sign.low + (sign.high - sign.low) * (i + 1) / bins;
    const double at = i + 1 == bins ? 1.0 : 0.5 * std::erfc(-(edge - p.mean) / (sd * std::numbers::sqrt2));
    out[static_cast<std::size_t>(i)] = at - below;
    below = at;
  }
  return out;
}

using Pmf = std::vector<double>;

// What one fault makes of the sign, its severity as the evidence so far leaves it.
Pmf single(const Sign& sign, const FaultTable& t) {
  Pmf sum;
  for (std::size_t c = 0; c < t.cells.size(); ++c) {
    if (t.posterior[c] < 1e-4) continue;
    const Effect* e = effect_on(*t.fault, t.cells[c].variant, sign.id);
    const Cause cause = e != nullptr ? cause_of(sign, *e, t.cells[c].severity) : Cause{};
    const Cause* one = &cause;
    const Pmf p = outcomes(sign, {&one, 1});
    sum.resize(p.size());
    for (std::size_t i = 0; i < p.size(); ++i) sum[i] += t.posterior[c] * p[i];
  }
  return sum;
}

Cause likeliest(const Sign& sign, const FaultTable& t) {
  const auto c = static_cast<std::size_t>(std::max_element(t.posterior.begin(), t.posterior.end()) -
                                          t.posterior.begin());
  const Effect* e = effect_on(*t.fault, t.cells[c].variant, sign.id);
  return e != nullptr ? cause_of(sign, *e, t.cells[c].severity) : Cause{};
}

// What several make of it, each as it is likeliest.
Pmf of_several(const Model& m, const Sign& sign, const std::vector<int>& faults) {
  std::vector<Cause> each;
  for (const int f : faults) each.push_back(likeliest(sign, m.tables[static_cast<std::size_t>(f)]));
  std::vector<const Cause*> causes;
  for (const Cause& c : each) causes.push_back(&c);
  return outcomes(sign, causes);
}

bool touches(const FaultTable& t, const std::string& sign) {
  for (std::size_t v = 0; v < t.fault->variants.size(); ++v) {
    if (effect_on(*t.fault, static_cast<int>(v), sign) != nullptr) return true;
  }
  return false;
}

double entropy(const Pmf& p) {
  double h = 0;
  for (const double x : p) {
    if (x > 0) h -= x * std::log2(x);
  }
  return h;
}

struct Weighted {
  const Hypothesis* hypothesis;
  double probability;
};

// Mutual information of the sign's outcome and the hypothesis (or whether it holds the fault), in bits.
double information(const Model& m, const Sign& sign, const std::vector<Weighted>& hypotheses, int fault,
                   std::map<std::pair<int, std::string>, Pmf>& cache) {
  const auto of_single = [&](int table) -> const Pmf& {
    Pmf& p = cache[{table, sign.id}];
    if (p.empty()) p = single(sign, m.tables[static_cast<std::size_t>(table)]);
    return p;
  };
  const Pmf sound = outcomes(sign, {});
  Pmf unknown = sound;
  for (double& x : unknown) x = 0.7 * x + 0.3 / static_cast<double>(unknown.size());
  Pmf all(sound.size(), 0.0);
  Pmf with(sound.size(), 0.0);
  double conditional = 0;
  double p_with = 0;
  for (const auto& [h, p] : hypotheses) {
    Pmf pmf;
    if (h->unlisted) {
      pmf = unknown;
    } else {
      std::vector<int> touching;
      for (const int f : h->faults) {
        if (touches(m.tables[static_cast<std::size_t>(f)], sign.id)) touching.push_back(f);
      }
      pmf = touching.empty()       ? sound
            : touching.size() == 1 ? of_single(touching.front())
                                   : of_several(m, sign, touching);
    }
    for (double& x : pmf) x = (1 - stray_share) * x + stray_share / static_cast<double>(pmf.size());
    const bool holds = fault >= 0 && h->holds(fault);
    if (holds) p_with += p;
    for (std::size_t i = 0; i < pmf.size(); ++i) {
      all[i] += p * pmf[i];
      if (holds) with[i] += p * pmf[i];
    }
    conditional += p * entropy(pmf);
  }
  if (fault < 0) return entropy(all) - conditional;
  double bits = 0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const double yes = with[i];
    const double no = all[i] - with[i];
    if (yes > 0 && p_with > 0) bits += yes * std::log2(yes / (p_with * all[i]));
    if (no > 0 && p_with < 1) bits += no * std::log2(no / ((1 - p_with) * all[i]));
  }
  return bits;
}

}  // namespace

namespace {

bool known(const Model& m, const std::string& sign) {
  return std::any_of(m.evidence.begin(), m.evidence.end(), [&](const Evidence& e) { return e.sign == sign; });
}

// A job of sound alone may have no camera: its picture is not asked for. What was not captured is taken where
// it belongs to a view that the job has.
bool worth_taking(const Model& m, const CaptureTest& c) {
  if (of_view(m, c.prefix)) return false;
  return c.prefix == "audio." || !captured(m) || of_view(m, "video.") || of_view(m, "picture.");
}

// Nothing of its medium was captured, and something of the other was.
bool of_other_medium(const Model& m, const Sign& s) {
  const bool sound = of_view(m, "audio.");
  const bool picture = of_view(m, "video.") || of_view(m, "picture.");
  return (s.trial->medium == "sound" && picture && !sound) ||
         (s.trial->medium == "picture" && sound && !picture);
}

// The likeliest fault where it is as likely as this; else -1.
int likelier_than(const Model& m, double least) {
  const std::vector<double> p = marginals(m);
  const auto top = std::max_element(p.begin(), p.end());
  return top != p.end() && *top >= least ? static_cast<int>(top - p.begin()) : -1;
}

// The trial that the fault's entry names, if it was not made.
const Sign* own_test(const Model& m, int fault) {
  const Sign* s = m.book->sign(m.tables[static_cast<std::size_t>(fault)].fault->test);
  return s == nullptr || !s->trial || known(m, s->id) ? nullptr : s;
}

// Faults that nothing measured bears on keep their share whatever is found: no test is chosen for them.
std::vector<Weighted> open_hypotheses(const Model& m) {
  std::vector<Weighted> out;
  double total = 0;
  for (const Hypothesis& h : m.hypotheses) {
    if (h.probability < least_hypothesis || (captured(m) && unseen(m, h))) continue;
    out.push_back({&h, h.probability});
    total += h.probability;
  }
  for (Weighted& w : out) w.probability /= total;
  return out;
}

NextTest test_of(const Sign& s, double bits, double open) {
  return {s.id,           s.label,          s.trial->how, s.trial->caution,
          notation_of(s), s.trial->minutes, bits,         open > 0 ? std::clamp(bits / open, 0.0, 1.0) : 0,
          s.trial->medium};
}

}  // namespace

NextTest test_again(const Model& m, const Sign& trial) {
  const std::vector<Weighted> hypotheses = open_hypotheses(m);
  Pmf prior;
  for (const Weighted& w : hypotheses) prior.push_back(w.probability);
  std::map<std::pair<int, std::string>, Pmf> cache;
  NextTest out = test_of(trial, information(m, trial, hypotheses, -1, cache), entropy(prior));
  out.again = true;
  return out;
}

std::optional<NextTest> best_test(const Model& m, int fault) {
  const std::vector<Weighted> hypotheses = open_hypotheses(m);
  if (hypotheses.empty()) return std::nullopt;
  // What is all but certain is proved by the trial that its entry names, or cured.
  const int to_prove = fault < 0 ? likelier_than(m, all_but_certain) : fault;
  const int about = fault;
  Pmf prior;
  double p_with = 0;
  for (const Weighted& w : hypotheses) {
    prior.push_back(w.probability);
    if (about >= 0 && w.hypothesis->holds(about)) p_with += w.probability;
  }
  const double open = about < 0 ? entropy(prior) : entropy({p_with, 1 - p_with});
  std::map<std::pair<int, std::string>, Pmf> cache;
  const auto trial = [&](const Sign& s) {
    return test_of(s, information(m, s, hypotheses, about, cache), open);
  };
  if (to_prove >= 0) {
    if (const Sign* own = own_test(m, to_prove)) return trial(*own);
    if (fault < 0) return std::nullopt;
  }
  std::optional<NextTest> best;
  const auto worth = [](const NextTest& x) { return x.bits / (x.minutes + minutes_round_it); };
  const auto offer = [&](NextTest t) {
    if (t.bits < least_bits) return;
    if (!best || worth(t) > worth(*best)) best = std::move(t);
  };
  // Beside what is nearly certain, only what would come out otherwise with it is tried.
  const int near = fault < 0 ? likelier_than(m, nearly_certain) : -1;
  const auto bears_on = [&](const Sign& s) {
    return near < 0 || touches(m.tables[static_cast<std::size_t>(near)], s.id);
  };
  for (const Sign& s : m.book->signs) {
    if (s.trial && !known(m, s.id) && bears_on(s) && !of_other_medium(m, s)) offer(trial(s));
  }
  if (!best && near >= 0) {
    if (const Sign* own = own_test(m, near)) return trial(*own);
  }
  // What proves or clears a likely leader comes before what tells little more of the others.
  if (const int lead = fault < 0 ? likelier_than(m, likely) : -1; best && lead >= 0) {
    if (const Sign* own = own_test(m, lead)) {
      NextTest proof = trial(*own);
      if (worth(proof) > nearly_as_good * worth(*best)) best = std::move(proof);
    }
  }
  // A view that was never taken only where no look, meter or trial tells anything.
  if (best && captured(m)) return best;
  for (const CaptureTest& c : m.book->captures) {
    if (open <= 0 || !worth_taking(m, c)) continue;
    // Its signs overlap in what they tell: each takes its share of what the others left open.
    double left = 1;
    for (const Sign& s : m.book->signs) {
      if (!s.trial && s.id.starts_with(c.prefix))
        left *= 1 - std::clamp(information(m, s, hypotheses, about, cache) / open, 0.0, 1.0);
    }
    const double settles = 0.9 * (1 - left);
    offer({c.id, c.label, c.how, c.caution, "", c.minutes, open * settles, settles});
  }
  return best;
}

}  // namespace linebench::diagnose
