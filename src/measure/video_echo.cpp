#include "video_echo.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>
#include <numbers>

#include "video_burst_loss.hpp"
#include "video_cable_fit.hpp"

namespace linebench::measure {
namespace {

constexpr double grid_from_us = -0.7;  // on the front porch: a line's ends meet where nothing happens
constexpr double burst_from_us = 5.0;
constexpr double burst_to_us = 8.15;
constexpr double settled_us = 0.3;  // after an edge
constexpr double light_m_per_us = 299.792458;
constexpr std::uint64_t every_line = 5;  // odd, so that the subcarrier averages out
constexpr std::uint64_t lines_taken_all = 320;
constexpr double least_lines = 24;
constexpr double model_error = 0.0007;  // of sync: what a mean line departs from any model by
constexpr double least_ratio = 0.01;
constexpr double most_misfit = 1.5;
constexpr double alike_us = 0.12;   // echoes of two sets so near are one
constexpr double most_doubt = 0.6;  // k=2 of a ratio, re it, beyond which the echo is not shown
constexpr double near_one_another_us = 0.3;
constexpr double most_doubt_ns = 100;
constexpr double vague_ns = 8;         // k=2 of a delay, beyond which a pulse is asked
constexpr double long_cable_db = 4.0;  // at 5 MHz
// How much later an edge comes for a cable's loss at 5 MHz: the group delay of e^(-k sqrt(f) (1 + j)) is
// k / (4 pi sqrt(f 5 MHz)), k nepers, here at 0.45 MHz, where what stands still behind edges tells an echo.
constexpr double late_ns_per_db = 6.1;
// Of the cable that an echo ran through: by an echo that comes clear of the direct signal's loss nobody can
// tell.
constexpr double common_db_per_m = 0.0225;  // RG-59 class coaxial; better ones lose less

// Whether two sets of lines can be fitted crosswise: the same points stand still.
bool alike(const std::vector<EchoLine>& a, const std::vector<EchoLine>& b) {
  return !a.empty() && std::equal(a.begin(), a.end(), b.begin(), b.end(),
                                  [](const EchoLine& x, const EchoLine& y) { return x.parts == y.parts; });
}

// Where the trace falls (-1) or rises (+1) fastest: an edge stands out by that even on an echo's pedestal.
double steepest(const Trace& t, double from_us, double to_us, double sign) {
  double most = 0;
  double at = std::nan("");
  for (std::size_t i = 1; i + 1 < t.y.size(); ++i) {
    const double when = t.from_us + t.step_us * static_cast<double>(i);
    if (when < from_us || when > to_us) continue;
    const double slope = sign * static_cast<double>(t.y[i + 1] - t.y[i - 1]);
    if (slope > most) {
      most = slope;
      at = when;
    }
  }
  return at;
}

// What other sets of echoes, that leave about as little, make of each echo.
struct Spread {
  bool in_all = true;
  double delay_us = 0;
  double ratio = 0;
};
std::vector<Spread> spread_of(const std::vector<Echo>& found, const std::vector<std::vector<Echo>>& others) {
  std::vector<Spread> spread(found.size());
  for (const std::vector<Echo>& set : others) {
    for (std::size_t e = 0; e < found.size(); ++e) {
      const auto off = [&](const Echo& o) { return std::abs(o.delay_us - found[e].delay_us); };
      const auto same = std::min_element(set.begin(), set.end(),
                                         [&](const Echo& a, const Echo& b) { return off(a) < off(b); });
      if (same == set.end() || off(*same) > alike_us || same->ratio * found[e].ratio < 0) {
        spread[e].in_all = false;
        continue;
      }
      spread[e].delay_us = std::max(spread[e].delay_us, off(*same));
      spread[e].ratio = std::max(spread[e].ratio, std::abs(same->ratio - found[e].ratio));
    }
  }
  return spread;
}

// An echo too near to be told from the edge comes with a farther one too: what trails a stronger echo by so
// little is as well the edge's own shape there.
bool trails(const Echo& e, const std::vector<Echo>& all, double within_us) {
  constexpr double share = 0.3;
  return std::any_of(all.begin(), all.end(), [&](const Echo& f) {
    return e.delay_us > f.delay_us && e.delay_us - f.delay_us < within_us &&
           std::abs(e.ratio) < share * std::abs(f.ratio);
  });
}

// How much more what the model leaves out matters where echoes overlap: each then takes from the other.
double overlap(const Echo& e, const std::vector<Echo>& all) {
  double more = 1;
  for (const Echo& f : all) {
    const double apart = std::abs(e.delay_us - f.delay_us);
    if (&e != &f && apart < near_one_another_us)
      more += std::abs(f.ratio / e.ratio) * near_one_another_us / std::max(apart, 0.05);
  }
  return more;
}

struct Shown {
  Echo echo;
  double delay_u = 0;  // ns
  double ratio_u = 0;
  bool sure = false;
};

// An echo that ran through a long cable comes drawn out by its loss, and the fit makes two of it: of one
// sign, and near one another for their delay. Shown as one in their middle.
std::vector<Shown> shown_of(const std::vector<Echo>& echoes, const std::vector<double>& delay_u,
                            const std::vector<double>& ratio_u, const std::vector<bool>& sure) {
  constexpr double drawn_out = 0.12;  // of the delay
  std::vector<Shown> out;
  for (std::size_t e = 0; e < echoes.size(); ++e) {
    const Echo& b = echoes[e];
    const auto one = std::ranges::find_if(out, [&](const Shown& s) {
      return s.echo.ratio * b.ratio > 0 &&
             std::abs(s.echo.delay_us - b.delay_us) < drawn_out * s.echo.delay_us;
    });
    if (one == out.end()) {
      out.push_back({b, delay_u[e], ratio_u[e], sure[e]});
      continue;
    }
    Echo& a = one->echo;
    const double share = b.ratio / (a.ratio + b.ratio);
    const double apart_ns = 1e3 * std::abs(a.delay_us - b.delay_us);
    a = {a.delay_us + share * (b.delay_us - a.delay_us), a.ratio + b.ratio};
    // Each takes from the other: no better than both.
    one->delay_u = together(std::max(one->delay_u, delay_u[e]), 0.25 * apart_ns);
    one->ratio_u += ratio_u[e];
    one->sure = one->sure && sure[e];
  }
  std::ranges::stable_sort(
      out, [](const Shown& a, const Shown& b) { return std::abs(a.echo.ratio) > std::abs(b.echo.ratio); });
  return out;
}

void none(const std::string& why, Readings& out, std::optional<double> most_db = std::nullopt) {
  for (const char* part : {"delay", "level", "distance", "polarity"}) {
    const bool level = most_db && std::string_view(part) == "level";
    out.push_back(unmeasurable(fmt::format("video.echo.{}", part),
                               level ? fmt::format("{}: less than {:.0f} dB", why, *most_db) : why,
                               level ? most_db : std::nullopt));
  }
}

// Of the mean sync's leading edge, 10 to 90 %: an echo within about one of these is part of the edge.
double rise_us(const LineStack& stack) {
  const Trace t = stack.mean();
  const double tip = t.mean(1.0, 3.8);
  // By its first half: loss and echoes draw out the second.
  const double rise = 2 * (t.crossing(0.5 * tip, -0.5, 1.0) - t.crossing(0.1 * tip, 0.1, -0.6));
  return std::isfinite(rise) ? rise : 0.0;
}

}  // namespace

EchoMeter::EchoMeter(const VideoSetup& setup, const PictureMeter& picture, double velocity_factor)
    : picture_shown_(picture),
      velocity_factor_(velocity_factor),
      active_from_us_(standards::standard_of(setup.lines).active_start_us.nominal),
      front_porch_us_(standards::standard_of(setup.lines).front_porch_us.nominal),
      line_us_(setup.line_period_samples / setup.rate_hz * 1e6),
      points_(static_cast<std::size_t>(std::lround(setup.line_period_samples))),
      empty_(static_cast<std::size_t>(setup.lines) + 1, false),
      picture_(empty_),
      picture_lines_(grid_from_us, grid_from_us + line_us_, setup.rate_hz),
      empty_lines_(grid_from_us, grid_from_us + line_us_, setup.rate_hz) {
  for (int line = 1; line <= setup.lines; ++line) {
    const auto s = standards::line_structure_in_frame(standards::standard_of(setup.lines), 0, line);
    const bool sync =
        s.at_start == standards::LinePulse::LineSync && s.at_middle == standards::LinePulse::None;
    picture_[static_cast<std::size_t>(line)] = s.picture_first_half && s.picture_second_half;
    empty_[static_cast<std::size_t>(line)] = sync && !s.has_picture() && line > 1;
  }
  // The first line after the pulses has their echoes before it.
  for (int line = setup.lines; line > 1; --line) {
    const auto i = static_cast<std::size_t>(line);
    empty_[i] = empty_[i] && empty_[i - 1];
    picture_[i] = picture_[i] && picture_[i - 1];
  }
}

void EchoMeter::line(const LineView& v) {
  if (v.kind != LineKind::Picture || !v.sync_found ||
      !v.covers(grid_from_us - 0.5, grid_from_us + line_us_ + 0.5))
    return;
  const auto number = static_cast<std::size_t>(v.line);
  if (v.line <= 0 || number >= picture_.size() || picture_[number]) {
    if (v.index < lines_taken_all || v.index % every_line == 0) picture_lines_.add(v);
    return;
  }
  if (!empty_[number]) return;
  // Empty only if it is: data and test lines live here too.
  const double bound = 6 * v.setup->noise_mv / std::sqrt(v.samples_per_us()) + 40 * v.setup->gain();
  for (double t = active_from_us_; t + 2 < line_us_ - 2; t += 2) {
    if (std::abs(v.level(t, t + 2)) > bound) return;
  }
  empty_lines_.add(v);
}

std::vector<EchoLine> EchoMeter::lines(const VideoSetup& setup,
                                       const std::function<Trace(const LineStack&)>& mean,
                                       const std::optional<BesidePulse>& pulse) const {
  std::vector<EchoLine> out;
  const double step = 1e6 / setup.rate_hz;
  for (const LineStack* stack : {&picture_lines_, &empty_lines_}) {
    if (stack->count() < least_lines) continue;
    const Trace t = mean(*stack);
    if (t.y.size() < points_) continue;
    // Where it stands still is the same for every part of the data.
    const Trace whole = stack->mean();
    const double lead = steepest(whole, -0.6, 0.6, -1);
    const double trail = steepest(whole, lead + 3.5, lead + 6.2, +1);
    if (!std::isfinite(lead) || !std::isfinite(trail)) continue;
    EchoLine l;
    l.y.assign(t.y.begin(), t.y.begin() + static_cast<std::ptrdiff_t>(points_));
    l.parts.assign(points_, EchoLine::Part::Unused);
    for (std::size_t i = 0; i < points_; ++i) {
      const double at = grid_from_us + static_cast<double>(i) * step;
      const bool tip_part = at > lead + settled_us && at < trail - 0.2;
      const bool burst = setup.colour && at > burst_from_us && at < burst_to_us;
      const bool porch = (at > trail + settled_us && at < active_from_us_ - 0.35) ||
                         at > lead + line_us_ - front_porch_us_ + 0.4 || at < lead - 0.25;
      const bool empty = stack == &empty_lines_ && at > trail + settled_us;
      if (tip_part) l.parts[i] = EchoLine::Part::Tip;
      if ((porch || empty) && !burst) l.parts[i] = EchoLine::Part::Blanking;
      if (pulse && stack == &picture_lines_ && pulse->has(at)) l.parts[i] = EchoLine::Part::Beside;
    }
    l.sigma_mv = std::hypot(setup.noise_mv / std::sqrt(stack->count()), model_error * setup.sync_mv);
    out.push_back(std::move(l));
  }
  return out;
}

// Only where one pulse stands on nearly all lines of the picture is it in their mean as it is.
std::optional<EchoMeter::BesidePulse> EchoMeter::beside_pulse() const {
  constexpr double reach_us = 3.5;
  constexpr double clear = 1.3;  // half-amplitude durations from the middle
  const KnownLines& known = picture_shown_.known();
  const KnownLine* k = known.find([](const KnownLine& x) { return x.layout.pulses.size() == 1; });
  if (k == nullptr || k->content->lines < 0.9 * known.lines()) return std::nullopt;
  const Pulse& p = k->layout.pulses.front();
  const Plateau* before = nullptr;
  const Plateau* after = nullptr;
  for (const Plateau& q : k->layout.plateaus) {
    if (q.edge_to_us < p.centre_us && q.edge_to_us > p.centre_us - 3 * p.had_us) before = &q;
    if (q.edge_from_us > p.centre_us && q.edge_from_us < p.centre_us + 3 * p.had_us) after = &q;
  }
  if (before == nullptr || after == nullptr) return std::nullopt;
  return BesidePulse{std::max(before->from_us, p.centre_us - reach_us), p.centre_us - clear * p.had_us,
                     p.centre_us + clear * p.had_us, std::min(after->to_us, p.centre_us + reach_us)};
}

EchoMeter::Looked EchoMeter::look(const VideoSetup& setup, const std::optional<BesidePulse>& pulse) const {
  const double step = 1e6 / setup.rate_hz;
  Looked l;
  std::vector<EchoLine> all = lines(
      setup, [](const LineStack& s) { return s.mean(); }, pulse);
  EchoSearch& search = l.search;
  search.least_ratio = least_ratio;
  const double rise = rise_us(picture_lines_.count() > 0 ? picture_lines_ : empty_lines_);
  search.from_us = std::max({0.28, 2.5 * step, 1.1 * rise});
  search.sure_from_us = std::max({0.5, 7 * step, 2.2 * rise});
  search.to_us = empty_lines_.count() >= least_lines ? 0.5 * line_us_ - 2 : 4.0;
  l.echoes = EchoFit(all, step).find(search, l.bound);
  // A long cable's tail is steeper near its edge than the fit allows for: it is taken back, and looked again.
  const double loss = cable_loss_db(all, all, step, l.echoes);
  double taken_back = 0;
  const bool lossy = std::isfinite(loss) && loss > long_cable_db;
  if (loss > 0) l.loss_db = loss;
  if (lossy) {
    taken_back = cable_loss_db(all, all, step, {});
    if (!std::isfinite(taken_back)) taken_back = loss;
    all = without_loss(std::move(all), step, taken_back);
    search.from_us = std::max(search.from_us, 0.9);
    search.sure_from_us = std::max(search.from_us, search.sure_from_us);
    search.least_ratio = 2 * least_ratio;
    l.echoes = EchoFit(all, step).find(search, l.bound);
  }
  if (l.echoes.empty()) return l;
  // Settled by halves; and by all lines but a group's, for the uncertainty.
  const auto by_halves = [&](std::size_t without) {
    const auto half = [&](std::size_t h) {
      auto some = lines(
          setup, [h, without](const LineStack& s) { return mean_of_half(s, h, without); }, pulse);
      return lossy ? without_loss(std::move(some), step, taken_back) : some;
    };
    std::vector<EchoLine> a = half(0);
    std::vector<EchoLine> b = half(1);
    if (!alike(a, b)) return std::vector<Echo>();
    return EchoFit(std::move(a), step, std::move(b)).settle(l.echoes);
  };
  std::vector<Echo> settled = by_halves(line_groups);
  if (settled.size() == l.echoes.size()) l.echoes = std::move(settled);
  const std::vector<Spread> spread = spread_of(l.echoes, l.bound.others);
  std::vector<std::vector<Echo>> without;
  for (std::size_t g = 0; g < line_groups; ++g) without.push_back(by_halves(g));
  for (std::size_t e = 0; e < l.echoes.size(); ++e) {
    const auto u = [&](const auto& value) {
      return jackknife_uncertainty(
                 [&](std::size_t g) { return e < without[g].size() ? value(without[g][e]) : std::nan(""); })
          .value_or(1e3);
    };
    const Echo& echo = l.echoes[e];
    const double floor = overlap(echo, l.echoes);
    l.delay_u.push_back(together(u([](const Echo& x) { return x.delay_us * 1e3; }),
                                 together(floor * (2.0 + 0.02 * step * 1e3), spread[e].delay_us * 1e3)));
    l.ratio_u.push_back(together(u([](const Echo& x) { return x.ratio; }),
                                 together(floor * 0.0015 + 0.01 * std::abs(echo.ratio), spread[e].ratio)));
    l.sure.push_back(spread[e].in_all && l.ratio_u[e] < most_doubt * std::abs(echo.ratio) &&
                     l.delay_u[e] < most_doubt_ns);
  }
  return l;
}

void EchoMeter::finish(const VideoSetup& setup, Readings& out) {
  const bool lines_enough = !lines(setup, [](const LineStack& s) { return s.mean(); }).empty();
  if (!lines_enough || setup.rate_hz < 8e6) {
    none(!lines_enough ? "too few lines; take at least one field (20 ms)"
                       : "too slow a recorder to see an edge; take 10 MS/s or more",
         out);
    return;
  }
  Looked l = look(setup, std::nullopt);
  if (const auto pulse = beside_pulse();
      pulse && !l.echoes.empty() && (l.open() || l.delay_u[0] > vague_ns)) {
    Looked by_pulse = look(setup, pulse);
    if (by_pulse.bound.misfit <= most_misfit && !by_pulse.echoes.empty() && !by_pulse.open() &&
        (l.open() || by_pulse.delay_u[0] < l.delay_u[0]))
      l = std::move(by_pulse);
  }
  found_ = l.bound.misfit > most_misfit ? std::vector<Echo>() : l.echoes;
  if (l.bound.misfit > most_misfit) {
    none(
        "sync and porches are bent by more than echoes and a cable's loss; look at the sync first, or send a "
        "black picture",
        out);
  } else if (l.echoes.empty()) {
    const double most_db = 20 * std::log10(std::max(l.bound.ratio, least_ratio));
    const double metres = velocity_factor_ * light_m_per_us / 2;
    const std::string why = fmt::format(
        "none found from {:.2f} to {:.0f} us ({:.0f} to {:.0f} m); nearer ones look like the edge itself",
        l.search.sure_from_us, l.search.to_us, l.search.sure_from_us * metres, l.search.to_us * metres);
    none(why, out, most_db);
  } else if (l.open()) {
    // The strongest is not known, so neither is which of the others is it.
    none(
        "something like an echo follows the edges, but several sets of delays would explain it about as "
        "well; send a 2T pulse, or take a faster or quieter recording",
        out);
  } else if (const std::string why = against(l, setup, out); !why.empty()) {
    none(why, out);
  } else {
    tell(l, out);
  }
}

// A stub's echoes 0.1 us apart and a filter both look like a slower edge, and what that leaves is taken for
// an echo a little farther out. What takes the burst away shows in the burst.
std::string EchoMeter::against(const Looked& l, const VideoSetup& setup, const Readings& out) const {
  const auto near =
      std::ranges::any_of(l.echoes, [&](const Echo& e) { return e.delay_us < l.search.sure_from_us; });
  const auto burst = burst_loss(setup, out);
  if (!near || !burst) return "";
  const double w = 2 * std::numbers::pi * setup.subcarrier_hz * 1e-6;
  std::complex<double> h = 1.0;
  double still = 1;  // of the levels, sync among them
  for (const Echo& e : l.echoes) {
    h += e.ratio * std::polar(1.0, -w * e.delay_us);
    still += e.ratio;
  }
  const double db = l.loss_db * std::sqrt(setup.subcarrier_hz / 5e6) - 20 * std::log10(std::abs(h) / still);
  constexpr double model_db = 1.5;  // of the loss and of what the fit gives away to the edge
  if (std::abs(burst->db - db) < burst->u_db + model_db) return "";
  return fmt::format(
      "something follows the edges within {:.2f} us, but an echo that fits would leave the burst {:.1f} dB "
      "down and it is {:.1f}: a short stub, a filter or a weak burst as well; send a 2T pulse or a sweep",
      l.search.sure_from_us, db, burst->db);
}

void EchoMeter::tell(const Looked& l, Readings& out) const {
  const std::vector<Shown> echoes = shown_of(l.echoes, l.delay_u, l.ratio_u, l.sure);
  std::size_t shown = 0;
  for (const Shown& s : echoes) {
    const Echo& echo = s.echo;
    if (!s.sure || trails(echo, l.echoes, l.search.sure_from_us)) continue;
    const double level = 20 * std::log10(std::abs(echo.ratio));
    const double metres = velocity_factor_ * light_m_per_us / 2;
    // If the loss lies in the cable that the echo ran through twice more, it comes so much later; the loss
    // may as well lie elsewhere.
    const double late_ns = 2 * l.loss_db * late_ns_per_db;
    const double delay_us = echo.delay_us - 0.5e-3 * late_ns;
    const double delay_u = together(s.delay_u, 0.6 * late_ns);
    const double own_late_us = 2 * delay_us * metres * common_db_per_m * late_ns_per_db * 1e-3;
    const double distance_u = metres * together(1e-3 * delay_u, own_late_us);
    const auto push = [&](const std::string& stem, bool with_polarity) {
      out.push_back(number_reading(stem + "delay", delay_us * 1e3, delay_u));
      out.push_back(number_reading(stem + "level", level, 8.686 * s.ratio_u / std::abs(echo.ratio)));
      out.push_back(number_reading(stem + "distance", delay_us * metres, distance_u,
                                   fmt::format("for a velocity factor of {:.2f}", velocity_factor_)));
      if (with_polarity) {
        out.push_back(number_reading(
            stem + "polarity", echo.ratio > 0 ? 1 : -1, std::nullopt,
            echo.ratio > 0 ? "as from an open or missing end" : "as from a short or a second load"));
      }
    };
    if (shown == 0) push("video.echo.", true);
    push(fmt::format("video.echo.{}.", ++shown), false);
  }
}

}  // namespace linebench::measure
