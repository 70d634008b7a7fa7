#include "picture_levels.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/statistics.hpp>
#include <linebench/standards/video_colour.hpp>
#include <numbers>
#include <optional>

#include "picture_multiburst.hpp"
#include "picture_plateaus.hpp"

namespace linebench::measure {
namespace {

LINEBENCH_VECTORISED void add_row(std::uint32_t* to, const std::uint8_t* row, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) to[i] += row[i];
}

constexpr double colour_threshold = 3.0;  // codes rms over the picture

struct Level {
  double codes;    // as measured
  double nominal;  // [BT.601]
};

struct Straight {
  double gain = 0, offset = 0;
  double u_gain = 0, u_white = 0, u_black = 0;  // k=2
};

// Levels against their nominal codes. `u`: standard error of one level.
Straight fit_levels(const std::vector<Level>& levels, double u) {
  double sx = 0, sy = 0, sxx = 0, sxy = 0;
  const auto n = static_cast<double>(levels.size());
  for (const Level& l : levels) {
    sx += l.nominal;
    sy += l.codes;
    sxx += l.nominal * l.nominal;
    sxy += l.nominal * l.codes;
  }
  Straight s;
  const double spread = sxx - sx * sx / n;
  s.gain = (sxy - sx * sy / n) / spread;
  s.offset = (sy - s.gain * sx) / n;
  double squares = 0;
  for (const Level& l : levels) squares += std::pow(l.codes - s.offset - s.gain * l.nominal, 2);
  // A bent transfer curve counts as uncertainty of the straight line through it.
  if (levels.size() > 2) u = std::max(u, std::sqrt(squares / (n - 2)));
  s.u_gain = 2 * u / std::sqrt(spread);
  const auto at = [&](double x) { return 2 * u * std::sqrt(1 / n + std::pow(x - sx / n, 2) / spread); };
  s.u_white = at(235);
  s.u_black = at(16);
  return s;
}

const standards::VideoStandard& standard_of(const PictureSetup& s, const PictureOptions& o) {
  if (s.format.lines == 625) return standards::video_625;
  return o.setup ? standards::video_525 : standards::video_525_no_setup;
}

std::complex<double> uv_of(double cb, double cr) {
  return {(cb - 128) / 224 * 2 * (1 - standards::luma_blue) * standards::u_scale,
          (cr - 128) / 224 * 2 * (1 - standards::luma_red) * standards::v_scale};
}

using Colours = std::vector<std::complex<double>>;

double total(const Colours& c) {
  double sum = 0;
  for (const auto& x : c) sum += std::norm(x);
  return sum;
}

// What was done to colours that no turn and gain brings to the table's.
std::string colour_fault(const Colours& have, const Colours& want) {
  // U and V of equal Cb and Cr differ in scale.
  constexpr double scale =
      standards::u_scale * (1 - standards::luma_blue) / (standards::v_scale * (1 - standards::luma_red));
  const auto fits = [&](auto&& change) {
    std::complex<double> sum = 0;
    for (std::size_t i = 0; i < have.size(); ++i) sum += std::conj(want[i]) * change(have[i]);
    Colours changed;
    for (const auto& h : have) changed.push_back(change(h));
    return std::norm(sum) > 0.9 * total(changed) * total(want) && sum.real() > 0.7 * std::abs(sum);
  };
  using C = std::complex<double>;
  if (fits([&](C c) { return C(c.imag() * scale, c.real() / scale); }))
    return "Cb and Cr stand in each other's place";
  if (fits([](C c) { return C(c.real(), -c.imag()); })) return "Cr (the V axis) is upside down";
  if (fits([](C c) { return C(-c.real(), c.imag()); })) return "Cb (the U axis) is upside down";
  double u = 0, v = 0;
  for (const auto& c : have) {
    u += c.real() * c.real();
    v += c.imag() * c.imag();
  }
  if (u < 0.05 * v) return "Cb is lost";
  if (v < 0.05 * u) return "Cr is lost";
  return "another colour system, or a fault in the decoder";
}

// Where codes end (0 and 255 are sync's [BT.601]) a colour difference, or half of its noise, is cut off, and
// the mean says less than was sent.
bool cut_off(double code, double noise) {
  const double margin = 1 + 2.5 * noise;
  return code < 1 + margin || code > 254 - margin;
}

// What the ends of the codes cut off noise about a level takes from its mean.
double cut_off_mean(double code, double noise) {
  const auto beyond = [&](double codes) {
    const double z = codes / noise;
    return noise * (std::exp(-z * z / 2) / std::sqrt(2 * std::numbers::pi) -
                    z * std::erfc(z / std::numbers::sqrt2) / 2);
  };
  return noise > 0 ? std::max(beyond(254.5 - code), beyond(code - 0.5)) : 0.0;
}
bool at_end(double code) { return code < 2 || code > 253; }

// Where bars of the other amplitude are about as likely, what they would make of it is claimed as well.
std::string with_doubt(const std::string& remark, const Pattern& p) {
  if (p.other_share == 1) return remark;
  return fmt::format("{}{}the ± holds bars of {} % too: say which with --signal", remark,
                     remark.empty() ? "" : "; ", p.bar_colour < 1 ? 100 : 75);
}

// picture.saturation and picture.hue: the turn and gain that bring the table's colours to the bars'.
// `u_level`: standard error of a bar's mean code.
void colour_readings(const Pattern& p, const std::vector<double>& blue, const std::vector<double>& red,
                     bool colour, double noise, double u_level, Readings& out) {
  const auto refuse = [&](const std::string& why) {
    out.push_back(unmeasurable("picture.saturation", why));
    out.push_back(unmeasurable("picture.hue", why));
  };
  std::complex<double> sum = 0;
  double norm = 0;
  Colours have, want;
  std::string of;
  const standards::BarForm form{"", p.bar_white, p.bar_colour};
  for (int i = std::max(1, p.first_bar); i <= std::min(6, p.last_bar); ++i) {
    const double cb = blue[static_cast<std::size_t>(i)], cr = red[static_cast<std::size_t>(i)];
    if (cut_off(cb, noise) || cut_off(cr, noise)) {
      of = "; Cb or Cr of the others is cut off where codes end";
      continue;
    }
    have.push_back(uv_of(cb, cr));
    const auto n = standards::yuv_from_rgb(standards::bar_rgb(form, i));
    want.emplace_back(n.u, n.v);
    sum += std::conj(want.back()) * have.back();
    norm += std::norm(want.back());
  }
  if (have.size() < 2) return refuse("Cb and Cr are cut off where codes end; turn the grabber's colour down");
  if (!of.empty()) of = fmt::format("from {} bars", have.size()) + of;
  const std::complex<double> c = sum / norm;
  double rest = 0;
  for (std::size_t i = 0; i < have.size(); ++i) rest += std::norm(have[i] - c * want[i]);
  // One code of colour difference is 0.0039 in U and 0.0055 in V.
  const double code = 0.0048;
  const double u_rounding = code * u_level / std::sqrt(norm);
  const double dof = 2 * static_cast<double>(have.size()) - 2;  // two of each colour, two fitted
  const double u_rest = std::sqrt(rest / dof / norm);
  const double u = std::max(2 * u_rounding, coverage_factor(dof) * u_rest);
  if (!colour || std::abs(c) <= 0.05) {
    out.push_back(number_reading("picture.saturation", std::abs(c), std::hypot(u, 0.002)));
    out.push_back(unmeasurable("picture.hue", "there is no colour"));
    return;
  }
  if (rest > 0.15 * total(have))
    return refuse("the bars' colours do not agree with one turn: " + colour_fault(have, want));
  // A source's own colours, rounded to whole codes as most are kept, are seldom nearer to the table.
  const double u_kind = std::abs(c) * std::abs(1 - p.other_share);
  out.push_back(
      number_reading("picture.saturation", std::abs(c), std::hypot(u, 0.004) + u_kind, with_doubt(of, p)));
  // Complements are rounded alike, so what they leave over does not show it: a third of a code rms in each of
  // six, of colours that are the smaller the dimmer they are.
  const double hue_rounding = 0.25 * std::max(1.0, 0.75 / (p.bar_colour * std::abs(c)));
  out.push_back(number_reading("picture.hue", std::arg(c) * 180 / std::numbers::pi,
                               std::hypot(u / std::abs(c) * 180 / std::numbers::pi, hue_rounding), of));
}

// The bar's level is that of its middle, as its amplitude is defined [BT.1439]; the ground's that of its
// widest part.
struct BarAndGround {
  double bar = 0, ground = 0;
  double uneven = 0;
};
std::optional<BarAndGround> bar_and_ground(std::span<const double> line, const LineShape& shape) {
  constexpr double ground_alike = 3;
  const FramePlateau *bar = nullptr, *ground = nullptr;
  double top = shape.base;
  for (const FramePlateau& p : shape.plateaus) top = std::max(top, p.mean);
  for (const FramePlateau& p : shape.plateaus) {
    if (p.mean > (shape.base + top) / 2 && (bar == nullptr || p.width() > bar->width())) bar = &p;
    if (std::abs(p.mean - shape.base) <= ground_alike && (ground == nullptr || p.width() > ground->width()))
      ground = &p;
  }
  if (bar == nullptr || ground == nullptr) return std::nullopt;
  // What slopes or steps there is in the middle half; and noise's share of that, which counts elsewhere.
  const auto slope = [&](const FramePlateau& p) {
    const double quarter = p.width() / 4.0, middle = (p.from + p.to) / 2.0;
    return std::abs(stretch(line, p.from + quarter, middle).mean -
                    stretch(line, middle, p.to - quarter).mean);
  };
  return BarAndGround{middle_level(line, *bar), middle_level(line, *ground),
                      0.25 * std::hypot(slope(*bar), slope(*ground))};
}

// Whether level parts stand at an end of the codes, not only the trough or the peak beside an edge.
struct CutOff {
  bool black = false, white = false;
};
CutOff cut_off_parts(std::span<const double> line, int from, int to, const CodeLimits& ends) {
  constexpr int least_px = 12;
  constexpr double beside = 22,
                   least_share = 1.0 / 3;  // of what lies within a tenth of the range of it
  CutOff out;
  const auto look = [&](auto&& cut, auto&& near) {
    int longest = 0, run = 0, all = 0, alike = 0;
    for (int x = from; x < to; ++x) {
      const double v = line[static_cast<std::size_t>(x)];
      run = cut(v) ? run + 1 : 0;
      longest = std::max(longest, run);
      all += cut(v) ? 1 : 0;
      alike += near(v) ? 1 : 0;
    }
    return longest >= least_px && all >= least_share * alike;
  };
  out.black =
      look([&](double v) { return ends.cuts_black(v); }, [&](double v) { return v < ends.lowest + beside; });
  out.white =
      look([&](double v) { return ends.cuts_white(v); }, [&](double v) { return v > ends.highest - beside; });
  return out;
}

// Of the band, all of them where too few are straight.
std::vector<int> rows_of(const PictureSetup& setup) {
  if (setup.bands.empty()) return {};
  std::vector<int> rows = setup.straight_rows();
  return rows.size() < 4 ? setup.bands[setup.pattern.band].rows : rows;
}

}  // namespace

