// video.multiburst
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "video_picture.hpp"

namespace linebench::measure {
namespace {

// Packets re the flag, peak to peak: as large as it, 60 % of it, half of it [common practice].
constexpr double shares[] = {1.0, 0.6, 0.5};

struct Flag {
  const Plateau* high = nullptr;
  const Plateau* low = nullptr;  ///< what it is measured against; nullptr: blanking
  double share = 0;              ///< packets' nominal peak to peak re the flag
};

// The reference before the packets: a bar of white on blanking, or two levels as far apart as the packets
// swing.
std::optional<Flag> find_flag(const LineLayout& l, double white) {
  const double first = l.packets.front().from_us;
  Flag f;
  double pedestal = 0;
  for (const Plateau& p : l.plateaus) {
    if (p.edge_from_us > first + 1 && pedestal == 0) pedestal = p.luma_mv;
    if (p.edge_to_us > first + 0.5 || p.width_us() < 1.5) continue;
    if (p.luma_mv > 0.4 * white && (f.high == nullptr || p.luma_mv > f.high->luma_mv)) f.high = &p;
  }
  if (f.high == nullptr) return std::nullopt;
  const double half = l.packets.front().amplitude_mv;
  for (const Plateau& p : l.plateaus) {
    const bool beside = std::abs(p.edge_from_us - f.high->edge_to_us) < 0.4 ||
                        std::abs(p.edge_to_us - f.high->edge_from_us) < 0.4;
    // As far below the middle as the other is above: a pair that stands for the packets' swing.
    if (beside && p.edge_to_us < first + 0.5 && p.luma_mv > 0.06 * white && p.luma_mv < 0.45 * white &&
        f.high->luma_mv - p.luma_mv < 2.6 * half)
      f.low = &p;
  }
  const double size = f.high->luma_mv - (f.low != nullptr ? f.low->luma_mv : 0.0);
  // Loss at nothing: straight in the root of frequency through the first packets.
  const Packet& a = l.packets[0];
  const Packet& b = l.packets[1];
  const double slope =
      (std::log(b.amplitude_mv) - std::log(a.amplitude_mv)) / (std::sqrt(b.hz) - std::sqrt(a.hz));
  const double at_rest = std::exp(std::log(a.amplitude_mv) - slope * std::sqrt(a.hz));
  const double ratio =
      std::sqrt(a.amplitude_mv * std::clamp(at_rest, a.amplitude_mv, 1.3 * a.amplitude_mv)) * 2 / size;
  double nearest = 0.12;
  for (const double s : shares) {
    const double off = std::abs(std::log(ratio / s));
    if (off < nearest) {
      nearest = off;
      f.share = s;
    }
  }
  return f.share > 0 ? std::optional(f) : std::nullopt;
}

}  // namespace

void read_multiburst(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  constexpr const char* id = "video.multiburst";
  const KnownLine* k = known.find([](const KnownLine& x) { return !x.layout.packets.empty(); });
  if (k == nullptr) {
    out.push_back(unmeasurable(id, "no multiburst in the picture; send a multiburst"));
    return;
  }
  const auto& packets = k->layout.packets;
  const auto flag = find_flag(k->layout, white_by_sync(setup));
  const Values v = values_of(known.replicates_of(*k), [&](const AveragedLine& a) {
    std::vector<double> x;
    double reference = packet_amplitude(a, packets.front());
    if (flag) {
      const double low = flag->low != nullptr ? a.level(flag->low->from_us, flag->low->to_us) : 0.0;
      reference = flag->share / 2 * (a.level(flag->high->from_us, flag->high->to_us) - low);
    }
    for (const Packet& p : packets) x.push_back(20 * std::log10(packet_amplitude(a, p) / reference));
    return x;
  });
  Curve c;
  c.x_unit = "Hz";
  c.y_unit = "dB";
  double worst = 0;
  for (std::size_t i = 0; i < packets.size(); ++i) {
    const auto e = value_at(v, i);
    if (!e) {
      out.push_back(unmeasurable(id, "too few lines of the multiburst; take a longer capture"));
      return;
    }
    c.x.push_back(packets[i].hz);
    c.y.push_back(e->value);
    // Near half the rate the ends of a packet reach beyond it, and what is left rises and falls.
    const double near = std::max(0.0, packets[i].hz / (0.5 * setup.rate_hz) - 0.75);
    // What line sync's noise took is put right to a third of it.
    const double smeared = -20 * std::log10(1 - k->average.smeared(packets[i].hz));
    c.uncertainty.push_back(together(e->u, 0.02 + 15 * near * near + 0.3 * smeared));
    worst = std::max(worst, c.uncertainty.back());
  }
  const std::string remark =
      flag ? fmt::format("re the flag, of which the packets are {:.0f} %", 100 * flag->share)
           : std::string("re the first packet");
  out.push_back(curve_reading(id, std::move(c), worst, remark));
}

}  // namespace linebench::measure
