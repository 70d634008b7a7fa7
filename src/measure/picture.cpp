// The pass over the frames: a few are looked at ahead to know what the picture is, then every meter sees
// each.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/picture.hpp>
#include <numeric>

#include "picture_fields.hpp"
#include "picture_hum.hpp"
#include "picture_levels.hpp"
#include "picture_lines.hpp"
#include "picture_noise.hpp"
#include "picture_roll.hpp"
#include "picture_spectrum.hpp"

namespace linebench::measure {
namespace {

using capture::Frame;

constexpr std::size_t look_ahead = 12;

struct Spread {
  double mean = 0, rms = 0;
  int low = 255, high = 0;
};
Spread spread_of(const std::vector<std::uint8_t>& v) {
  Spread s;
  double sum = 0, squares = 0;
  for (const std::uint8_t c : v) {
    sum += c;
    squares += c * c;
    s.low = std::min<int>(s.low, c);
    s.high = std::max<int>(s.high, c);
  }
  const auto n = static_cast<double>(v.size());
  s.mean = sum / n;
  s.rms = std::sqrt(std::max(0.0, squares / n - s.mean * s.mean));
  return s;
}

// Why there is no picture, or nothing. Grabbers go on sending frames when the signal is gone: a blue or black
// field, or the noise of an open input.
std::string no_signal(const PictureSetup& s, std::span<const Frame> frames) {
  const Frame& f = frames[0];
  const Spread y = spread_of(f.y);
  const Spread cb = spread_of(f.cb);
  const Spread cr = spread_of(f.cr);
  const bool one_colour = y.rms < 3 && cb.rms < 3 && cr.rms < 3;
  const bool exact = y.low == y.high && cb.low == cb.high && cr.low == cr.high;
  if (one_colour && cb.mean > 165 && y.mean < 120)
    return "the whole picture is blue: what a grabber shows when no signal comes in";
  if (exact && !s.noisy && y.mean < 20 && std::abs(cb.mean - 128) < 3 && std::abs(cr.mean - 128) < 3)
    return "black, the same code in every pixel: what a grabber shows when no signal comes in";
  if (exact && y.mean < 5) return "all codes are zero: the grabber sends nothing";
  if (frames.size() > 1 && s.noise > 25) {
    // Snow is new in every frame and every line.
    const double same = 1 - s.noise * s.noise / std::max(1.0, y.rms * y.rms);
    double across = 0;
    double n = 0;
    const auto w = static_cast<std::size_t>(s.width());
    for (std::size_t i = 0; i + 2 * w < f.y.size(); i += 7) {
      const double d = f.y[i] - f.y[i + 2 * w];
      across += d * d;
      n += 1;
    }
    const double alike = 1 - across / n / 2 / std::max(1.0, y.rms * y.rms);
    if (same < 0.25 && alike < 0.25) return "snow: noise without a picture; no signal, or far too weak a one";
  }
  return {};
}

Readings nothing_there(const std::string& why) {
  Readings out;
  out.push_back(text_reading("picture.signal", "none", why));
  for (const ReadingKind& k : video_reading_kinds()) {
    if (!k.id.starts_with("picture.") || k.id == "picture.signal" || k.id.starts_with("picture.sync.") ||
        k.id.find("COLOUR") != std::string_view::npos)
      continue;
    out.push_back(unmeasurable(k.id, "no picture: " + why));
  }
  return out;
}

void add_remark(Readings& readings, const std::string& remark) {
  for (Reading& r : readings) {
    if (!r.measured() || r.id == "picture.signal") continue;
    r.reason = r.reason.empty() ? remark : r.reason + "; " + remark;
  }
}

// Damaged frames tell nothing of the picture, unless there are no others.
std::vector<Frame> sound_ones(const std::vector<Frame>& frames) {
  std::vector<Frame> out;
  std::copy_if(frames.begin(), frames.end(), std::back_inserter(out),
               [](const Frame& f) { return !f.corrupt; });
  return out.empty() ? frames : out;
}

// An edge that is smeared over the lines looks like an echo close by.
bool bent(const Readings& lines) {
  const auto beyond = [&](const char* id, double px) {
    const Reading* r = find_reading(lines, id);
    return r != nullptr && r->measured() && std::abs(r->number()) > px;
  };
  return beyond("picture.tear", 1) || beyond("picture.flagging", 1) || beyond("picture.jitter", 1.5);
}

// Over the rows of a field hum does not quite cancel, and where its bars hardly move it stands on all levels.
void widen_by_hum(const Readings& hum, Readings& levels) {
  const Reading* h = find_reading(hum, "picture.hum.level");
  if (h == nullptr || !h->measured()) return;
  for (Reading& r : levels) {
    const bool codes = r.id == "picture.luma.white" || r.id == "picture.luma.black";
    const bool mv = r.id == "picture.luma.white_mv" || r.id == "picture.luma.black_mv";
    if ((!codes && !mv) || !r.measured()) continue;
    r.uncertainty = std::hypot(r.uncertainty.value_or(0), 0.1 * h->number() / 100 * (codes ? 219 : 700));
  }
}

class Pass {
 public:
  Pass(const PictureSetup& setup, const PictureOptions& options, bool for_page)
      : setup_(setup),
        options_(options),
        hum_(setup, options.mains_hz),
        noise_(setup),
        lines_(setup),
        levels_(setup),
        roll_(setup),
        fields_(setup),
        spectrum_(setup),
        for_page_(for_page),
        meters_{&hum_, &noise_, &lines_, &levels_, &roll_, &fields_} {}

