// The tables: every fault by severity and variant, pairs, and the hypotheses' probabilities.
#include "model.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <set>

namespace linebench::diagnose {
namespace {

constexpr int severities = 12;
// Odds against a sound job of something that the book does not list: the project's estimate.
constexpr double unlisted_odds = 0.03;
// Pairs are tried of the likeliest faults with every other.
constexpr std::size_t pair_leaders = 8;

std::vector<const Effect*> effects_of(const Fault& fault, const Variant& variant) {
  std::vector<const Effect*> out;
  for (const Effect& e : fault.effects) out.push_back(&e);
  for (const Effect& e : variant.effects) out.push_back(&e);
  return out;
}

// Power that a fault adds, at a severity, to what these words are about.
double power_described(const Model& m, const Sign& words, const std::vector<const Effect*>& effects,
                       double severity) {
  double sum = 0;
  for (const Effect* e : effects) {
    if (std::ranges::find(words.of, e->sign) == words.of.end()) continue;
    if (const Cause c = cause_of(*m.book->sign(e->sign), *e, severity); c.acts)
      sum += std::pow(10, c.mean / 10);
  }
  return sum;
}

FaultTable table_of(const Fault& fault, const Model& m) {
  FaultTable t;
  t.fault = &fault;
  std::set<int> touched;
  const auto place = [&](const std::string& sign) {
    for (std::size_t i = 0; i < m.evidence.size(); ++i) {
      if (m.evidence[i].sign == sign) return static_cast<int>(i);
    }
    return -1;
  };
  for (const Variant& v : fault.variants) {
    for (const Effect* e : effects_of(fault, v)) {
      if (const int i = place(e->sign); i >= 0) touched.insert(i);
    }
  }
  t.touched.assign(touched.begin(), touched.end());
  std::vector<double> logs;
  for (std::size_t v = 0; v < fault.variants.size(); ++v) {
    const auto effects = effects_of(fault, fault.variants[v]);
    // Where nothing was found that depends on it, one severity stands for all.
    const bool any = std::ranges::any_of(effects, [&](const Effect* e) { return place(e->sign) >= 0; });
    const int steps = any ? severities : 1;
    for (int k = 0; k < steps; ++k) {
      Cell cell;
      cell.variant = static_cast<int>(v);
      cell.severity = (k + 0.5) / steps;
      cell.log_weight = std::log(fault.variants[v].share / steps);
      cell.causes.resize(t.touched.size());
      cell.log_ratio.assign(t.touched.size(), 0.0);
      for (const Effect* e : effects) {
        for (std::size_t i = 0; i < t.touched.size(); ++i) {
          const auto at = static_cast<std::size_t>(t.touched[i]);
          if (m.evidence[at].sign != e->sign) continue;
          cell.causes[i] = cause_of(*m.signs[at], *e, cell.severity);
          cell.causes[i].weight = power_described(m, *m.signs[at], effects, cell.severity);
        }
      }
      for (std::size_t i = 0; i < t.touched.size(); ++i) {
        if (!cell.causes[i].acts) continue;
        const auto at = static_cast<std::size_t>(t.touched[i]);
        cell.log_ratio[i] = log_density(*m.signs[at], m.evidence[at], &cell.causes[i], nullptr, m.sound[at]) -
                            m.sound[at].log;
      }
      cell.log_total = std::accumulate(cell.log_ratio.begin(), cell.log_ratio.end(), 0.0);
      logs.push_back(cell.log_weight + cell.log_total);
      t.cells.push_back(std::move(cell));
    }
  }
  t.log_ratio = log_sum(logs);
  for (const double l : logs) t.posterior.push_back(std::exp(l - t.log_ratio));
  return t;
}

// Whether some fault of the book makes of this sign what was found, as well as anything else would.
bool explained(const Model& m, std::size_t evidence) {
  const double anything =
      log_density_unknown(*m.signs[evidence], m.evidence[evidence]) - m.sound[evidence].log;
  return std::ranges::any_of(m.tables, [&](const FaultTable& t) {
    const auto at = std::ranges::find(t.touched, static_cast<int>(evidence));
    const auto i = at - t.touched.begin();
    return at != t.touched.end() && std::ranges::any_of(t.cells, [&](const Cell& c) {
             return c.log_ratio[static_cast<std::size_t>(i)] >= anything;
           });
  });
}

// One family of signs drawn from anything it can be, the rest sound; the mean over families.
double log_unlisted_ratio(const Model& m) {
  std::set<std::string> families;
  for (const Sign* s : m.signs) families.insert(s->family);
  std::vector<double> logs = {0.0};  // a family of which nothing was measured
  for (const std::string& f : families) {
    double sum = 0;
    for (std::size_t i = 0; i < m.signs.size(); ++i) {
      if (m.signs[i]->family != f) continue;
      // Half of what goes wrong leaves any one sign alone; what a person looks for is chosen to show one
      // fault, and seldom shows another: hardly ever as that fault would.
      const double reached = !m.signs[i]->trial ? 0.5 : explained(m, i) ? 0.02 : 0.1;
      const double unknown = log_density_unknown(*m.signs[i], m.evidence[i]);
      const double both[] = {std::log(reached) + unknown, std::log(1 - reached) + m.sound[i].log};
      sum += log_sum(both) - m.sound[i].log;
    }
    logs.push_back(sum);
  }
  return log_sum(logs) - std::log(static_cast<double>(logs.size()));
}

bool exclude(const Fault& a, const Fault& b) {
  return std::ranges::find(a.excludes, b.id) != a.excludes.end() ||
         std::ranges::find(b.excludes, a.id) != b.excludes.end();
}

double log_odds(const Fault& f) { return std::log(f.prior / (1 - f.prior)); }

void weigh(Model& m, const std::set<std::string>& barred) {
  m.hypotheses.push_back({});
  Hypothesis unlisted;
  unlisted.unlisted = true;
  unlisted.log_weight = std::log(unlisted_odds) + log_unlisted_ratio(m);
  m.hypotheses.push_back(unlisted);
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < m.tables.size(); ++i) {
    if (!barred.contains(m.tables[i].fault->place)) order.push_back(i);
  }
  const auto single = [&](std::size_t i) { return log_odds(*m.tables[i].fault) + m.tables[i].log_ratio; };
  for (const std::size_t i : order) m.hypotheses.push_back({static_cast<int>(i), -1, false, single(i), 0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return single(a) > single(b); });
  for (std::size_t k = 0; k < std::min(pair_leaders, order.size()); ++k) {
    for (std::size_t j = k + 1; j < order.size(); ++j) {
      const FaultTable& a = m.tables[order[k]];
      const FaultTable& b = m.tables[order[j]];
      if (exclude(*a.fault, *b.fault)) continue;
      m.hypotheses.push_back({static_cast<int>(order[k]), static_cast<int>(order[j]), false,
                              log_odds(*a.fault) + log_odds(*b.fault) + log_pair_ratio(m, a, b), 0});
    }
  }
  std::vector<double> logs;
  for (const Hypothesis& h : m.hypotheses) logs.push_back(h.log_weight);
  const double total = log_sum(logs);
  for (Hypothesis& h : m.hypotheses) h.probability = std::exp(h.log_weight - total);
}

}  // namespace

