#include "video_cable.hpp"

#include <fmt/format.h>

#include <cmath>
#include <linebench/standards/cable.hpp>

#include "video_burst_loss.hpp"

namespace linebench::measure {
namespace {

constexpr double reference_hz = 5e6;
constexpr double least_db = -4.0;  // an equaliser can be set too high by so much
constexpr double floor_db = 0.12;  // a source's own tilt behind its edges
constexpr double relative = 0.03;  // a real cable's departure from the root

}  // namespace

void CableMeter::finish(const VideoSetup& setup, Readings& out) {
  const double step = 1e6 / setup.rate_hz;
  const auto by_halves = [&](std::size_t without) {
    const auto half = [&](std::size_t h) {
      return echo_.lines(setup, [h, without](const LineStack& s) { return mean_of_half(s, h, without); });
    };
    return cable_loss_db(half(0), half(1), step, echo_.found());
  };
  const double loss = setup.rate_hz >= 8e6 ? by_halves(line_groups) : std::nan("");
  std::vector<double> without(line_groups, std::nan(""));
  for (std::size_t g = 0; g < line_groups && std::isfinite(loss); ++g) without[g] = by_halves(g);
  const auto scatter = jackknife_uncertainty([&](std::size_t g) { return without[g]; });
  if (std::isfinite(loss) && loss < least_db) {
    const std::string reason = "sync and porches are bent by something other than a cable's loss";
    out.push_back(unmeasurable("video.cable.loss", reason));
    out.push_back(unmeasurable("video.cable.length", reason));
    return;
  }
  if (!std::isfinite(loss) || !scatter) {
    const std::string reason = setup.rate_hz < 8e6
                                   ? "too slow a recorder to see an edge's tail; take 10 MS/s or more"
                                   : "too few lines with sync; take at least 0.1 s";
    out.push_back(unmeasurable("video.cable.loss", reason));
    out.push_back(unmeasurable("video.cable.length", reason));
    return;
  }
  const double u = together(*scatter, floor_db + relative * std::abs(loss));
  std::string remark = "by the tail behind sync edges, as of a cable";
  if (const auto burst = burst_loss(setup, out)) {
    const double to_reference = std::sqrt(reference_hz / setup.subcarrier_hz);
    remark += fmt::format("; the burst re sync says {:.1f} dB", burst->db * to_reference);
    if (std::abs(burst->db * to_reference - loss) > together(burst->u_db * to_reference, u)) {
      remark +=
          ": more than a source's tolerance apart, so the burst is off or something other than cable "
          "(a filter, an equaliser, a bad connector) shapes the response";
    }
  }
  if (loss < -u) remark += "; negative: equalised for more cable than there is";
  out.push_back(number_reading("video.cable.loss", loss, u, remark));
  const standards::CableType* type = standards::find_cable_type(cable_);
  if (type == nullptr) {
    out.push_back(unmeasurable("video.cable.length", "no cable type is called '" + cable_ + "'"));
    return;
  }
  const auto metres = [&](const standards::CableType& t) { return loss / t.loss_5mhz_db.nominal * 100; };
  const double per_metre = type->loss_5mhz_db.nominal / 100;
  if (loss < u) {
    const double most = std::max(0.0, loss + u) / per_metre;
    out.push_back(unmeasurable(
        "video.cable.length",
        fmt::format("no cable's loss to be seen: less than {:.0f} m of {}", most, type->label), most));
    return;
  }
  std::string kinds =
      fmt::format("as {} ({:.2f} dB per 100 m at 5 MHz, {}, {})", type->label, type->loss_5mhz_db.nominal,
                  type->loss_5mhz_db.source, standards::to_string(type->loss_5mhz_db.status));
  for (const standards::CableType& t : standards::cable_types()) {
    if (&t != type) kinds += fmt::format("; {:.0f} m as {}", metres(t), t.label);
  }
  const double makes = type->loss_5mhz_db.plus / type->loss_5mhz_db.nominal;
  out.push_back(number_reading("video.cable.length", metres(*type),
                               together(u / per_metre, makes * metres(*type)), kinds));
}

}  // namespace linebench::measure
