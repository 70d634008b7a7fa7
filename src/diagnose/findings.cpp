// What the inference says to a person: findings with their evidence, and the whole chain of one.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <numeric>

#include "model.hpp"

namespace linebench::diagnose {
namespace {

constexpr double worth_saying = 0.4;  // nats: odds moved by half
constexpr double worth_a_finding = 0.1;
constexpr double worth_following = 0.2;
constexpr double spreads = 1.6;   // standard deviations that hold nine cases in ten
constexpr double hardly = 0.05;   // nats
constexpr double against = -1.5;  // nats: a trial that came out otherwise than four times in five

std::string shown_level(const Sign& s, double working) {
  const double v = from_working(s.scale, working);
  const double size = std::abs(v);
  return fmt::format("{:.{}f}", v, size >= 10 || v == 0 ? 0 : size >= 1 ? 1 : 2);
}

std::string usual_text(const Sign& s) {
  if (s.scale == Scale::Words) {
    const auto top = std::max_element(s.words.begin(), s.words.end(),
                                      [](const auto& a, const auto& b) { return a.second < b.second; });
    return top->second > 0.8 ? "healthy: " + top->first : "";
  }
  return fmt::format("healthy: about {}{}{}", shown_level(s, s.usual), s.unit.empty() ? "" : " ", s.unit);
}

bool as_usual(const Sign& s, const Evidence& e) {
  return s.scale != Scale::Words && !e.at_most && !e.at_least && std::abs(e.value - s.usual) <= s.spread;
}

// The way of showing itself that the evidence leaves likeliest.
int likeliest_way(const FaultTable& t) {
  std::vector<double> ways(t.fault->variants.size(), 0.0);
  for (std::size_t c = 0; c < t.cells.size(); ++c)
    ways[static_cast<std::size_t>(t.cells[c].variant)] += t.posterior[c];
  return static_cast<int>(std::max_element(ways.begin(), ways.end()) - ways.begin());
}

// The fault's cells of this way that act on a sign, from its least to its gravest; null where it leaves it
// alone.
struct Ends {
  const Cell* least = nullptr;
  const Cell* most = nullptr;
};

Ends ends_of(const FaultTable& t, std::size_t i, int way) {
  Ends e;
  for (const Cell& c : t.cells) {
    if (c.variant != way || !c.causes[i].acts) continue;
    if (e.least == nullptr || c.severity < e.least->severity) e.least = &c;
    if (e.most == nullptr || c.severity >= e.most->severity) e.most = &c;
  }
  return e;
}

// What the fault makes of the sign there.
struct Range {
  Predicted from, to;
};

std::optional<Range> range_of(const Sign& s, const FaultTable& t, std::size_t i, int way) {
  const auto [least, most] = ends_of(t, i, way);
  if (least == nullptr) return std::nullopt;
  const Cause* from = &least->causes[i];
  const Cause* to = &most->causes[i];
  return Range{predict(s, {&from, 1}), predict(s, {&to, 1})};
}

// The same with the spread of nine cases in ten at its ends, as far as the usual reading. A meter's trial has
// its ends where the book puts them.
std::pair<double, double> reach_of(const Sign& s, const Range& r) {
  const auto& [low, high] = r.from.mean < r.to.mean ? std::pair{r.from, r.to} : std::pair{r.to, r.from};
  if (s.trial) return {low.mean, high.mean};
  const auto end = [&](double mean, double by) {
    const double out = std::clamp(mean + spreads * by, s.low, s.high);
    return (mean - s.usual) * (out - s.usual) < 0 ? s.usual : out;
  };
  return {end(low.mean, -low.sd), end(high.mean, high.sd)};
}

// What was found lies where the fault does not put it.
bool out_of_reach(const Sign& s, const Evidence& e, const FaultTable& t, std::size_t i, int way) {
  if (s.scale == Scale::Words || s.trial || e.at_most) return false;
  const auto range = range_of(s, t, i, way);
  if (!range) return false;
  const auto [low, high] = reach_of(s, *range);
  return (!e.at_least && e.value + 2 * e.sd < low) || e.value - 2 * e.sd > high;
}

// @param speaks_against the evidence speaks against the fault
std::string expected_text(const Sign& s, const Evidence& e, const FaultTable& t, std::size_t i, int way,
                          bool speaks_against) {
  if (s.scale == Scale::Words) {
    const Cell* least = ends_of(t, i, way).least;
    if (least == nullptr) return {};
    const auto& w = least->causes[i].words;
    const auto top = static_cast<std::size_t>(std::max_element(w.begin(), w.end()) - w.begin());
    return "this fault: mostly " + s.words[top].first;
  }
  const auto range = range_of(s, t, i, way);
  if (!range) return {};
  const double from = range->from.mean;
  const double to = range->to.mean;
  // At the furthest that the book puts to it; a meter that shows more yet shows this fault.
  const double sd = range->to.sd;
  const double side = to > s.usual ? 1 : -1;
  if (s.trial && side * (e.value - to) <= 0 && side * (e.value - to) > -sd)
    return fmt::format("this fault: {} and {}",
                       shown_level(s, side * (from - to) < -sd ? from : to - side * sd),
                       side > 0 ? "more" : "less");
  // To either side, and further than where nothing is wrong.
  if (std::abs(from - to) < 0.1 && sd > 2 * s.spread)
    return fmt::format("this fault: {} to {}", shown_level(s, std::max(s.low, to - spreads * sd)),
                       shown_level(s, std::min(s.high, to + spreads * sd)));
  if (std::abs(from - to) < 0.1) return fmt::format("this fault: about {}", shown_level(s, to));
  const auto [low, high] = reach_of(s, *range);
  // Inside the range and still against it: few of this fault's severities lie there.
  const bool inside = speaks_against && !e.at_most && !e.at_least && e.value > low && e.value < high;
  const char* where = !inside ? "" : e.value < 0.5 * (from + to) ? ", mostly more" : ", mostly less";
  return fmt::format("this fault: {} to {}{}", shown_level(s, low), shown_level(s, high), where);
}

std::string joined(const std::string& a, const std::string& b) {
  return a.empty() ? b : b.empty() ? a : a + "; " + b;
}

Bearing bearing_of(const Model& m, const FaultTable& t, std::size_t e) {
  const Sign& s = *m.signs[e];
  Bearing b{s.id, s.label, "", 0, false};
  std::string expected;
  const auto at = std::find(t.touched.begin(), t.touched.end(), static_cast<int>(e));
  if (at != t.touched.end()) {
    const auto i = static_cast<std::size_t>(at - t.touched.begin());
    std::vector<double> logs;
    for (std::size_t c = 0; c < t.cells.size(); ++c) {
      if (t.posterior[c] > 0) logs.push_back(std::log(t.posterior[c]) + t.cells[c].log_ratio[i]);
    }
    b.nats = log_sum(logs);
    expected = expected_text(s, m.evidence[e], t, i, likeliest_way(t), b.nats < 0);
    b.beyond = out_of_reach(s, m.evidence[e], t, i, likeliest_way(t));
    // What other ways do to it hardly counts then.
    b.touched = !expected.empty() || std::abs(b.nats) > hardly;
  }
  if (!b.touched && !alone(m, static_cast<int>(&t - m.tables.data()))) {
    // Odd, and this fault says nothing of it: the fault alone does not explain all.
    b.nats = std::min(0.0, m.sound[e].log - log_density_unknown(s, m.evidence[e]));
    if (b.nats < 0) expected = "this fault does not explain it";
  }
  b.text = fmt::format("{}: {}", s.label, m.evidence[e].shown);
  const std::string usual =
      b.touched && b.nats < 0 && as_usual(s, m.evidence[e]) ? "as where nothing is wrong" : usual_text(s);
  if (const std::string why = joined(usual, expected); !why.empty()) b.text += " (" + why + ")";
  if (!m.evidence[e].from.empty()) b.text += ", " + m.evidence[e].from;
  return b;
}

// Of what was found, then of dangerous faults that may be there; each once.
std::vector<std::string> cautions_of(const Model& m, const std::vector<Finding>& findings) {
  std::vector<std::string> out;
  const auto add = [&](const std::string& caution) {
    if (!caution.empty() && std::ranges::find(out, caution) == out.end()) out.push_back(caution);
  };
  for (const Evidence& e : m.evidence) add(e.caution);
  for (const Finding& f : findings) {
    if (f.probability >= worth_a_finding && m.book->fault(f.fault)->dangerous) add(f.caution);
  }
  return out;
}

// The fault that is mostly there where this one is; empty where none is.
std::string companion_of(const Model& m, int index, double probability) {
  std::vector<double> beside(m.tables.size(), 0.0);
  for (const Hypothesis& h : m.hypotheses) {
    if (!h.holds(index)) continue;
    for (const int other : h.faults) beside[static_cast<std::size_t>(other)] += h.probability;
  }
  beside[static_cast<std::size_t>(index)] = 0;
  const auto most = std::ranges::max_element(beside);
  constexpr double usual_case = 0.5;
  return *most > usual_case * probability
             ? m.tables[static_cast<std::size_t>(most - beside.begin())].fault->label
             : "";
}

// What was tried of this fault and came out against it, the gravest; null where nothing did.
const Evidence* contradiction(const Model& m, const Finding& f) {
  const auto found = std::ranges::find_if(f.evidence_against, [&](const Bearing& b) {
    return b.touched && b.nats < against && m.book->sign(b.sign)->trial;
  });
  if (found == f.evidence_against.end()) return nullptr;
  return &*std::ranges::find(m.evidence, found->sign, &Evidence::sign);
}

// To be made once more before anything is changed: it or the captures are wrong.
std::optional<NextTest> made_again(const Model& m, const Finding& f) {
  const Evidence* e = contradiction(m, f);
  if (e == nullptr || e->times > 1) return std::nullopt;
  return test_again(m, *m.book->sign(e->sign));
}

// Nothing captured bears on it.
bool only_tried(const Model& m, const FaultTable& t) {
  return captured(m) && std::ranges::all_of(t.touched, [&](int e) {
           return m.signs[static_cast<std::size_t>(e)]->trial.has_value();
         });
}

Finding finding_of(const Model& m, int index, double probability, const Options& options) {
  const FaultTable& t = m.tables[static_cast<std::size_t>(index)];
  const Fault& f = *t.fault;
  Finding out;
  out.fault = f.id;
  out.label = f.label;
  out.what = f.what;
  out.group = f.group;
  out.probability = probability;
  out.tell_apart = f.tell_apart;
  out.remedy = f.remedy;
  out.caution = f.caution;
  out.source = f.source;
  for (const Bearing& b : bearings(m, t, false)) {
    // What the fault does not make by itself is not said to speak for it.
    if (!(b.nats > 0 && b.beyond)) (b.nats > 0 ? out.evidence_for : out.evidence_against).push_back(b);
  }
  const auto stronger = [](const Bearing& a, const Bearing& b) {
    return std::abs(a.nats) > std::abs(b.nats);
  };
  std::stable_sort(out.evidence_for.begin(), out.evidence_for.end(), stronger);
  std::stable_sort(out.evidence_against.begin(), out.evidence_against.end(), stronger);
  out.usually_with = companion_of(m, index, probability);
  if (const Evidence* e = contradiction(m, out))
    out.held = fmt::format("{}: {}", m.book->sign(e->sign)->label, e->shown);
  if (options.next_tests) {
    out.next_test = made_again(m, out);
    if (!out.next_test) out.next_test = best_test(m, index);
  }
  return out;
}

}  // namespace

std::vector<Bearing> bearings(const Model& m, const FaultTable& t, bool all) {
  std::vector<Bearing> out;
  for (std::size_t e = 0; e < m.evidence.size(); ++e) {
    Bearing b = bearing_of(m, t, e);
    if (all || std::abs(b.nats) > worth_saying) out.push_back(std::move(b));
  }
  return out;
}

std::vector<Evidence> evidence_of(const FaultBook& book, const Job& job) {
  std::vector<Evidence> evidence = job.told;
  // A camera that has no colour to send is right without.
  const bool grey = std::ranges::any_of(
      job.told, [](const Evidence& e) { return e.sign == "camera-colour" && e.word == "black and white"; });
  for (Evidence& e : gather(book, job.captures, job.site)) {
    if (!grey || (e.sign != "video.colour" && e.sign != "picture.colour")) evidence.push_back(std::move(e));
  }
  return evidence;
}

Diagnosis diagnose(const FaultBook& book, const Job& job, const Options& options) {
  Diagnosis d = diagnose(book, evidence_of(book, job), options);
  d.out_of_limits = out_of_limits(book, job.captures, job.site, d);
  for (const Capture& c : job.captures) {
    if (nothing_came_in(c)) d.silent.push_back(c.name);
  }
  return d;
}

Diagnosis diagnose(const FaultBook& book, const std::vector<Evidence>& evidence, const Options& asked) {
  const Model m = build_model(book, evidence, asked.barred);
  const std::vector<double> p = marginals(m);
  Diagnosis d;
  Options options = asked;
  for (const Evidence& e : m.evidence) {
    if (d.first_step.empty()) d.first_step = e.first;
  }
  // Nobody is sent to try things on what has to be made safe first.
  if (!d.first_step.empty()) options.next_tests = false;
  d.signs_used = m.evidence.size();
  for (const Hypothesis& h : m.hypotheses) {
    if (h.unlisted) {
      d.unlisted = h.probability;
    } else if (h.faults.empty() || (captured(m) && unseen(m, h))) {
      // What was not looked at is not held against what was.
      d.nothing_wrong += h.probability;
    }
  }
  std::vector<int> order(p.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
    return p[static_cast<std::size_t>(a)] > p[static_cast<std::size_t>(b)];
  });
  for (const int i : order)
    d.ranking.emplace_back(m.tables[static_cast<std::size_t>(i)].fault->id, p[static_cast<std::size_t>(i)]);
  for (const int i : order) {
    const double probability = p[static_cast<std::size_t>(i)];
    const FaultTable& t = m.tables[static_cast<std::size_t>(i)];
    if (d.findings.size() >= options.most_findings || probability < options.least_probability) break;
    // A fault that nothing was measured of, or that the evidence makes no likelier, is no finding.
    if (t.touched.empty() ||
        ((probability < worth_a_finding || only_tried(m, t)) && probability <= t.fault->prior))
      continue;
    d.findings.push_back(finding_of(m, i, probability, options));
  }
  d.gaps = gaps(m);
  d.unsettled = unsettled(m);
  d.cautions = cautions_of(m, d.findings);
  // Where nothing is wrong and no fault is near, there is nothing to follow up.
  const bool settled =
      shown_sound(d) && (d.findings.empty() || d.findings.front().probability < worth_a_finding);
  if (!options.next_tests || settled) return d;
  // Where nothing stands out because too little was shown, showing it comes before looking elsewhere.
  const bool stands = !d.findings.empty() && d.findings.front().probability >= worth_following;
  if (!stands && !d.gaps.empty()) d.next_test = closing_capture(m, d.gaps.front());
  if (!d.next_test && stands) d.next_test = made_again(m, d.findings.front());
  if (!d.next_test) d.next_test = best_test(m, -1);
  // Before what is proved is cured, what may be dangerous beside it is tried.
  if (!d.next_test) {
    const auto other = std::ranges::find_if(d.findings, [&](const Finding& f) {
      return &f != d.findings.data() && f.next_test && f.probability >= worth_a_finding &&
             m.book->fault(f.fault)->dangerous;
    });
    if (other != d.findings.end()) d.next_test = other->next_test;
  }
  // Where the book has no fault for it and none of its trials would tell much, its place can still be found.
  constexpr double tells_much = 0.1;
  if (d.unlisted > 0.5 && (!d.next_test || d.next_test->settles < tells_much)) {
    if (const auto halves = capture_of(m, "path.")) d.next_test = halves;
  }
  // One test is worth the same wherever it is named: what it settles of the whole.
  for (Finding& f : d.findings) {
    if (d.next_test && f.next_test && f.next_test->id == d.next_test->id &&
        f.next_test->again == d.next_test->again)
      f.next_test = d.next_test;
  }
  return d;
}