  // Takes the frame's contents over.
  void push(Frame& frame) {
    std::swap(now_, before_);
    std::swap(now_, frame);
    if (index_ == 0) first_ = now_.number;
    sums_.resize(static_cast<std::size_t>(setup_.blocks()) * static_cast<std::size_t>(setup_.height()));
    sum_blocks(now_.y.data(), setup_.width(), setup_.height(), sums_.data());
    const PictureView view{&setup_,
                           &now_,
                           index_ > 0 ? &before_ : nullptr,
                           index_,
                           static_cast<double>(now_.number - first_) * setup_.frame_s,
                           sums_};
    for (FrameMeter* m : meters_) m->push(view);
    if (for_page_) spectrum_.push(view);
    ++index_;
  }

  Readings finish(PictureTraces* traces) {
    Readings out;
    out.push_back(text_reading("picture.signal", "present"));
    const Pattern& p = setup_.pattern;
    out.push_back(text_reading("picture.pattern", p.name, p.remark));
    Readings roll, noise, hum, lines;
    roll_.finish(roll, traces);
    noise_.finish(roll_.rolling(), noise);
    hum_.finish(roll_.rolling(), noise_.noise(), hum, traces);
    lines_.finish(roll_.rolling(), noise_.noise(), lines, traces);
    levels_.finish(noise_.noise(), options_, out, traces);
    if (bent(lines)) {
      const char* why =
          "lines stand beside each other (tearing, flagging or jitter), so their mean smears; cure that "
          "first";
      for (Reading& r : out)
        if (r.id.starts_with("picture.echo.")) r = unmeasurable(r.id, why);
    }
    widen_by_hum(hum, out);
    for (Readings* r : {&hum, &roll, &lines, &noise}) out.insert(out.end(), r->begin(), r->end());
    fields_.finish(out);
    if (traces != nullptr) spectrum_.finish(*traces);
    return out;
  }
  [[nodiscard]] std::uint64_t frames() const { return index_; }

 private:
  const PictureSetup& setup_;
  const PictureOptions& options_;
  PictureHumMeter hum_;
  PictureNoiseMeter noise_;
  PictureLineMeter lines_;
  PictureLevelMeter levels_;
  PictureRollMeter roll_;
  PictureFieldMeter fields_;
  PictureSpectrum spectrum_;
  bool for_page_;
  std::array<FrameMeter*, 6> meters_;
  Frame now_, before_;
  std::vector<std::uint16_t> sums_;
  std::uint64_t index_ = 0, first_ = 0;
};

void trace_frame(const PictureSetup& s, const Frame& f, PictureTraces& t) {
  t.width = s.width();
  t.height = s.height();
  t.y = f.y;
  t.cb = f.cb;
  t.cr = f.cr;
  for (int r = 0; r < s.height(); ++r) {
    const auto at = f.y.begin() + static_cast<std::ptrdiff_t>(r) * s.width();
    const double mean = std::accumulate(at + s.first_col, at + s.last_col, 0.0) / (s.last_col - s.first_col);
    t.row_mean.push_back(mean);
  }
}

}  // namespace

Readings measure_picture(capture::FrameSource& source, const PictureOptions& options,
                         const Progress& progress, const StopFlag* stop, PictureTraces* traces) {
  std::vector<Frame> ahead;
  while (ahead.size() < look_ahead) {
    Frame f;
    if (!source.read(f)) break;
    ahead.push_back(std::move(f));
  }
  if (ahead.empty()) throw unusable(fmt::format("{}: there are no frames in it", source.facts().source));
  const PictureSetup setup = make_picture_setup(sound_ones(ahead), source.format(), options);
  if (traces != nullptr) trace_frame(setup, ahead.front(), *traces);
  if (const std::string why = no_signal(setup, ahead); !why.empty()) return nothing_there(why);

  Pass pass(setup, options, traces != nullptr);
  for (Frame& f : ahead) pass.push(f);
  ahead.clear();
  Frame frame;
  const double total = static_cast<double>(source.facts().frames);
  while ((stop == nullptr || !stop->load()) && source.read(frame)) {
    if (frame.y.size() != static_cast<std::size_t>(setup.width()) * static_cast<std::size_t>(setup.height()))
      throw unusable(fmt::format("{}: frames change their size", source.facts().source));
    pass.push(frame);
    if (progress && pass.frames() % 16 == 0)
      progress(total > 0 ? static_cast<double>(pass.frames()) / total : -1, "measuring");
  }
  Readings out = pass.finish(traces);
  if (source.format().lossy) add_remark(out, "from a lossy coder: detail, noise and levels are what it left");
  return out;
}

}  // namespace linebench::measure
