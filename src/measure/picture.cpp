// The pass over the frames: a few are looked at ahead to know what the picture is, then every meter sees
// each.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/picture.hpp>
#include <linebench/measure/picture_signal.hpp>
#include <numeric>

#include "picture_fields.hpp"
#include "picture_hum.hpp"
#include "picture_impulses.hpp"
#include "picture_levels.hpp"
#include "picture_lines.hpp"
#include "picture_noise.hpp"
#include "picture_roll.hpp"
#include "picture_spectrum.hpp"
#include "picture_tone.hpp"

namespace linebench::measure {
namespace {

using capture::Frame;

constexpr std::size_t look_ahead = 12;

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
    if (!r.measured() || r.id.starts_with("picture.signal") || r.id == "picture.system") continue;
    r.reason = r.reason.empty() ? remark : r.reason + "; " + remark;
  }
}

// A frame and how many without a picture stood before it.
struct Ahead {
  Frame frame;
  std::uint64_t skipped = 0;
};

// Damaged frames tell nothing of the picture, unless there are no others.
std::vector<Frame> sound_ones(const std::vector<Ahead>& ahead) {
  std::vector<Frame> all, sound;
  for (const Ahead& a : ahead) {
    all.push_back(a.frame);
    if (!a.frame.corrupt) sound.push_back(a.frame);
  }
  return sound.empty() ? all : sound;
}

bool beyond(const Readings& lines, const char* id, double px) {
  const Reading* r = find_reading(lines, id);
  return r != nullptr && r->measured() && std::abs(r->number()) > px;
}

// An edge that is smeared over the lines looks like an echo close by.
bool bent(const Readings& lines) {
  return beyond(lines, "picture.tear", 1) || beyond(lines, "picture.flagging", 1) ||
         beyond(lines, "picture.jitter", 1.5);
}

PictureNoiseMeter::Sideways sideways(const Readings& lines) {
  const auto px = [&](const char* id) {
    const Reading* r = find_reading(lines, id);
    return r != nullptr && r->measured() ? r->number() : 0.0;
  };
  return {px("picture.jitter"), px("picture.tear")};
}

// Why rows do not stand where they stood, as far as points on them ask.
std::string out_of_place(bool rolling, const Readings& lines) {
  constexpr double most_jitter_px = 1.5, most_tear_px = 5;
  if (rolling) return "the picture rolls; cure that first";
  if (beyond(lines, "picture.jitter", most_jitter_px) || beyond(lines, "picture.tear", most_tear_px))
    return "lines stand beside each other (tearing or jitter); cure that first";
  return "";
}

// Over the rows of a field hum does not quite cancel, and where its bars hardly move it stands on all levels.
void widen_by_hum(const Readings& hum, Readings& levels) {
  const Reading* h = find_reading(hum, "picture.hum.level");
  if (h == nullptr || !h->measured()) return;
  for (Reading& r : levels) {
    const bool bar = r.id.starts_with("picture.bars.");
    const bool codes =
        r.id == "picture.luma.white" || r.id == "picture.luma.black" || (bar && r.id.ends_with(".luma"));
    const bool mv = r.id == "picture.luma.white_mv" || r.id == "picture.luma.black_mv" ||
                    (bar && r.id.ends_with(".luma_mv"));
    if ((!codes && !mv) || !r.measured()) continue;
    r.uncertainty = std::hypot(r.uncertainty.value_or(0), 0.1 * h->number() / 100 * (codes ? 219 : 700));
  }
}

// Rows of one line that differ by more than a level seem to have moved: of full bars cut off at both ends by
// 0.012 px for each per cent.
void widen_by_uneven_hum(double percent, Readings& lines) {
  for (Reading& r : lines) {
    if (!r.measured() || !(percent > 0)) continue;
    if (r.id == "picture.jitter") r.uncertainty = std::hypot(r.uncertainty.value_or(0), 0.015 * percent);
    // The largest of very many steps: ten times as much.
    if (r.id == "picture.tear" && r.number() > 0 && r.number() < 0.12 * percent)
      r = number_reading("picture.tear", 0, 0.12 * percent + r.uncertainty.value_or(0),
                         "no step found that hum, cut off where codes end, does not make as well");
  }
}

