#include "video_pattern.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

constexpr double no_chroma = 0.035;  // of white, peak
constexpr double least_ramp = 0.5;   // of white
constexpr double darkest_of_ramp = 0.15;
constexpr double least_of_picture = 1.0 / 12;  // lines of one content

// Darker parts on both sides, read next to the bar.
std::optional<FoundBar> as_bar(const Plateau& p, const LineLayout& layout, double white) {
  if (p.width_us() < 5 || p.width_us() > 40 || p.luma_mv < 0.5 * white || p.chroma_mv > no_chroma * white)
    return std::nullopt;
  const Plateau* before = nullptr;
  const Plateau* after = nullptr;
  for (const Plateau& q : layout.plateaus) {
    if (std::abs(q.edge_to_us - p.edge_from_us) < 0.4) before = &q;
    if (std::abs(q.edge_from_us - p.edge_to_us) < 0.4) after = &q;
  }
  if (before == nullptr || after == nullptr) return std::nullopt;
  const double low = 0.35 * p.luma_mv;
  if (before->luma_mv > low || after->luma_mv > low || before->chroma_mv > no_chroma * white ||
      after->chroma_mv > no_chroma * white)
    return std::nullopt;
  // Base after the bar when that is wide enough, so that streaking of what came before is over.
  const Plateau& base = after->to_us - after->from_us > 0.4 ? *after : *before;
  return FoundBar{p, base.luma_mv, base.from_us, base.to_us};
}

std::string flat_name(const LineLayout& layout, const VideoSetup& setup) {
  const double white = white_by_sync(setup);
  if (layout.plateaus.size() != 1 || !layout.pulses.empty() || !layout.modulated.empty()) return {};
  const Plateau& p = layout.plateaus.front();
  if (p.width_us() < 40) return {};
  if (p.chroma_mv > no_chroma * white) return "flat colour field";
  const double share = p.luma_mv / white;
  if (share < 0.12) return "black";
  return share > 0.93 && share < 1.08 ? "white field" : "flat grey field";
}

std::string name_of(const KnownLine& k, const VideoSetup& setup) {
  if (k.bars) {
    return fmt::format("colour bars {}{}",
                       k.bars->form.name == standards::bars_75.name    ? "75 %"
                       : k.bars->form.name == standards::bars_100.name ? "100 %"
                                                                       : "100/0/75/0",
                       setup.colour ? "" : ", without burst");
  }
  std::vector<std::string> parts;
  if (k.bar) parts.emplace_back("bar");
  if (k.layout.pulses.size() >= 8) return "crosshatch";
  if (!k.layout.pulses.empty()) parts.emplace_back("2T pulse");
  if (!k.layout.modulated.empty()) {
    const double t = k.layout.modulated.front().had_us * 1e3 / (setup.lines == 625 ? 100.0 : 125.0);
    parts.push_back(fmt::format("{}T modulated pulse", setup.lines == 625 ? (t < 14 ? "10" : "20")
                                                       : t < 16           ? "12.5"
                                                                          : "20"));
  }
  if (k.staircase) {
    parts.push_back(fmt::format("staircase of {} risers{}", k.staircase->levels.size() - 1,
                                k.staircase->subcarrier ? " with subcarrier" : ""));
  }
  if (!k.layout.packets.empty()) return fmt::format("multiburst of {} packets", k.layout.packets.size());
  if (k.ramp) parts.emplace_back(k.ramp->subcarrier ? "ramp with subcarrier" : "ramp");
  if (parts.empty()) return flat_name(k.layout, setup);
  if (parts.size() == 1 && k.bar) return k.bar->top.width_us() > 20 ? "window" : "bar";
  std::string name;
  for (const std::string& p : parts) {
    name += name.empty() ? "" : &p == &parts.back() ? " and " : ", ";
    name += p;
  }
  return name;
}

}  // namespace

std::optional<FoundRamp> find_ramp(const AveragedLine& line, const LineLayout& layout,
                                   const VideoSetup& setup) {
  const double white = white_by_sync(setup);
  for (const Slope& s : layout.slopes) {
    const double dark = std::min(s.from_mv, s.to_mv);
    const double rise = std::abs(s.to_mv - s.from_mv);
    if (rise < least_ramp * white || std::abs(dark) > darkest_of_ramp * white) continue;
    const double tenth = (s.to_us - s.from_us) / 10;
    const auto [least, most] =
        std::minmax({line.chroma_mv(s.from_us, s.from_us + tenth), line.chroma_mv(s.to_us - tenth, s.to_us)});
    return FoundRamp{s, least > no_chroma * white && least > 0.4 * most};
  }
  return std::nullopt;
}

std::optional<FoundBar> find_bar(const LineLayout& layout, const VideoSetup& setup) {
  std::optional<FoundBar> best;
  for (const Plateau& p : layout.plateaus) {
    const auto b = as_bar(p, layout, white_by_sync(setup));
    if (b && (!best || p.width_us() > best->top.width_us())) best = b;
  }
  return best;
}

std::vector<KnownLine> know_lines(const ContentMeter& contents, const VideoSetup& setup) {
  std::vector<KnownLine> out;
  for (const LineContent* c : contents.contents()) {
    KnownLine k;
    k.content = c;
    k.average = c->sums.average();
    k.noise_mv = setup.noise_mv / std::sqrt(std::max(1.0, c->lines));
    if (!c->field_interval && c->lines < least_of_picture * contents.picture_lines()) {
      out.push_back(std::move(k));
      continue;
    }
    k.layout = lay_out(k.average, setup, k.noise_mv);
    k.bars = find_bars(k.layout, setup);
    if (!k.bars) k.staircase = find_staircase(k.layout, setup);
    if (k.staircase && !setup.colour) k.bars = find_grey_bars(*k.staircase, k.layout, setup);
    if (k.bars) k.staircase.reset();
    if (!k.bars) k.bar = find_bar(k.layout, setup);
    k.ramp = find_ramp(k.average, k.layout, setup);
    k.name = name_of(k, setup);
    out.push_back(std::move(k));
  }
  return out;
}

}  // namespace linebench::measure