double log_sum(std::span<const double> logs) {
  if (logs.empty()) return -std::numeric_limits<double>::infinity();
  const double top = *std::max_element(logs.begin(), logs.end());
  if (!std::isfinite(top)) return top;
  double sum = 0;
  for (const double l : logs) sum += std::exp(l - top);
  return top + std::log(sum);
}

double log_pair_ratio(const Model& m, const FaultTable& a, const FaultTable& b) {
  struct Shared {
    std::size_t evidence, in_a, in_b;
  };
  std::vector<Shared> shared;
  for (std::size_t i = 0; i < a.touched.size(); ++i) {
    for (std::size_t j = 0; j < b.touched.size(); ++j) {
      if (a.touched[i] == b.touched[j]) shared.push_back({static_cast<std::size_t>(a.touched[i]), i, j});
    }
  }
  if (shared.empty()) return a.log_ratio + b.log_ratio;
  std::vector<double> logs;
  logs.reserve(a.cells.size() * b.cells.size());
  for (const Cell& x : a.cells) {
    for (const Cell& y : b.cells) {
      double sum = x.log_weight + y.log_weight + x.log_total + y.log_total;
      for (const Shared& s : shared) {
        const Cause& p = x.causes[s.in_a];
        const Cause& q = y.causes[s.in_b];
        if (!p.acts || !q.acts) continue;  // one alone is already in the totals
        sum += log_density(*m.signs[s.evidence], m.evidence[s.evidence], &p, &q, m.sound[s.evidence]) -
               m.sound[s.evidence].log - x.log_ratio[s.in_a] - y.log_ratio[s.in_b];
      }
      logs.push_back(sum);
    }
  }
  return log_sum(logs);
}

Model build_model(const FaultBook& book, const std::vector<Evidence>& evidence,
                  const std::set<std::string>& barred) {
  Model m;
  m.book = &book;
  std::set<std::string> seen;
  for (const Evidence& e : evidence) {
    const Sign* s = book.sign(e.sign);
    if (s == nullptr || !seen.insert(e.sign).second) continue;
    m.evidence.push_back(within_book(book, *s, e));
    m.signs.push_back(s);
    m.sound.push_back(sound_case(*s, e));
  }
  for (const Fault& f : book.faults) m.tables.push_back(table_of(f, m));
  weigh(m, barred);
  return m;
}

bool captured(const Model& m) {
  return std::any_of(m.signs.begin(), m.signs.end(), [](const Sign* s) { return !s->trial; });
}

bool unseen(const Model& m, const Hypothesis& h) {
  const auto untouched = [&](int t) {
    if (t < 0) return true;
    const FaultTable& table = m.tables[static_cast<std::size_t>(t)];
    return table.touched.empty() && !asked_of(m, *table.fault);
  };
  return h.first >= 0 && untouched(h.first) && untouched(h.second);
}

std::vector<double> marginals(const Model& m) {
  std::vector<double> p(m.tables.size(), 0.0);
  for (const Hypothesis& h : m.hypotheses) {
    if (h.first >= 0) p[static_cast<std::size_t>(h.first)] += h.probability;
    if (h.second >= 0) p[static_cast<std::size_t>(h.second)] += h.probability;
  }
  return p;
}

}  // namespace linebench::diagnose
