// What a person saw or metered: how far it is followed.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "model.hpp"

namespace linebench::diagnose {
namespace {

// Where the effect's likeliest gross end still lies well within what it makes.
double gross_end(const Effect& e) {
  const double range = e.to - e.from;
  return e.from + std::copysign(std::max(std::abs(range) - 0.5 * e.spread, 0.0), range);
}

template <class Use>
void each_effect(const FaultBook& book, const std::string& sign, Use use) {
  const auto of = [&](const std::vector<Effect>& effects) {
    for (const Effect& e : effects) {
      if (e.sign == sign) use(e);
    }
  };
  for (const Fault& f : book.faults) {
    of(f.effects);
    for (const Variant& v : f.variants) of(v.effects);
  }
}

// Rarer than this of a sound job, a word speaks of a fault; and so does a value this many deviations off.
constexpr double rare = 0.1;
constexpr double far_off = 2.5;

bool speaks_of_fault(const Sign& s, const Evidence& e) {
  if (!s.trial) return false;
  if (s.scale == Scale::Words) {
    const auto word = std::ranges::find_if(s.words, [&](const auto& w) { return w.first == e.word; });
    return word != s.words.end() && word->second < rare;
  }
  const double off = (e.value - s.usual) / std::hypot(s.spread, e.sd);
  const bool fine = e.value >= s.fine_low && e.value <= s.fine_high;
  return !fine && (s.scale == Scale::Shift ? std::abs(off) : off) > far_off;
}

// The likeliest faults that would make this of the sign, by name.
std::string made_by(const Model& m, std::size_t evidence) {
  std::vector<std::pair<double, std::string>> faults;
  for (const FaultTable& t : m.tables) {
    const auto at = std::ranges::find(t.touched, static_cast<int>(evidence));
    if (at == t.touched.end()) continue;
    const auto i = static_cast<std::size_t>(at - t.touched.begin());
    std::vector<double> logs;
    for (const Cell& c : t.cells) logs.push_back(c.log_weight + c.log_ratio[i]);
    const double times = std::exp(log_sum(logs));
    if (times > 2) faults.emplace_back(-t.fault->prior * times, t.fault->label);
  }
  std::ranges::sort(faults);
  std::string names;
  for (std::size_t k = 0; k < std::min<std::size_t>(faults.size(), 2); ++k)
    names += (k == 0 ? "" : "; or: ") + faults[k].second;
  return names;
}

// A light that is dark though the volts at the plug are right.
bool fed_and_dark(const Model& m, const Evidence& e) {
  if (e.sign != "port-light") return false;
  for (std::size_t i = 0; i < m.evidence.size(); ++i) {
    if (m.evidence[i].sign == "supply-loaded") return !speaks_of_fault(*m.signs[i], m.evidence[i]);
  }
  return false;
}

}  // namespace

std::vector<std::string> unsettled(const Model& m) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < m.evidence.size(); ++i) {
    const Evidence& e = m.evidence[i];
    if (!speaks_of_fault(*m.signs[i], e)) continue;
    const bool fed = fed_and_dark(m, e);
    const std::string by = fed ? "" : made_by(m, i);
    std::string text = fmt::format("{}: {}. That speaks of a fault{}, whatever was captured",
                                   m.signs[i]->label, e.shown, by.empty() ? "" : " (" + by + ")");
    if (fed)
      text +=
          "; the supply reads right at the plug, so the blame moves into the unit: its port, or the light "
          "itself";
    out.push_back(text + ". Once it is put right, record again and leave this out");
  }
  return out;
}

Evidence within_book(const FaultBook& book, const Sign& sign, const Evidence& evidence) {
  if (!sign.trial || sign.scale == Scale::Words) return evidence;
  const double base = sign.scale == Scale::Shift ? sign.usual : 0;
  double least = sign.high;
  double most = sign.low;
  each_effect(book, sign.id, [&](const Effect& e) {
    least = std::min(least, base + gross_end(e));
    most = std::max(most, base + gross_end(e));
  });
  Evidence held = evidence;
  if (least < sign.usual) held.value = std::max(held.value, least);
  if (most > sign.usual) held.value = std::min(held.value, most);
  return held;
}

}  // namespace linebench::diagnose