PictureLevelMeter::PictureLevelMeter(const PictureSetup& setup)
    : setup_(setup), rows_(rows_of(setup)), gain_(setup, rows_) {
  const auto w = static_cast<std::size_t>(setup.width());
  line_.y.assign(w, 0);
  line_.cb.assign(w / 2, 0);
  line_.cr.assign(w / 2, 0);
}

void PictureLevelMeter::push(const PictureView& view) {
  const auto w = static_cast<std::size_t>(setup_.width());
  gain_.push(*view.frame);
  Line& l = line_;
  if (l.rows < (1U << 24) - rows_.size()) {  // 2^24 rows of 255 fill the sums; hours of frames say no more
    for (const int r : rows_) {
      const auto at = static_cast<std::size_t>(r) * w;
      add_row(l.y.data(), view.frame->y.data() + at, w);
      add_row(l.cb.data(), view.frame->cb.data() + at / 2, w / 2);
      add_row(l.cr.data(), view.frame->cr.data() + at / 2, w / 2);
    }
    l.rows += rows_.size();
  }
  constexpr std::size_t px = 16;
  const std::size_t step = 8;
  for (std::size_t r = 4; r + 4 < static_cast<std::size_t>(setup_.height()); r += step) {
    for (std::size_t x = 0; x + px <= w / 2; x += px) {
      int cb = 0;
      int cr = 0;
      const std::size_t at = r * w / 2 + x;
      for (std::size_t i = 0; i < px; ++i) {
        cb += view.frame->cb[at + i];
        cr += view.frame->cr[at + i];
      }
      const double u = static_cast<double>(cb) / px - 128;
      const double v = static_cast<double>(cr) / px - 128;
      colour_ += u * u + v * v;
      ++colour_blocks_;
    }
  }
}