namespace {

// Weights against nothing wrong, summed to what a person can follow.
std::vector<Term> sum_of(const Model& m, int fault) {
  std::vector<double> parts[5];
  for (const Hypothesis& h : m.hypotheses) {
    const std::size_t part = h.unlisted             ? 1
                             : h.faults.empty()     ? 0
                             : !h.holds(fault)      ? 4
                             : h.faults.size() == 1 ? 2
                                                    : 3;
    parts[part].push_back(h.log_weight);
  }
  static constexpr const char* names[] = {"nothing wrong", "something not in the book", "this fault alone",
                                          "this fault beside another",
                                          "all other faults, alone or several at once"};
  std::vector<double> all;
  std::vector<Term> out;
  for (std::size_t k = 0; k < 5; ++k) {
    out.push_back({names[k], log_sum(parts[k]), 0});
    all.push_back(out.back().log_weight);
  }
  const double total = log_sum(all);
  for (Term& t : out) t.probability = std::exp(t.log_weight - total);
  return out;
}

}  // namespace

Explanation explain(const FaultBook& book, const std::vector<Evidence>& evidence, const std::string& fault) {
  const Fault* f = book.fault(fault);
  if (f == nullptr) {
    std::string list;
    for (const Fault& known : book.faults) list += (list.empty() ? "" : ", ") + known.id;
    throw bad_usage(
        fmt::format("--explain {}: no fault of the book is called that; there are: {}", fault, list));
  }
  const Model m = build_model(book, evidence);
  const std::vector<double> p = marginals(m);
  Explanation out;
  out.fault = f->id;
  out.label = f->label;
  out.prior = f->prior;
  const auto at = static_cast<std::size_t>(f - book.faults.data());
  const FaultTable& t = m.tables[at];
  out.probability = p[at];
  for (std::size_t c = 0; c < t.cells.size(); ++c) out.severity += t.posterior[c] * t.cells[c].severity;
  out.variant = f->variants[static_cast<std::size_t>(likeliest_way(t))].name;
  out.nats = t.log_ratio;
  out.sum = sum_of(m, static_cast<int>(at));
  out.all = bearings(m, t, true);
  for (std::size_t i = 0; i < p.size(); ++i) {
    if (i != at)
      out.rivals.push_back({m.tables[i].fault->id, m.tables[i].fault->label,
                            fmt::format("{:.1f} %", 100 * p[i]),
                            std::log(std::max(p[i], 1e-12) / std::max(out.probability, 1e-12)), true});
  }
  std::stable_sort(out.rivals.begin(), out.rivals.end(),
                   [](const Bearing& a, const Bearing& b) { return a.nats > b.nats; });
  out.rivals.resize(std::min<std::size_t>(out.rivals.size(), 5));
  return out;
}

}  // namespace linebench::diagnose
