// The tables: every fault by severity and variant, and the hypotheses' probabilities.
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
// Odds, against a fault of the book, of something that shows in captures as it does and is elsewhere or not
// the same thing: the project's estimate. It counts where a trial came out against the fault.
constexpr double look_alike_odds = 0.01;
// Several at once are tried of the likeliest faults with every other, and of the likeliest sets of them with
// one more. With the book's shares one job in nine has three faults or more, and none that counts more than
// five.
constexpr std::size_t pair_leaders = 8;
constexpr std::size_t set_leaders = 12;
constexpr std::size_t most_at_once = 5;
constexpr double negligible = 7;  // nats below the likeliest: sets are not followed further

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

// A trial of what was complained of, answered by what becomes of it: of several faults the one that shows in
// what was captured has its say.
bool of_complaint(const Sign& s) {
  return s.trial &&
         std::ranges::find(s.words, "same", [](const auto& w) { return w.first; }) != s.words.end();
}

// By what captures make of a fault, ln: how far it shows in them.
double say(double captured) {
  constexpr double hardly_heard = 0.01;
  return std::max(hardly_heard, 1 - std::exp(-std::max(0.0, captured)));
}

void weigh_words_of_trials(const Model& m, const std::vector<int>& touched, double captured, Cell& cell) {
  for (std::size_t i = 0; i < touched.size(); ++i) {
    if (of_complaint(*m.signs[static_cast<std::size_t>(touched[i])])) cell.causes[i].weight = say(captured);
  }
}

// What a fault that a trial says nothing about makes of it: the complaint stays as it was. Beside one that
// shows in captures, what does not show is not what the trial took away. To be added to what the others make
// of it.
double left_to_bystanders(const Model& m, const std::vector<int>& faults) {
  double sum = 0;
  for (std::size_t e = 0; e < m.evidence.size(); ++e) {
    if (!of_complaint(*m.signs[e]) || !m.signs[e]->alone.empty()) continue;
    double said = 0, heard = 0, stand_by = 0;
    for (const int f : faults) {
      const FaultTable& t = m.tables[static_cast<std::size_t>(f)];
      const auto at = std::ranges::lower_bound(t.touched, static_cast<int>(e));
      if (at == t.touched.end() || *at != static_cast<int>(e)) {
        stand_by += t.say;
      } else {
        said += t.say * std::exp(t.answer[static_cast<std::size_t>(at - t.touched.begin())]);
        heard += t.say;
      }
    }
    if (heard > 0 && stand_by > 0)
      sum += std::min(0.0, std::log((said + stand_by) / (heard + stand_by)) - std::log(said / heard));
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
  std::vector<double> logs, captured;
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
        const Cause* cause = &cell.causes[i];
        if (!cause->acts) continue;
        const auto at = static_cast<std::size_t>(t.touched[i]);
        cell.log_ratio[i] =
            log_density(*m.signs[at], m.evidence[at], {&cause, 1}, m.sound[at]) - m.sound[at].log;
      }
      double seen = 0;  // of the ratio, what captures make
      for (std::size_t i = 0; i < t.touched.size(); ++i)
        seen += m.signs[static_cast<std::size_t>(t.touched[i])]->trial ? 0 : cell.log_ratio[i];
      captured.push_back(cell.log_weight + seen);
      weigh_words_of_trials(m, t.touched, seen, cell);
      cell.log_total = std::accumulate(cell.log_ratio.begin(), cell.log_ratio.end(), 0.0);
      logs.push_back(cell.log_weight + cell.log_total);
      t.cells.push_back(std::move(cell));
    }
  }
  t.log_ratio = log_sum(logs);
  t.log_of_trials = t.log_ratio - log_sum(captured);
  t.say = say(log_sum(captured));
  for (std::size_t i = 0; i < t.touched.size(); ++i) {
    std::vector<double> without = logs;
    for (std::size_t c = 0; c < without.size(); ++c) without[c] -= t.cells[c].log_ratio[i];
    t.answer.push_back(t.log_ratio - log_sum(without));
  }
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

double log_odds(const Model& m, const std::vector<int>& faults) {
  double sum = 0;
  for (const int i : faults) sum += log_odds(*m.tables[static_cast<std::size_t>(i)].fault);
  return sum;
}

bool go_together(const Model& m, const std::vector<int>& faults, int added) {
  const Fault& f = *m.tables[static_cast<std::size_t>(added)].fault;
  return std::ranges::none_of(
      faults, [&](int i) { return i == added || exclude(f, *m.tables[static_cast<std::size_t>(i)].fault); });
}

// The likeliest of these many at once with one fault more each.
void add_one_more(Model& m, const std::vector<int>& order, std::size_t size, Together& together) {
  std::vector<std::size_t> bases;
  double best = -std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < m.hypotheses.size(); ++i) {
    best = std::max(best, m.hypotheses[i].log_weight);
    if (!m.hypotheses[i].unlisted && m.hypotheses[i].faults.size() == size) bases.push_back(i);
  }
  std::ranges::stable_sort(bases, [&](std::size_t a, std::size_t b) {
    return m.hypotheses[a].log_weight > m.hypotheses[b].log_weight;
  });
  bases.resize(std::min(bases.size(), size == 1 ? pair_leaders : set_leaders));
  std::set<std::vector<int>> seen;
  for (const std::size_t base : bases) {
    const Hypothesis h = m.hypotheses[base];
    if (size > 1 && h.log_weight < best - negligible) break;
    for (const int i : order) {
      if (!go_together(m, h.faults, i)) continue;
      Hypothesis more{h.faults, false, 0, 0};
      more.faults.insert(std::ranges::upper_bound(more.faults, i), i);
      if (!seen.insert(more.faults).second) continue;
      const double odds = log_odds(m, more.faults);
      more.log_weight = odds + together.log_ratio_with(more.faults, i, best - negligible - odds) +
                        left_to_bystanders(m, more.faults);
      if (size == 1 || more.log_weight > best - negligible) m.hypotheses.push_back(std::move(more));
    }
  }
}

