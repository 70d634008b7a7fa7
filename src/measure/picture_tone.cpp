#include "picture_tone.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/measure/statistics.hpp>
#include <numbers>

#include "picture_level_noise.hpp"

namespace linebench::measure {
namespace {

constexpr double codes_per_percent = 2.19;  // of white [BT.601]

struct Columns {
  int first = 0, last = 0;
};
// The longest stretch where codes do not end, which would cut a tone off.
Columns whole_columns(const PictureSetup& s, const std::vector<int>& rows) {
  Columns best, now{s.first_col, s.first_col};
  for (int b = s.first_col / block_px; b < s.last_col / block_px; ++b) {
    const auto held = std::ranges::count_if(rows, [&](int r) { return s.held_at(r, b); });
    now.last = block_px * (b + 1);
    if (20 * held > static_cast<std::ptrdiff_t>(rows.size())) now.first = now.last;
    if (now.last - now.first > best.last - best.first) best = now;
  }
  return best;
}

// What rounding to codes adds to a sine's amplitude at worst, peak: the sawtooth's first terms, at a level
// anywhere between codes, less by what noise dithers.
double by_rounding(double amplitude, double noise) {
  const double bessel = std::min(0.58, 1 / (std::numbers::pi * std::sqrt(std::max(0.1, amplitude))));
  return 1.5 * 2 / std::numbers::pi * bessel * std::exp(-2 * std::pow(std::numbers::pi * noise, 2));
}

// Of the first field, from the first row that shows the pattern's line to the last. A strong tone that stands
// still from frame to frame makes rows differ by its phase: those alike would show it as part of the picture.
// A grid that is torn comes near to a tone.
std::vector<int> rows_of(const PictureSetup& s) {
  std::vector<int> rows;
  if (!s.rows_alike()) {
    for (int r = s.height() / 10; r < s.height() - 4; ++r)
      if (s.field_of(r) == 0) rows.push_back(r);
    return rows;
  }
  const std::vector<int>& band = s.bands[s.pattern.band].rows;
  const bool grid = s.pattern.kind == PatternKind::Crosshatch;
  const int last = std::min(band.back(), s.height() - 5);
  for (int r = std::max(band.front(), s.height() / 10); r <= last; ++r)
    if (s.field_of(r) == 0 &&
        (!grid || (std::ranges::binary_search(band, r) && !s.bent_row[static_cast<std::size_t>(r)])))
      rows.push_back(r);
  return rows;
}

}  // namespace

PictureToneMeter::PictureToneMeter(const PictureSetup& s) : setup_(s), of_frames_(!s.rows_alike()) {
  constexpr std::size_t least_rows = 48, least_frames = 8;
  constexpr int least_px = 128, most_rows_of_field = 300;
  if (of_frames_ && (!s.still || s.mean_of < least_frames)) {
    why_ = s.still ? "no test picture is seen, and of another too few frames are like the first: send a flat "
                     "field or colour bars, and take ten frames or more"
                   : "the picture moves, and fine detail looks the same: hold the camera still, or send a "
                     "flat field or colour bars";
  } else if (s.px_per_us_u > 0) {
    why_ = "the picture was scaled, so when its pixels were sampled is not known; take 720 or 704 of them";
  } else if (s.height() / s.fields > most_rows_of_field) {
    why_ = "the frames are not made of fields as scanned; take them interlaced, as they came";
  }
  if (!why_.empty()) return;
  rows_ = rows_of(s);
  const Columns c = whole_columns(s, rows_);
  if (rows_.size() < least_rows || c.last - c.first < least_px) {
    why_ = "too few lines of it are alike and neither clipped nor crushed; send a flat field";
    return;
  }
  first_ = c.first;
  timing_.rate_hz = 1e6 * s.px_per_us;
  timing_.lines = s.format.lines;
  timing_.line_period_samples = std::round(timing_.rate_hz * s.line_s);  // 864 or 858 [BT.601]
  const auto n = static_cast<std::size_t>(c.last - c.first);
  shape_ = std::make_unique<FlatSpectrum>(n, timing_.rate_hz, 0, timing_.rate_hz / 2);
  search_ = std::make_unique<ToneSearch>(timing_);
  mean_.resize(n);
  row_.resize(n);
}

LineView PictureToneMeter::line_view(const PictureView& view, int row) const {
  LineView v;
  v.setup = &timing_;
  v.index = view.frame->number * static_cast<std::uint64_t>(timing_.lines) +
            static_cast<std::uint64_t>(setup_.row_in_field(row));
  v.line_period_samples = timing_.line_period_samples;
  v.first = static_cast<std::int64_t>(v.index) * static_cast<std::int64_t>(timing_.line_period_samples);
  v.t0 = static_cast<double>(v.first);
  return v;
}

void PictureToneMeter::take_mean_of_rows(const PictureView& view) {
  std::ranges::fill(mean_, 0.0F);
  for (const int r : rows_)
    for (std::size_t i = 0; i < mean_.size(); ++i) mean_[i] += static_cast<float>(view.row(r)[first_ + i]);
  for (float& v : mean_) v /= static_cast<float>(rows_.size());
}

void PictureToneMeter::push(const PictureView& view) {
  if (search_ == nullptr || view.frame->corrupt || !search_->wants(line_view(view, rows_.front()))) return;
  if (!of_frames_) take_mean_of_rows(view);
  for (const int r : rows_) {
    if (of_frames_)
      std::copy_n(setup_.mean.begin() + static_cast<std::ptrdiff_t>(r) * setup_.width() + first_,
                  mean_.size(), mean_.begin());
    for (std::size_t i = 0; i < row_.size(); ++i)
      row_[i] = static_cast<float>(view.row(r)[first_ + i]) - mean_[i];
    shape_->take_out_fit(row_);
    search_->add(*shape_, line_view(view, r).first, row_);
  }
}

// Of a tone's amplitude, what stands in the mean that is taken out: of its turns from row to row, or from
// frame to frame.
double PictureToneMeter::in_mean(double hz, bool of_frames) const {
  const int rows = rows_.back() / setup_.fields - rows_.front() / setup_.fields + 1;
  const double n = of_frames ? static_cast<double>(setup_.mean_of) : rows;
  const double samples = timing_.line_period_samples * (of_frames ? setup_.format.lines : 1);
  const double turn = std::numbers::pi * std::remainder(hz * samples / timing_.rate_hz, 1.0);
  return std::abs(turn) < 1e-9 ? 1.0 : std::abs(std::sin(n * turn) / (n * std::sin(turn)));
}

void PictureToneMeter::found(Readings& out) const {
  // The source's line rate, which the pixel clock follows, and so the scale: a crystal's tolerance.
  constexpr double crystal = 5e-5;
  const ToneSearch::Found& t = *tone_;
  const double u = std::hypot(t.pp_u, 2 * by_rounding(amplitude(), rest()), 0.005 * t.pp_mv);
  out.push_back(number_reading("picture.noise.periodic.frequency", t.hz, std::hypot(t.hz_u, crystal * t.hz),
                               "by 13.5 MHz for the pixels [BT.601]"));
  out.push_back(
      number_reading("picture.noise.periodic.level", t.pp_mv / codes_per_percent, u / codes_per_percent,
                     t.wanders ? "its frequency or level wanders; as the grabber's filter lets it through"
                               : "as the grabber's filter lets it through"));
}

bool PictureToneMeter::stands() const {
  constexpr double most = 0.5;
  return tone_ && in_mean(tone_->hz, true) > most;
}

void PictureToneMeter::search(bool moves, bool pulled) {
  if (why_.empty() && pulled && setup_.pattern.kind == PatternKind::Crosshatch)
    why_ =
        "lines are pulled aside, and the uprights of a grid then come near to a tone; send a flat field or "
        "colour bars";
  if (why_.empty() && of_frames_ && moves)
    why_ =
        "the camera sways, and fine detail looks the same: hold it still, or send a flat field or colour "
        "bars";
  if (!why_.empty()) return;
  result_ = search_->result(std::array<const FlatSpectrum*, 1>{shape_.get()}, false);
  if (!result_.looked) why_ = "too few frames; take ten or more";
  // Light that changes over a live picture comes near enough to a tone that wanders.
  if (!result_.tone || (of_frames_ && result_.tone->wanders)) return;
  // Rows take the square of that with them. A mean of frames stands in each frame, and adds or not by the
  // phase.
  constexpr double most_of_rows = 0.77, most_of_frames = 0.3;
  const double mean = in_mean(result_.tone->hz, of_frames_);
  if (mean > (of_frames_ ? most_of_frames : most_of_rows)) return;
  const double lost = of_frames_ ? 0 : mean * mean;
  rest_ = {result_.tone->rest_mv * result_.tone->rest_mv, result_.tone->samples, 0};
  if (!result_.tone->wanders && !of_frames_) {
    // Edges that jitter are no noise.
    std::vector<ToneSearch::Part> level;
    const LevelParts parts = level_parts(setup_);
    for (const auto* p : {&parts.grey, &parts.coloured})
      for (const LevelParts::Columns c : *p)
        if (c.from >= first_ && c.to <= first_ + static_cast<int>(row_.size()))
          level.push_back(
              {static_cast<std::size_t>(c.from - first_), static_cast<std::size_t>(c.to - first_)});
    if (!level.empty()) rest_ = search_->rest_on(level, result_.tone->hz);
  }
  tone_ = result_.tone;  // the search is told codes for mV
  tone_->pp_mv /= 1 - lost;
  tone_->pp_u = std::hypot(tone_->pp_u / (1 - lost), (of_frames_ ? mean : 0.3 * lost) * tone_->pp_mv);
}

double PictureToneMeter::radians_per_px() const {
  return tone_ ? 2 * std::numbers::pi * tone_->hz / timing_.rate_hz : 0;
}

double PictureToneMeter::rest() const {
  return tone_ ? std::sqrt(std::max(0.0, rest_.variance - 1.0 / 12)) : 0;
}

std::optional<PictureToneMeter::Rest> PictureToneMeter::rest_variance() const {
  constexpr double least_share = 0.02;
  if (!tone_) return std::nullopt;
  // The mean that was taken out held its share of white noise, and so did each row's level and slope.
  const auto averaged = static_cast<double>(of_frames_ ? setup_.mean_of : rows_.size());
  const double kept = (1 - 1 / averaged) * (1 - 2 / static_cast<double>(row_.size()));
  // Rows that stand beside the others, torn, have a level of their own besides: or noise is slow.
  const double of_means = std::max(0.0, rest_.of_means - 0.02 * rest_.variance);
  const double rest = (rest_.variance - of_means) / kept;
  const double of_tone = amplitude() * amplitude() / 2;
  if (of_tone < least_share * rest) return std::nullopt;
  // Other tones, or one that does not keep its frequency or amplitude, stand in the rest and not in the
  // spectrum's floor, which tells noise less sharply.
  const double floor = result_.floor_mv * result_.floor_mv / kept;
  constexpr double alike = 1.03, u_of_floor = 0.06;
  if (rest > alike * floor) return Rest{floor, u_of_floor * floor, tone_->wanders};
  // What a tone that is not quite steady leaves, and the count of samples, of which a narrow band's hang
  // together.
  constexpr double left = 0.003, hang_together = 4;
  return Rest{rest,
              std::hypot(left * of_tone, of_means, 2 * rest * std::sqrt(2 * hang_together / rest_.samples)),
              tone_->wanders};
}

void PictureToneMeter::finish(bool rolling, double noise, Readings& out) {
  if (why_.empty() && rolling) why_ = "the picture rolls, so what stands in it cannot be taken out";
  if (!why_.empty()) {
    for (const char* id :
         {"picture.noise.periodic.frequency", "picture.noise.periodic.level", "picture.noise.periodic.from"})
      out.push_back(unmeasurable(id, why_));
    return;
  }
  const ToneSearch::Result& r = result_;
  if (tone_) {
    found(out);
  } else if (of_frames_) {
    const std::string none =
        r.tone ? fmt::format(
                     "something like a tone is seen near {:.0f} kHz, which comes and goes as light "
                     "that changes does too: send a flat field or colour bars to be sure",
                     r.tone->hz * 1e-3)
               : std::string(
                     "no tone found; near the multiples of the frame rate, one frequency in five, it would "
                     "stand in this picture as if it were part of it: send a flat field or colour bars to be "
                     "sure");
    for (const char* id : {"picture.noise.periodic.frequency", "picture.noise.periodic.level"})
      out.push_back(unmeasurable(id, none));
  } else {
    const double least = (r.least_pp_mv + 4 * rounding_rms(noise)) / codes_per_percent;
    out.push_back(unmeasurable("picture.noise.periodic.frequency", "no tone found, so it has no frequency"));
    out.push_back(unmeasurable(
        "picture.noise.periodic.level",
        fmt::format(
            "none found from {:.0f} kHz to {:.1f} MHz, the subcarrier and what is locked to the lines "
            "left out: less than {:.2g} % of white peak to peak",
            r.from_hz * 1e-3, r.to_hz * 1e-6, least),
        least));
  }
  out.push_back(number_reading("picture.noise.periodic.from", r.from_hz, std::nullopt));
}

}  // namespace linebench::measure
