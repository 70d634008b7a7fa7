// What the evidence leaves open: a capture clears a job only of what it would have shown.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "model.hpp"

namespace linebench::diagnose {
namespace {

// The evidence makes a fault that is plain to be seen hardly less likely than before.
constexpr double hardly_less = 0.5;
// So many jobs have one of the faults left open: one in ten is no small print.
constexpr double worth_a_gap = 0.1;

template <class Use>
bool any_effect(const Fault& fault, Use use) {
  if (std::ranges::any_of(fault.effects, use)) return true;
  return std::ranges::any_of(fault.variants,
                             [&](const Variant& v) { return std::ranges::any_of(v.effects, use); });
}

// How much likelier the evidence (or one piece of it that the fault acts on, by its place in `touched`) is
// with the fault at any severity from its detection limit on than with nothing wrong.
double ratio_where_visible(const FaultTable& t, std::optional<std::size_t> piece = {}) {
  std::vector<double> with, weight;
  for (const Cell& c : t.cells) {
    if (c.severity < t.fault->detection || t.fault->variants[static_cast<std::size_t>(c.variant)].traceless ||
        (piece && !c.causes[*piece].acts))
      continue;
    with.push_back(c.log_weight + (piece ? c.log_ratio[*piece] : c.log_total));
    weight.push_back(c.log_weight);
  }
  return weight.empty() ? 1 : std::exp(log_sum(with) - log_sum(weight));
}

const Evidence* found(const Model& m, const std::string& sign) {
  const auto it = std::ranges::find_if(m.evidence, [&](const Evidence& e) { return e.sign == sign; });
  return it == m.evidence.end() ? nullptr : &*it;
}

// What keeps a capture of this view from clearing the fault: a bound above what the fault makes of it, or
// what should be there and is not.
bool hides(const Model& m, const FaultTable& t, const Sign& s, const std::string& view) {
  if (!s.id.starts_with(view) || s.trial) return false;
  for (std::size_t i = 0; i < t.touched.size(); ++i) {
    const Evidence& e = m.evidence[static_cast<std::size_t>(t.touched[i])];
    if (e.sign == s.id) return e.at_most && ratio_where_visible(t, i) >= hardly_less;
  }
  const Evidence* sent = found(m, view + "signal");
  return s.asked || (s.carried && sent != nullptr && sent->word == "idle");
}

std::string named(const Sign& s) { return s.label.substr(0, s.label.find(',')); }

Gap gap_of(const Model& m, const CaptureTest& capture, const std::set<const Sign*>& hidden, double share) {
  Gap g{capture.prefix, {}, share, {}, capture.how};
  std::set<std::string> families;
  std::string list;
  for (const Sign& s : m.book->signs) {
    if (!hidden.contains(&s) || !families.insert(s.family).second) continue;
    if (g.sign.empty()) g.sign = s.id;
    const Evidence* e = found(m, s.id);
    list += (list.empty() ? "" : "; ") + named(s) + (e != nullptr ? ": " + e->shown : ": could not be read");
  }
  g.text = fmt::format(
      "What was captured does not clear the job of faults. All that is known: {}. Faults that would still "
      "be "
      "hidden are behind some {:.0f} % of jobs (the project's estimate)",
      list, 100 * share);
  return g;
}

// What was seen and could not be told leaves the job open, however seldom it is behind anything.
std::optional<Gap> left_open(const Model& m, const CaptureTest& capture) {
  for (std::size_t i = 0; i < m.evidence.size(); ++i) {
    const Sign& s = *m.signs[i];
    const Evidence& e = m.evidence[i];
    if (!s.id.starts_with(capture.prefix)) continue;
    const std::string text = fmt::format("{}: {}", s.label, e.shown);
    if (const auto how = s.open.find(e.word); how != s.open.end())
      return Gap{capture.prefix, s.id, 0, text, how->second};
    if (s.told_below && e.at_most && e.value > *s.told_below)
      return Gap{capture.prefix, s.id, 0, text + ", which is no clear reading: faults may lie under it",
                 capture.how};
  }
  return std::nullopt;
}

}  // namespace

bool of_view(const Model& m, std::string_view prefix) {
  return std::ranges::any_of(m.evidence, [&](const Evidence& e) { return e.sign.starts_with(prefix); });
}

bool asked_of(const Model& m, const Fault& fault) {
  return any_effect(fault, [&](const Effect& e) {
    const Sign* s = m.book->sign(e.sign);
    return s != nullptr && s->asked && std::ranges::any_of(m.book->captures, [&](const CaptureTest& c) {
             return s->id.starts_with(c.prefix) && of_view(m, c.prefix);
           });
  });
}

std::vector<Gap> gaps(const Model& m) {
  std::vector<Gap> out;
  if (!captured(m)) {
    out.push_back({"", "", 1, "Nothing was captured: a look or a meter reading alone clears no job",
                   m.book->captures.empty() ? "" : m.book->captures.front().how});
    return out;
  }
  for (const CaptureTest& capture : m.book->captures) {
    if (!of_view(m, capture.prefix)) continue;
    std::set<const Sign*> hidden;
    double sound = 1;
    for (const FaultTable& t : m.tables) {
      if (ratio_where_visible(t) < hardly_less) continue;
      bool hid = false;
      any_effect(*t.fault, [&](const Effect& e) {
        const Sign* s = m.book->sign(e.sign);
        if (s == nullptr || !hides(m, t, *s, capture.prefix)) return false;
        hidden.insert(s);
        hid = true;
        return false;
      });
      if (hid) sound *= 1 - t.fault->prior;
    }
    if (1 - sound > worth_a_gap) out.push_back(gap_of(m, capture, hidden, 1 - sound));
    if (auto g = left_open(m, capture)) out.push_back(std::move(*g));
  }
  return out;
}

std::optional<NextTest> capture_of(const Model& m, std::string_view prefix) {
  const auto c = std::ranges::find(m.book->captures, prefix, &CaptureTest::prefix);
  if (c == m.book->captures.end()) return std::nullopt;
  return NextTest{c->id, c->label, c->how, c->caution, "", c->minutes, 0, 0};
}

std::optional<NextTest> closing_capture(const Model& m, const Gap& gap) {
  auto test = capture_of(m, gap.view);
  if (test) test->how = gap.how;
  return test;
}

std::vector<Gap> gaps(const FaultBook& book, const std::vector<Evidence>& evidence) {
  return gaps(build_model(book, evidence));
}

bool shown_sound(const Diagnosis& d) {
  return d.nothing_wrong > 0.5 && d.gaps.empty() && d.unsettled.empty() && d.out_of_limits.empty();
}

}  // namespace linebench::diagnose