// Torn uprights leave rows at one side and come in at the other, and change their means.
void drop_hum_of_torn_grid(const PictureSetup& s, const Readings& lines, Readings& hum) {
  if (s.pattern.kind != PatternKind::Crosshatch || !beyond(lines, "picture.tear", 0)) return;
  for (Reading& r : hum)
    if (r.measured() || r.at_most)
      r = unmeasurable(r.id, "a grid that tears changes its rows as hum does; send a flat field or bars");
}

// The dark bar between pictures passes through a picture that rolls, and takes its share of every mean over
// frames.
void drop_levels(Readings& levels) {
  const char* why =
      "the picture rolls, and the dark bar between pictures passes through what is looked at; cure the roll "
      "first";
  for (Reading& r : levels) {
    const bool level = r.id.starts_with("picture.luma.") || r.id.starts_with("picture.bars.") ||
                       r.id.starts_with("picture.echo.") || r.id == "picture.hue" ||
                       r.id == "picture.saturation" || r.id == "picture.multiburst";
    if (level && r.measured()) r = unmeasurable(r.id, why);
  }
}

// Up and down, slanting edges move sideways.
void drop_jitter(Readings& lines) {
  for (Reading& r : lines)
    if (r.id == "picture.jitter" && r.measured())
      r = unmeasurable(r.id,
                       "the camera sways up and down, which moves slanting edges sideways; hold it still, or "
                       "send bars or a crosshatch");
}

