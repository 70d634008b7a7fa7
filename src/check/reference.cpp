#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/check/reference.hpp>
#include <linebench/check/work.hpp>
#include <linebench/report/format.hpp>
#include <numbers>

namespace linebench::check {
namespace {

constexpr int least_units = 3;
constexpr double chance = 0.01;

struct Figure {
  std::string id, label, unit;
  double value = 0, uncertainty = 0;
  bool fails = false;
};

// What is compared: numbers that were judged, and a response point by point.
std::vector<Figure> figures(const job::Capture& c) {
  std::vector<Figure> out;
  for (const Reading& r : c.readings) {
    if (const auto* v = std::get_if<double>(&r.value); v != nullptr && r.limit) {
      out.push_back({r.id, r.label, r.unit, *v, r.uncertainty.value_or(0), r.verdict == Verdict::Fail});
    } else if (const auto* curve = std::get_if<Curve>(&r.value); curve != nullptr && r.limit) {
      for (std::size_t i = 0; i < curve->x.size(); ++i) {
        // Outside the mask a point is noise as often as signal.
        if (r.limit->mask.empty() || curve->x[i] < r.limit->mask.front().x ||
            curve->x[i] > r.limit->mask.back().x || !std::isfinite(curve->y[i]))
          continue;
        const double u = i < curve->uncertainty.size() ? curve->uncertainty[i] : r.uncertainty.value_or(0);
        out.push_back({fmt::format("{}@{:g}", r.id, curve->x[i]),
                       fmt::format("{} at {}", r.label, report::show_hz(curve->x[i])), curve->y_unit,
                       curve->y[i], u});
      }
    }
  }
  return out;
}

struct Known {
  double mean = 0, spread = 0;
  int n = 0;
};

Known known(const std::string& test, const std::string& id, const std::vector<PastStation>& good) {
  std::vector<double> values;
  for (const PastStation& g : good) {
    const auto it = g.tests.find(test);
    if (it == g.tests.end()) continue;
    for (const Figure& f : figures(it->second)) {
      if (f.id == id) values.push_back(f.value);
    }
  }
  Known k;
  k.n = static_cast<int>(values.size());
  if (k.n == 0) return k;
  for (const double v : values) k.mean += v / k.n;
  double sum = 0;
  for (const double v : values) sum += (v - k.mean) * (v - k.mean);
  k.spread = k.n > 1 ? std::sqrt(sum / (k.n - 1)) : 0;
  return k;
}

}  // namespace

PastStation past_station(const Work& work) {
  PastStation p{work.job, {}};
  // Rounds of a test follow each other in the order first answered, so the last one stays.
  for (const job::Step& a : work.answers) {
    if (!a.key.starts_with("test.")) continue;
    std::string key = a.key.substr(5);
    if (const auto dot = key.find('.'); dot != std::string::npos) key.resize(dot);
    if (const job::Capture* c = work.capture(a.key)) p.tests.insert_or_assign(key, *c);
  }
  return p;
}

double student_beyond(double t, int dof) {
  const double theta = std::atan(std::abs(t) / std::sqrt(static_cast<double>(dof)));
  const double c2 = std::cos(theta) * std::cos(theta);
  double term = dof % 2 == 1 ? std::cos(theta) : 1.0;
  double sum = dof == 1 ? 0.0 : term;
  for (int k = dof % 2 == 1 ? 3 : 2; k <= dof - 2; k += 2) {
    term *= c2 * (k - 1) / k;
    sum += term;
  }
  const double inside =
      dof % 2 == 1 ? 2 / std::numbers::pi * (theta + std::sin(theta) * sum) : std::sin(theta) * sum;
  return std::clamp(1 - inside, 0.0, 1.0);
}

std::vector<Unlike> unlike_reference(const std::map<std::string, const job::Capture*>& unit,
                                     const std::vector<PastStation>& good) {
  struct Candidate {
    Unlike unlike;
    double p = 1;
  };
  std::vector<Candidate> compared;
  for (const auto& [test, capture] : unit) {
    for (const Figure& f : figures(*capture)) {
      const Known k = known(test, f.id, good);
      if (k.n < least_units) continue;
      const double u = f.uncertainty / 2;
      const double sd = std::sqrt(k.spread * k.spread * (1.0 + 1.0 / k.n) + u * u);
      const double off = std::abs(f.value - k.mean);
      const double p = sd > 0 ? student_beyond(off / sd, k.n - 1) : (off > 0 ? 0.0 : 1.0);
      compared.push_back({{test, f.label, f.unit, f.value, k.mean, k.spread, k.n, f.fails}, p});
    }
  }
  std::vector<Unlike> out;
  std::stable_sort(compared.begin(), compared.end(),
                   [](const Candidate& a, const Candidate& b) { return a.p < b.p; });
  for (Candidate& c : compared) {
    if (c.p < chance / static_cast<double>(compared.size())) out.push_back(std::move(c.unlike));
  }
  return out;
}

int reference_units(const std::map<std::string, const job::Capture*>& unit,
                    const std::vector<PastStation>& good) {
  int least = -1;
  for (const auto& test : unit) {
    const auto n = static_cast<int>(std::count_if(
        good.begin(), good.end(), [&](const PastStation& g) { return g.tests.contains(test.first); }));
    least = least < 0 ? n : std::min(least, n);
  }
  return std::max(least, 0);
}

report::PaperTable trend_table(const std::string& title, const std::string& text,
                               const std::vector<PastStation>& returns) {
  constexpr std::size_t most = 6;
  const std::size_t from = returns.size() > most ? returns.size() - most : 0;
  report::PaperTable t{.title = title, .text = text, .head = {""}, .rows = {}};
  if (returns.size() < 2) return t;
  for (std::size_t i = from; i < returns.size(); ++i)
    t.head.push_back(returns[i].job.opened_at.substr(0, 10));
  const PastStation& last = returns.back();
  for (const auto& [test, capture] : last.tests) {
    for (const Reading& r : capture.readings) {
      if (!r.limit || !std::holds_alternative<double>(r.value)) continue;
      std::vector<std::string> row = {capture.label + ": " + r.label};
      for (std::size_t i = from; i < returns.size(); ++i) {
        const auto it = returns[i].tests.find(test);
        const Reading* then =
            it == returns[i].tests.end() ? nullptr : find_reading(it->second.readings, r.id);
        if (then == nullptr) {
          row.emplace_back("-");
          continue;
        }
        const report::Shown s = report::show_value(*then);
        row.push_back(fmt::format("{}{}{}{}", s.value, s.unit.empty() ? "" : " ", s.unit,
                                  then->verdict == Verdict::Fail ? " FAIL" : ""));
      }
      t.rows.push_back(std::move(row));
    }
  }
  return t;
}

}  // namespace linebench::check