double PictureLevelMeter::colour_codes() const {
  return colour_blocks_ > 0 ? std::sqrt(colour_ / static_cast<double>(colour_blocks_)) : 0;
}

std::vector<double> PictureLevelMeter::mean(const std::vector<std::uint32_t>& sums) const {
  std::vector<double> out(sums.begin(), sums.end());
  for (double& v : out) v /= std::max(1.0, static_cast<double>(line_.rows));
  return out;
}

void PictureLevelMeter::finish(double noise, const PictureOptions& options, Readings& out,
                               PictureTraces* traces) const {
  const Pattern& p = setup_.pattern;
  const auto& standard = standard_of(setup_, options);
  const std::vector<double> y = mean(line_.y);
  const std::vector<double> cb = mean(line_.cb);
  const std::vector<double> cr = mean(line_.cr);
  const auto rows = static_cast<double>(line_.rows);
  // Where a colour ends in RGB its noise is cut off on one side, which moves the mean: a half-wave's mean is
  // 0.4 of its rms, and luma has all three's.
  const double rounding =
      std::hypot(rounding_rms(noise), setup_.format.through_rgb ? std::hypot(0.25, 0.6 * noise) : 0.0);
  if (traces != nullptr && rows > 0) traces->line_y = y;

  std::vector<Level> levels;
  std::vector<double> bar_level;
  std::string from;
  double uneven = 0;  // how far a level is not the same all along
  const double w = setup_.width();
  if (rows > 0 && p.kind == PatternKind::Bars) {
    const standards::BarForm form{"", p.bar_white, p.bar_colour};
    for (int i = 0; i < p.bars; ++i) {
      const double level = stretch(y, (i + 0.28) * w / p.bars, (i + 0.72) * w / p.bars).mean;
      bar_level.push_back(level);
      if (i >= p.first_bar && i <= p.last_bar)
        levels.push_back({level, standards::code601_from_rgb(standards::bar_rgb(form, i)).y});
    }
    from = p.limits.empty() ? fmt::format("from all {} bars", p.bars)
                            : fmt::format("from {} bars; {}", levels.size(), p.limits);
  } else if (rows > 0 && p.kind == PatternKind::Staircase) {
    auto steps = line_shape(y, setup_.first_col, setup_.last_col).plateaus;
    if (steps.size() >= 2 && steps.front().mean > steps.back().mean) std::reverse(steps.begin(), steps.end());
    // The step at either end may stand twice, once as the base beside it.
    std::sort(steps.begin(), steps.end(),
              [](const FramePlateau& a, const FramePlateau& b) { return a.mean < b.mean; });
    std::vector<double> level;
    for (const FramePlateau& s : steps) {
      if (level.empty() || s.mean - level.back() > 6) level.push_back(s.mean);
    }
    for (std::size_t i = 0; i < level.size(); ++i)
      levels.push_back(
          {level[i], 16 + 219.0 * static_cast<double>(i) / static_cast<double>(level.size() - 1)});
    from = "from the steps, the lowest taken as black and the highest as white";
  } else if (rows > 0 && (p.kind == PatternKind::PulseBar || p.kind == PatternKind::Window)) {
    if (const auto found = bar_and_ground(y, line_shape(y, setup_.first_col, setup_.last_col))) {
      levels = {{found->ground, 16}, {found->bar, 235}};
      uneven = found->uneven;
      from = "from the bar's middle and the ground, taken as white and black";
    }
  }
  std::string limits;  // why no level can be told
  const CutOff cut =
      rows > 0 ? cut_off_parts(y, setup_.first_col, setup_.last_col, setup_.code_limits) : CutOff{};
  const bool white_cut = p.kind == PatternKind::Bars && p.first_bar > 0;
  const bool black_cut = p.kind == PatternKind::Bars && p.last_bar < p.bars - 1;
  if (p.kind != PatternKind::Bars) {
    for (const Level& l : levels) uneven = std::hypot(uneven, cut_off_mean(l.codes, noise));
    if (std::ranges::any_of(levels, [](const Level& l) { return at_end(l.codes); })) {
      limits =
          "its brightest or darkest part stands where codes end; set level, contrast or brightness right "
          "first";
      levels.clear();
    }
    const CodeLimits& ends = setup_.code_limits;
    if (!levels.empty() && cut.black) {
      limits = fmt::format(
          "black is crushed: it shows no noise at code {}, below which none comes; raise brightness first",
          ends.lowest);
    } else if (!levels.empty() && cut.white) {
      limits = fmt::format(
          "white is clipped: it shows no noise at code {}, above which none comes; turn the level or the "
          "contrast down first",
          ends.highest);
    }
    if (!limits.empty()) levels.clear();
  }
  const double statistic = noise / std::sqrt(std::max(1.0, rows * w / 20));
  if (levels.size() >= 2) {
    const Straight s = fit_levels(levels, std::hypot(rounding, statistic, uneven));
    const double white = s.offset + 235 * s.gain;
    const double black = s.offset + 16 * s.gain;
    const auto mv = [&](double codes) { return standard.picture_mv((codes - 16) / 219); };
    const double per_code = mv(17) - mv(16);
    const auto end = [&](const char* id, bool limited, double codes, double u, const std::string& mv_remark) {
      const std::string id_mv = std::string(id) + "_mv";
      if (limited) {
        out.push_back(unmeasurable(id, p.limits));
        out.push_back(unmeasurable(id_mv, p.limits));
        return;
      }
      out.push_back(number_reading(id, codes, u, from));
      out.push_back(number_reading(id_mv, mv(codes), u * per_code, mv_remark));
    };
    const double u_kind = std::abs(s.gain * (1 - p.other_share));
    end("picture.luma.white", white_cut, white, s.u_white + 219 * u_kind,
        fmt::format("what the code stands for, {}", standard.label));
    end("picture.luma.black", black_cut, black, s.u_black, "");
    const std::string own =
        "the grabber's gain control has a part in it: it may hide a level that is wrong on the cable";
    out.push_back(number_reading("picture.luma.gain", 100 * s.gain, 100 * (s.u_gain + u_kind),
                                 with_doubt(p.limits.empty() ? own : from + "; " + own, p)));
  } else {
    const std::string why =
        !p.limits.empty() ? p.remark
        : !limits.empty() ? limits
        : p.kind == PatternKind::Flat
            ? fmt::format("a flat field (code {:.1f}) has no known white; send bars, a staircase or a window",
                          rows > 0 ? stretch(y, setup_.first_col, setup_.last_col).mean : 0)
            : "needs a picture whose white and black are known: send bars, a staircase or a window";
    for (const char* id : {"picture.luma.white", "picture.luma.white_mv", "picture.luma.black",
                           "picture.luma.black_mv", "picture.luma.gain"})
      out.push_back(unmeasurable(id, why));
  }

  const bool colour = colour_codes() > colour_threshold;
  out.push_back(
      text_reading("picture.colour", colour ? "present" : "none",
                   !colour && p.kind == PatternKind::Bars
                       ? "colour bars without colour: the burst does not get through, or the colour "
                         "system is another"
                       : ""));
  if (rows <= 0 || p.kind != PatternKind::Bars) {
    const std::string why = !p.limits.empty() ? p.remark : "needs colours that are known: send colour bars";
    out.push_back(unmeasurable("picture.hue", why));
    out.push_back(unmeasurable("picture.saturation", why));
  } else {
    std::vector<double> blue, red;  // mean Cb and Cr of each bar
    for (int i = 0; i < p.bars; ++i) {
      const double a = (i + 0.3) * w / p.bars / 2;
      const double b = (i + 0.7) * w / p.bars / 2;
      blue.push_back(stretch(cb, a, b).mean);
      red.push_back(stretch(cr, a, b).mean);
    }
    colour_readings(p, blue, red, colour, noise, std::hypot(rounding, statistic), out);
    for (int i = 0; i < p.bars; ++i) {
      const std::string id =
          fmt::format("picture.bars.{}", standards::bar_names[static_cast<std::size_t>(i)]);
      const double level = bar_level[static_cast<std::size_t>(i)];
      const double one = 2 * std::hypot(rounding, statistic);
      out.push_back(number_reading(id + ".luma", level, one));
      out.push_back(number_reading(id + ".luma_mv", standard.picture_mv((level - 16) / 219),
                                   one * standard.white_mv.nominal * (1 - standard.setup_fraction) / 219));
      out.push_back(number_reading(id + ".cb", blue[static_cast<std::size_t>(i)], one));
      out.push_back(number_reading(id + ".cr", red[static_cast<std::size_t>(i)], one));
    }
  }
  if (const auto range = gain_.moved(noise)) widen_by_moving_gain(*range, out);
  out.push_back(gain_.step(noise));
  const MeanLine line{y, std::hypot(noise / std::sqrt(std::max(1.0, rows)), rounding)};
  if (rows > 0 && p.kind == PatternKind::Multiburst) {
    multiburst_readings(setup_, line, out);
  } else {
    out.push_back(unmeasurable("picture.multiburst", "send the multiburst"));
  }
  const bool edges = p.kind == PatternKind::Bars || p.kind == PatternKind::PulseBar ||
                     p.kind == PatternKind::Window || p.kind == PatternKind::Staircase ||
                     p.kind == PatternKind::Crosshatch;
  if (rows > 0 && edges) {
    echo_readings(setup_, line, options.velocity_factor, out);
  } else {
    for (const char* id : {"picture.echo.delay", "picture.echo.level", "picture.echo.distance"})
      out.push_back(
          unmeasurable(id, "needs sharp edges on level ground: send the pulse and bar, a window or bars"));
  }
}

void multiburst_readings(const PictureSetup& setup, const MeanLine& line, Readings& out) {
  const std::vector<FramePacket> packets =
      find_packets(line.y, setup.format.lines, setup.px_per_us, setup.px_per_us_u);
  Curve c;
  c.x_unit = "Hz";
  c.y_unit = "dB";
  const auto u_of = [&](const FramePacket& p) {
    // Noise and rounding of the mean line, and what is left of a bent packet.
    const double u = std::hypot(line.sigma, 0.5 * p.residual) * std::sqrt(2.0 / p.width);
    return 8.686 * 2 * u / p.amplitude;
  };
  for (const FramePacket& p : packets) {
    c.x.push_back(p.nominal_hz);
    c.y.push_back(20 * std::log10(p.amplitude / packets.front().amplitude));
    c.uncertainty.push_back(std::hypot(u_of(p), u_of(packets.front()), 0.05));
  }
  out.push_back(curve_reading("picture.multiburst", std::move(c), std::nullopt,
                              "re the lowest packet; the grabber's own filter is in it unless calibrated"));
}

}  // namespace linebench::measure
