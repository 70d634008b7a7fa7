// Which echoes there are: sets of them, tried against one another.
#include <algorithm>
#include <cmath>
#include <iterator>

#include "video_echo_fit.hpp"

namespace linebench::measure {
namespace {

constexpr double most_ratio = 0.8;
constexpr double least_gain = 40;    // in squared sigmas
constexpr double least_share = 0.3;  // of the misfit, that an echo has to explain
constexpr double apart_us = 0.3;
constexpr double near_us = 1.0;    // where an echo and the tail of the edge overlap
constexpr double least_us = 0.12;  // nearer than this all is edge
constexpr double least_apart_us = 0.08;
constexpr double least_sign = 12;          // in squared sigmas, that something more is there
constexpr double near_share = 0.65;        // of what a near one explains
constexpr double near_share_beside = 0.9;  // where there are others to tell it by
constexpr double alike_share = 0.12;       // of the misfit, by which another set is as good
constexpr std::size_t most_tried = 4;
constexpr double near_starts_us[] = {0.15, 0.2, 0.25, 0.3, 0.38, 0.46, 0.55, 0.65, 0.8};

std::vector<Echo> far_ones(const std::vector<Echo>& echoes) {
  std::vector<Echo> far;
  std::copy_if(echoes.begin(), echoes.end(), std::back_inserter(far),
               [](const Echo& e) { return e.delay_us >= near_us; });
  return far;
}

}  // namespace

EchoFit::Solution EchoFit::settled(std::vector<Echo> echoes, const EchoSearch& search) const {
  Solution s;
  s.echoes = settle(std::move(echoes));
  s.misfit = misfit(s.echoes);
  for (const Echo& e : s.echoes) {
    s.possible = s.possible && std::abs(e.ratio) < most_ratio && e.delay_us > least_us &&
                 e.delay_us < search.to_us + 0.1;
    s.sound = s.sound && e.delay_us > 0.9 * search.from_us && std::abs(e.ratio) >= search.least_ratio;
  }
  for (std::size_t i = 0; i < s.echoes.size(); ++i) {
    for (std::size_t k = 0; k < i; ++k)
      s.possible = s.possible && std::abs(s.echoes[i].delay_us - s.echoes[k].delay_us) > least_apart_us;
  }
  s.sound = s.sound && s.possible;
  return s;
}

// By one more, at the likeliest places.
void EchoFit::extend(const std::vector<Echo>& echoes, const Scan& scan, const EchoSearch& search,
                     std::size_t most, std::vector<Solution>& pool) const {
  std::vector<double> tried;
  for (const Candidate& c : scan.places) {
    if (tried.size() == most) break;
    if (std::any_of(tried.begin(), tried.end(),
                    [&](double t) { return std::abs(t - c.echo.delay_us) < apart_us; }))
      continue;
    tried.push_back(c.echo.delay_us);
    std::vector<Echo> more = echoes;
    more.push_back(c.echo);
    pool.push_back(settled(std::move(more), search));
  }
}

// By one near the edge and, where that alone does not do, by a farther one as well: what a near one leaves
// outweighs it, so that neither is found one at a time.
void EchoFit::extend_with_near(const std::vector<Echo>& echoes, const EchoSearch& search,
                               std::vector<Solution>& pool) const {
  for (const double start_us : near_starts_us) {
    std::vector<Echo> more = echoes;
    more.push_back({start_us, 0.0});
    more = settle(std::move(more));
    if (!(more.back().delay_us > least_us) || std::abs(more.back().ratio) > most_ratio) continue;
    pool.push_back(settled(more, search));
    if (more.size() < search.most) extend(more, scan(more, search), search, 1, pool);
  }
}

std::vector<Echo> EchoFit::find(const EchoSearch& search, EchoBound& bound) const {
  Solution best;
  std::vector<Solution> pool;
  Scan s = scan({}, search);
  best.misfit = s.left;
  const auto gains = [](const Solution& t, double before) {
    return t.misfit < before - std::max(least_gain, least_share * before);
  };
  while (best.echoes.size() < search.most) {
    std::vector<Solution> tries;
    extend(best.echoes, s, search, most_tried, tries);
    // What was found near may have been the best there was until now: it is looked for anew.
    const bool something =
        std::any_of(tries.begin(), tries.end(), [&](const Solution& t) { return gains(t, best.misfit); });
    if (!best.echoes.empty() || something) extend_with_near(far_ones(best.echoes), search, tries);
    // One more has to be worth it; two more, worth it over one.
    const Solution* next = nullptr;
    for (std::size_t size = 1; size <= search.most; ++size) {
      const Solution* least = nullptr;
      for (const Solution& t : tries) {
        if (t.sound && t.echoes.size() == size && (least == nullptr || t.misfit < least->misfit)) least = &t;
      }
      if (least == nullptr) continue;
      const Solution& before = next != nullptr ? *next : best;
      if (size > before.echoes.size() ? gains(*least, before.misfit) : least->misfit < before.misfit)
        next = least;
    }
    pool.insert(pool.end(), tries.begin(), tries.end());
    if (next == nullptr || !(next->misfit < best.misfit)) break;
    const bool worth = gains(*next, best.misfit);
    best = *next;
    s = scan(best.echoes, search);
    if (!worth) break;
  }
  bound.ratio = s.bound;
  bound.misfit = best.misfit / s.points;
  for (const Solution& t : pool) {
    if (!t.possible || best.echoes.empty()) continue;
    const bool larger = t.echoes.size() > best.echoes.size();
    const double sign = least_sign * std::max(1.0, best.misfit / s.points);
    if (larger ? t.misfit < best.misfit - sign
               : t.misfit < best.misfit + std::max(least_gain, alike_share * best.misfit))
      bound.others.push_back(t.echoes);
  }
  // One near the edge shows by little more than the tail it leaves: another quite elsewhere that explains
  // most of the same is as good.
  const auto near_one = [](const std::vector<Echo>& all) {
    return std::find_if(all.begin(), all.end(), [](const Echo& e) { return e.delay_us < near_us; });
  };
  const auto near = near_one(best.echoes);
  if (near != best.echoes.end()) {
    const double without = misfit(settle(far_ones(best.echoes)));
    const double share = best.echoes.size() == 1 ? near_share : near_share_beside;
    for (const Solution& t : pool) {
      const auto other = near_one(t.echoes);
      if (t.sound && t.echoes.size() == best.echoes.size() && other != t.echoes.end() &&
          std::abs(other->delay_us - near->delay_us) > 0.5 * apart_us &&
          without - t.misfit > share * (without - best.misfit))
        bound.others.push_back(t.echoes);
    }
  }
  std::vector<Echo> echoes = best.echoes;
  std::sort(echoes.begin(), echoes.end(),
            [](const Echo& a, const Echo& b) { return std::abs(a.ratio) > std::abs(b.ratio); });
  return echoes;
}

}  // namespace linebench::measure