// Noise is told without them; what stands is not.
void beside_impulses(Readings& readings) {
  for (Reading& r : readings) {
    if (!r.measured()) continue;
    if (r.id == "picture.noise") r.reason += "; what the impulses make of it is left out";
    if (r.id == "picture.noise.fixed") r = unmeasurable(r.id, "the impulses on the picture show in it");
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
        tone_(setup),
        impulses_(setup),
        spectrum_(setup),
        for_page_(for_page),
        meters_{&hum_, &noise_, &lines_, &levels_, &roll_, &fields_, &tone_, &impulses_} {}

  // Takes the frame's contents over. @param skipped frames before it that carry no picture
  void push(Frame& frame, std::uint64_t skipped) {
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
                           index_ > 0 && setup_.noisy && now_.y == before_.y,
                           skipped,
                           sums_};
    for (FrameMeter* m : meters_) m->push(view);
    if (for_page_) spectrum_.push(view);
    ++index_;
  }

  Readings finish(PictureTraces* traces) {
    Readings out;
    const Pattern& p = setup_.pattern;
    out.push_back(text_reading("picture.pattern", p.name, p.remark));
    Readings roll, noise, hum, lines;
    roll_.finish(lines_.grid_stands(), roll, traces);
    noise_.finish(roll_.rolling(), {}, noise);
    tone_.search(noise_.sways(), lines_.pulled());
    lines_.set_tone(tone_.amplitude(), tone_.radians_per_px(), tone_.stands());
    const Reading* stands = find_reading(noise, "picture.noise.fixed");
    if (tone_.amplitude() == 0 && stands != nullptr && stands->measured())
      lines_.set_standing_noise(stands->number());
    const auto noise_at_edges = [&] {
      return tone_.amplitude() > 0 ? std::min(tone_.rest(), noise_.noise_at_edges())
                                   : noise_.noise_at_edges();
    };
    // Each has a share in the other: jitter is told well enough by noise with it in.
    Readings rough;
    lines_.finish(roll_.rolling(), noise_at_edges(), rough, nullptr);
    noise.clear();
    noise_.finish(roll_.rolling(), sideways(rough), noise);
    hum_.finish(roll_.rolling(), noise_.noise(), hum, traces);
    lines_.finish(roll_.rolling(), noise_at_edges(), lines, traces);
    if (noise_.sways()) drop_jitter(lines);
    drop_hum_of_torn_grid(setup_, lines, hum);
    widen_by_uneven_hum(hum_.uneven_percent(), lines);
    levels_.finish(noise_.noise(), options_, out, traces);
    if (roll_.moving()) drop_levels(out);
    if (bent(lines)) {
      const char* why =
          "lines stand beside each other (tearing, flagging or jitter), so their mean smears; cure that "
          "first";
      for (Reading& r : out)
        if (r.id.starts_with("picture.echo.")) r = unmeasurable(r.id, why);
    }
    widen_by_hum(hum, out);
    if (const auto rest = tone_.rest_variance(); rest && !roll_.rolling())
      noise_.finish_beside_tone(rest->variance, rest->u, rest->at_most, noise);
    for (Readings* r : {&hum, &roll, &lines, &noise}) out.insert(out.end(), r->begin(), r->end());
    tone_.finish(roll_.rolling(), noise_.noise(), out);
    impulses_.finish(out_of_place(roll_.rolling(), lines), out);
    if (out.back().measured()) beside_impulses(out);
    fields_.finish(roll_.moving(), out);
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
  PictureToneMeter tone_;
  PictureImpulseMeter impulses_;
  PictureSpectrum spectrum_;
  bool for_page_;
  std::array<FrameMeter*, 8> meters_;
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

// Which scanning system the frames were taken in: by what their file says, or by their rows.
Reading system_reading(const capture::FrameFormat& f) {
  if (f.lines_known) return text_reading("picture.system", f.lines == 525 ? "525" : "625");
  return unmeasurable("picture.system",
                      fmt::format("{} rows are neither 576 nor 480, and the file does not say", f.height));
}

// Where the signal was there all the time, only that; else how long it was not.
void signal_readings(const PictureFrames& frames, double frame_s, Readings& out) {
  const std::uint64_t lost = frames.without() - frames.at_start();
  const auto seconds = [&](std::uint64_t n) { return static_cast<double>(n) * frame_s; };
  std::string remark;
  if (frames.at_start() > 0)
    remark = fmt::format("it comes {:.2f} s after the start", seconds(frames.at_start()));
  out.push_back(text_reading("picture.signal", "present", remark));
  const std::string from =
      lost > 0 ? fmt::format("{:.2f} s in all, the first at {:.2f} s; left out of all else; {}",
                             seconds(lost), seconds(frames.first_lost()), frames.why())
               : "";
  out.push_back(number_reading("picture.signal.lost", static_cast<double>(lost), std::nullopt, from));
}

}  // namespace

Readings measure_picture(capture::FrameSource& source, const PictureOptions& options,
                         const Progress& progress, const StopFlag* stop, PictureTraces* traces) {
  PictureFrames frames(source);
  std::vector<Ahead> ahead;
  for (Frame f; ahead.size() < look_ahead && (stop == nullptr || !stop->load()) && frames.next(f);)
    ahead.push_back({std::move(f), frames.skipped()});
  if (frames.read() == 0) throw unusable(fmt::format("{}: there are no frames in it", source.facts().source));
  if (ahead.empty()) return nothing_there(frames.why());
  const PictureSetup setup = make_picture_setup(sound_ones(ahead), source.format(), options);
  if (traces != nullptr) trace_frame(setup, ahead.front().frame, *traces);

  Pass pass(setup, options, traces != nullptr);
  for (Ahead& a : ahead) pass.push(a.frame, a.skipped);
  ahead.clear();
  Frame frame;
  const double total = static_cast<double>(source.facts().frames);
  while ((stop == nullptr || !stop->load()) && frames.next(frame)) {
    if (frame.y.size() != static_cast<std::size_t>(setup.width()) * static_cast<std::size_t>(setup.height()))
      throw unusable(fmt::format("{}: frames change their size", source.facts().source));
    pass.push(frame, frames.skipped());
    if (progress && pass.frames() % 16 == 0)
      progress(total > 0 ? static_cast<double>(frames.read()) / total : -1, "measuring");
  }
  Readings out;
  signal_readings(frames, setup.frame_s, out);
  out.push_back(system_reading(source.format()));
  const Readings measured = pass.finish(traces);
  out.insert(out.end(), measured.begin(), measured.end());
  if (source.format().lossy) add_remark(out, "from a lossy coder: detail, noise and levels are what it left");
  return out;
}

}  // namespace linebench::measure
