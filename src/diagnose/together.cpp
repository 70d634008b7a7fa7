// Several faults at once: what they make of the evidence together. Faults that act on no sign in common are
// independent given the evidence; those that meet in one are summed over the ways and severities of all.
#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include "model.hpp"

namespace linebench::diagnose {
namespace {

// So many ways and severities of those before are carried on to one fault more.
constexpr std::size_t carried = 8;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

}  // namespace

/// The likeliest ways and severities of several faults.
struct Together::Joint {
  struct Part {
    double log = 0;                    // ln of weight times likelihood ratio
    std::vector<const Cell*> cells{};  // beside `faults`
    std::map<int, double> ratio{};     // of the evidence that several act on; of what one does, its own
  };
  std::vector<int> faults;
  std::vector<Part> parts;
  double log_ratio = 0;
};

bool Together::meet(int a, int b) const {
  const std::vector<int>& x = model_.tables[at(a)].touched;
  const std::vector<int>& y = model_.tables[at(b)].touched;
  return std::ranges::any_of(x, [&](int e) { return std::ranges::binary_search(y, e); });
}

std::vector<std::vector<int>> Together::groups(const std::vector<int>& faults) const {
  std::vector<std::vector<int>> out;
  for (const int f : faults) {
    std::vector<int> joined = {f};
    std::erase_if(out, [&](const std::vector<int>& group) {
      if (std::ranges::none_of(group, [&](int g) { return meet(f, g); })) return false;
      joined.insert(joined.end(), group.begin(), group.end());
      return true;
    });
    std::ranges::sort(joined);
    out.push_back(std::move(joined));
  }
  return out;
}

Together::Joint Together::alone(int fault) const {
  const FaultTable& t = model_.tables[at(fault)];
  Joint j{{fault}, {}, t.log_ratio};
  for (const Cell& c : t.cells) j.parts.push_back({c.log_weight + c.log_total, {&c}});
  return j;
}

void Together::add(Joint& joint, int fault, bool carry_on) const {
  const FaultTable& t = model_.tables[at(fault)];
  // Evidence that it and one before it act on, with its place in each one's table.
  struct Shared {
    int evidence;
    std::size_t here;
    std::vector<std::pair<std::size_t, std::size_t>> before;  // place in joint.faults, in its table
  };
  std::vector<Shared> shared;
  for (std::size_t i = 0; i < t.touched.size(); ++i) {
    Shared s{t.touched[i], i, {}};
    for (std::size_t k = 0; k < joint.faults.size(); ++k) {
      const std::vector<int>& other = model_.tables[at(joint.faults[k])].touched;
      const auto place = std::ranges::lower_bound(other, s.evidence);
      if (place != other.end() && *place == s.evidence)
        s.before.emplace_back(k, static_cast<std::size_t>(place - other.begin()));
    }
    if (!s.before.empty()) shared.push_back(std::move(s));
  }
  std::vector<const Cause*> causes;
  // What they make of one sign together, and what it was without this one; nothing where only one acts.
  const auto both = [&](const Joint::Part& p, const Cell& c,
                        const Shared& s) -> std::optional<std::pair<double, double>> {
    if (!c.causes[s.here].acts) return std::nullopt;
    causes.clear();
    double was = 0;
    for (const auto& [k, place] : s.before) {
      const Cause& cause = p.cells[k]->causes[place];
      if (!cause.acts) continue;
      causes.push_back(&cause);
      was = p.cells[k]->log_ratio[place];
    }
    if (causes.empty()) return std::nullopt;
    if (causes.size() > 1) was = p.ratio.at(s.evidence);
    causes.push_back(&c.causes[s.here]);
    const auto e = at(s.evidence);
    return std::pair(
        log_density(*model_.signs[e], model_.evidence[e], causes, model_.sound[e]) - model_.sound[e].log,
        was);
  };
  std::vector<double> before, logs;
  for (const Joint::Part& p : joint.parts) {
    before.push_back(p.log);
    for (const Cell& c : t.cells) {
      double log = p.log + c.log_weight + c.log_total;
      for (const Shared& s : shared) {
        if (const auto of = both(p, c, s)) log += of->first - of->second - c.log_ratio[s.here];
      }
      logs.push_back(log);
    }
  }
  // What was not carried on stands in the sum all the same.
  const double lost = joint.log_ratio - log_sum(before);
  joint.log_ratio = log_sum(logs) + lost;
  joint.faults.push_back(fault);
  if (!carry_on) return;
  std::vector<std::size_t> order(logs.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const std::size_t kept = std::min(carried, order.size());
  std::ranges::partial_sort(order, order.begin() + static_cast<std::ptrdiff_t>(kept),
                            [&](std::size_t a, std::size_t b) { return logs[a] > logs[b]; });
  std::vector<Joint::Part> parts;
  for (std::size_t k = 0; k < kept; ++k) {
    const Joint::Part& p = joint.parts[order[k] / t.cells.size()];
    const Cell& c = t.cells[order[k] % t.cells.size()];
    Joint::Part more{logs[order[k]] + lost, p.cells, p.ratio};
    more.cells.push_back(&c);
    for (const Shared& s : shared) {
      if (const auto of = both(p, c, s)) more.ratio[s.evidence] = of->first;
    }
    parts.push_back(std::move(more));
  }
  joint.parts = std::move(parts);
}

double Together::of_group(const std::vector<int>& group) {
  if (group.size() == 1) return model_.tables[at(group.front())].log_ratio;
  const auto found = known_.find(group);
  if (found != known_.end()) return found->second;
  // Those that the evidence speaks for come first: what is carried on is then what it leaves likely.
  std::vector<int> order = group;
  std::ranges::stable_sort(
      order, [&](int a, int b) { return model_.tables[at(a)].log_ratio > model_.tables[at(b)].log_ratio; });
  Joint joint = alone(order.front());
  for (std::size_t i = 1; i < order.size(); ++i) add(joint, order[i], i + 1 < order.size());
  return known_[group] = joint.log_ratio;
}

double Together::log_ratio(const std::vector<int>& faults) {
  if (const auto found = near_.find(faults); found != near_.end()) return found->second;
  double sum = 0;
  for (const std::vector<int>& group : groups(faults)) sum += of_group(group);
  return sum;
}

double Together::log_ratio_with(const std::vector<int>& faults, int added, double least) {
  std::vector<int> before = faults;
  std::erase(before, added);
  if (before.size() < 2) return log_ratio(faults);
  // Beside several that act where it does, it brings no more than beside the one that leaves it least to
  // explain.
  constexpr double worth_the_sum = -2;  // nats
  double gain = model_.tables[at(added)].log_ratio;
  for (const int other : before) {
    if (!meet(other, added)) continue;
    const std::vector<int> pair = {std::min(other, added), std::max(other, added)};
    gain = std::min(gain, of_group(pair) - model_.tables[at(other)].log_ratio);
  }
  const double near = log_ratio(before) + gain;
  if (gain > worth_the_sum && near > least) return log_ratio(faults);
  return near_[faults] = near;
}

}  // namespace linebench::diagnose
