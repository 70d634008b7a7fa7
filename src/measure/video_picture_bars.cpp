// video.bars.*
#include <fmt/format.h>

#include <cmath>
#include <linebench/standards/video.hpp>
#include <numbers>

#include "video_picture.hpp"

namespace linebench::measure {
namespace {

constexpr double deg = 180 / std::numbers::pi;
constexpr const char* no_burst = "no colour burst was found, so no bar's colour can be told";

std::string id_of(int bar, std::string_view what) {
  return fmt::format("video.bars.{}.{}", standards::bar_names[static_cast<std::size_t>(bar)], what);
}

std::string kind_remark(const FoundBars& f, const VideoSetup& setup) {
  if (setup.lines != 525 || !f.bars[7]) return {};
  return f.bars[7]->luma_mv > 0.5 * setup.gain() * standards::video_525.black_mv.nominal ? "with setup"
                                                                                         : "without setup";
}

}  // namespace

void read_bars(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  const KnownLine* k = known.find([](const KnownLine& x) { return x.bars.has_value(); });
  if (k == nullptr) {
    const std::string reason = setup.colour ? "no colour bars in the picture; send colour bars" : no_burst;
    out.push_back(unmeasurable("video.bars.kind", reason));
    for (int i = 0; i < 8; ++i) {
      out.push_back(unmeasurable(id_of(i, "luma"), reason));
      if (i == 0 || i == 7) continue;
      out.push_back(unmeasurable(id_of(i, "chroma"), reason));
      out.push_back(unmeasurable(id_of(i, "phase"), reason));
    }
    return;
  }
  const FoundBars& f = *k->bars;
  out.push_back(text_reading("video.bars.kind", std::string(f.form.name), kind_remark(f, setup)));
  const Replicates& r = known.replicates_of(*k);
  for (int i = 0; i < 8; ++i) {
    const auto& bar = f.bars[static_cast<std::size_t>(i)];
    const bool colour = i != 0 && i != 7;
    if (!bar) {
      const std::string reason = "this bar is not among the colour bars of the picture";
      out.push_back(unmeasurable(id_of(i, "luma"), reason));
      if (!colour) continue;
      out.push_back(unmeasurable(id_of(i, "chroma"), reason));
      out.push_back(unmeasurable(id_of(i, "phase"), reason));
      continue;
    }
    const std::complex<double> axis = std::polar(1.0, -std::arg(bar->chroma_undone));
    const Values v = values_of(r, [&](const AveragedLine& a) {
      const std::complex<double> z = a.chroma_undone(bar->from_us, bar->to_us);
      return std::vector<double>{a.level(bar->from_us, bar->to_us), 2 * a.chroma_mv(bar->from_us, bar->to_us),
                                 std::arg(z * axis) * deg};
    });
    const auto push = [&](std::string_view what, std::size_t n, double floor, double base,
                          const std::string& remark) {
      if (const auto e = value_at(v, n)) {
        out.push_back(number_reading(id_of(i, what), base + e->value, together(e->u, floor), remark));
      } else {
        out.push_back(unmeasurable(id_of(i, what), "too few lines of colour bars; take a longer capture"));
      }
    };
    push("luma", 0,
         together(0.0001 * std::abs(bar->luma_mv) + 0.02 * setup.gain() + 0.03 * setup.quantum_mv,
                  setup.wander_of(k->content->lines)),
         0, "");
    if (!colour) continue;
    if (!setup.colour) {
      for (const char* what : {"chroma", "phase"}) out.push_back(unmeasurable(id_of(i, what), no_burst));
      continue;
    }
    // The subcarrier's phase is known to what the bursts' noise leaves over the capture; those of
    // lines near by count too. Where V alternates it turns the two kinds of line apart and leaves their mean.
    const double burst = 0.5 * setup.gain() * (setup.lines == 625 ? 300.0 : 285.7);
    const double burst_samples = 1.2e-6 * setup.rate_hz;
    const double bursts = std::min(2.3 * k->content->lines, known.lines());
    const double burst_deg =
        2 * deg * setup.noise_mv / burst * std::sqrt(2 / burst_samples / std::max(1.0, bursts));
    std::string remark;
    if (r.all.chroma_lines[0] > 0 && r.all.chroma_lines[1] > 0) {
      const double apart = 0.5 * std::arg(bar->chroma[0] * bar->chroma[1]) * deg;
      if (std::abs(apart) > 1)
        remark = fmt::format("mean of both kinds of line; on each it is {:+.1f} deg off, V as is", apart);
    }
    // Interpolation's loss at the subcarrier is made good to a tenth.
    const double loss = 1 - k->average.response(setup.subcarrier_true_hz);
    push("chroma", 1, (0.0003 + 0.1 * std::abs(loss)) * 2 * bar->chroma_mv, 0, "");
    double phase = std::arg(bar->chroma_undone) * deg;
    phase = phase < 0 ? phase + 360 : phase;
    // Below 10 MS/s a subcarrier lies so near half the rate that burst and bar are not seen through one
    // filter.
    const double slow_deg = setup.rate_hz < 9.9e6 ? 3.0 : 0.03;
    push("phase", 2, together(setup.v_alternates ? 0.0 : burst_deg, slow_deg), phase, remark);
  }
}

}  // namespace linebench::measure