bool tries(const Model& m, int fault, int evidence) {
  const FaultTable& t = m.tables[static_cast<std::size_t>(fault)];
  return m.signs[static_cast<std::size_t>(evidence)]->trial &&
         std::ranges::binary_search(t.touched, evidence);
}

// Something else that shows as these faults do, where a trial of one of them came out against it.
double log_look_alikes(const Model& m) {
  std::vector<double> logs;
  for (const Hypothesis& h : m.hypotheses) {
    for (const int f : h.faults) {
      const FaultTable& t = m.tables[static_cast<std::size_t>(f)];
      const bool by_itself = std::ranges::none_of(t.touched, [&](int e) {
        return tries(m, f, e) &&
               std::ranges::any_of(h.faults, [&](int other) { return other != f && tries(m, other, e); });
      });
      constexpr double rounding = 1e-9;  // where nothing was tried
      if (t.log_of_trials < -rounding && by_itself)
        logs.push_back(std::log(look_alike_odds) + h.log_weight - t.log_of_trials);
    }
  }
  return log_sum(logs);
}

// Beside a fault by whose trial all that was found is its own, no other is shown by it.
void leave_alone(Model& m) {
  std::vector<int> all;
  for (std::size_t f = 0; f < m.tables.size(); ++f) {
    if (alone(m, static_cast<int>(f))) all.push_back(static_cast<int>(f));
  }
  if (all.empty()) return;
  for (Hypothesis& h : m.hypotheses) {
    const auto kept = std::ranges::find_first_of(h.faults, all);
    if (kept != h.faults.end()) h.faults = {*kept};
  }
}

void weigh(Model& m, const std::set<std::string>& barred) {
  m.hypotheses.push_back({});
  Hypothesis unlisted;
  unlisted.unlisted = true;
  unlisted.log_weight = std::log(unlisted_odds) + log_unlisted_ratio(m);
  m.hypotheses.push_back(unlisted);
  std::vector<int> order;
  for (std::size_t i = 0; i < m.tables.size(); ++i) {
    if (!barred.contains(m.tables[i].fault->place)) order.push_back(static_cast<int>(i));
  }
  const auto single = [&](int i) {
    const FaultTable& t = m.tables[static_cast<std::size_t>(i)];
    return log_odds(*t.fault) + t.log_ratio;
  };
  for (const int i : order) m.hypotheses.push_back({{i}, false, single(i), 0});
  Together together(m);
  for (std::size_t size = 1; size < most_at_once; ++size) add_one_more(m, order, size, together);
  Hypothesis& other = *std::ranges::find_if(m.hypotheses, &Hypothesis::unlisted);
  other.log_weight = log_sum(std::vector{other.log_weight, log_look_alikes(m)});
  leave_alone(m);
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

bool gives_word(const Model& m, int fault, std::size_t evidence) {
  const FaultTable& t = m.tables[static_cast<std::size_t>(fault)];
  const auto at = std::ranges::lower_bound(t.touched, static_cast<int>(evidence));
  if (at == t.touched.end() || *at != static_cast<int>(evidence)) return false;
  const Shares& words = m.signs[evidence]->words;
  const auto word =
      std::ranges::find(words, m.evidence[evidence].word, [](const auto& w) { return w.first; });
  const auto place = static_cast<std::size_t>(word - words.begin());
  return word != words.end() && std::ranges::any_of(t.cells, [&](const Cell& c) {
           const Cause& cause = c.causes[static_cast<std::size_t>(at - t.touched.begin())];
           return cause.acts && cause.words[place] > 0.5;
         });
}

bool alone(const Model& m, int fault) {
  for (std::size_t e = 0; e < m.evidence.size(); ++e) {
    if (!m.signs[e]->alone.empty() && m.evidence[e].word == m.signs[e]->alone && gives_word(m, fault, e))
      return true;
  }
  return false;
}

bool captured(const Model& m) {
  return std::any_of(m.signs.begin(), m.signs.end(), [](const Sign* s) { return !s->trial; });
}

bool unseen(const Model& m, const Hypothesis& h) {
  const auto untouched = [&](int t) {
    const FaultTable& table = m.tables[static_cast<std::size_t>(t)];
    return table.touched.empty() && !asked_of(m, *table.fault);
  };
  return !h.faults.empty() && std::ranges::all_of(h.faults, untouched);
}

std::vector<double> marginals(const Model& m) {
  std::vector<double> p(m.tables.size(), 0.0);
  for (const Hypothesis& h : m.hypotheses) {
    for (const int i : h.faults) p[static_cast<std::size_t>(i)] += h.probability;
  }
  return p;
}

}  // namespace linebench::diagnose
