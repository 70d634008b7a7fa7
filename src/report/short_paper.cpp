// What a customer's paper shows of its captures: of each what was judged, plots of those that decide.
#include "short_paper.hpp"

#include <algorithm>
#include <iterator>
#include <set>

namespace linebench::report {
namespace {

bool judged(const Row& row) { return !row.limit.empty(); }

std::size_t judged_rows(const View& view) {
  std::size_t n = 0;
  for (const RowGroup& g : view.groups) n += static_cast<std::size_t>(std::ranges::count_if(g.rows, judged));
  return n;
}

// What it says against the path: captures of one fault say the same.
std::set<std::string> against(const View& view) {
  std::set<std::string> said;
  for (const Problem& p : view.problems) said.insert(p.label);
  for (const Gap& g : view.gaps) {
    if (g.wanted) said.insert(g.labels);
  }
  return said;
}

}  // namespace

std::vector<bool> deciding(const std::vector<View>& views) {
  std::vector<bool> decides(views.size(), false);
  std::set<std::set<std::string>> seen;
  for (std::size_t i = 0; i < views.size(); ++i) {
    if (views[i].mark != Mark::Pass) decides[i] = seen.insert(against(views[i])).second;
  }
  if (views.empty()) return decides;
  // After a cure or a change the last one shows it; where nothing was wrong, the one that most was judged of.
  const auto most = std::ranges::max_element(views, {}, judged_rows);
  decides[seen.empty() ? static_cast<std::size_t>(most - views.begin()) : views.size() - 1] = true;
  return decides;
}

View as_judged(View view) {
  if (judged_rows(view) == 0) return view;
  for (RowGroup& g : view.groups) std::erase_if(g.rows, [](const Row& r) { return !judged(r); });
  std::erase_if(view.groups, [](const RowGroup& g) { return g.rows.empty(); });
  std::erase_if(view.gaps, [](const Gap& g) { return !g.wanted; });
  return view;
}

View in_brief(View view) {
  view = as_judged(std::move(view));
  view.problems.clear();  // said where they were first met; the table has their figures
  view.mains_comb.clear();
  if (view.groups.empty()) return view;
  RowGroup one;
  for (RowGroup& g : view.groups) std::ranges::move(g.rows, std::back_inserter(one.rows));
  view.groups = {std::move(one)};
  return view;
}

}  // namespace linebench::report
