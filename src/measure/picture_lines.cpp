#include "picture_lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/dsp/quantile.hpp>
#include <linebench/measure/statistics.hpp>

#include "picture_bend.hpp"

namespace linebench::measure {
namespace {

constexpr double least_placed_px = 0.3;  // of a picture that is not known, k=2 of its lines' jitter
constexpr double least_by_tone = 1e-3;   // px^2, beyond which what a tone does is not told from jitter
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

}  // namespace

double PictureLineMeter::middle_of(const std::vector<double>& shift) {
  std::vector<double> px;
  std::ranges::copy_if(shift, std::back_inserter(px), [](double v) { return std::isfinite(v); });
  return px.empty() ? 0 : dsp::median(std::move(px));
}

// Rms over the frames, px.
double PictureLineMeter::all_move() const {
  const auto n = static_cast<double>(std::max<std::uint64_t>(1, seen_frames_));
  return std::sqrt(std::max(0.0, common_squares_ / n - common_sum_ / n * (common_sum_ / n)));
}

void PictureLineMeter::set_tone(double amplitude, double radians_per_px, bool stands) {
  tone_stands_ = stands;
  if (lines_.empty() || !(amplitude > 0)) return;
  double sum = 0, n = 0;
  for (int r = 0; r < setup_.height(); ++r) {
    const ShiftReference* line = lines_.of(r);
    if (line == nullptr) continue;
    sum += line->by_tone(radians_per_px);
    n += 1;
  }
  by_tone_ = amplitude * amplitude * sum / std::max(1.0, n);
}

// Rows of a test picture that something lies on, as specks, are not where their edges seem to be.
void PictureLineMeter::leave_out(const std::vector<double>& rest, std::vector<double>& shift) {
  std::vector<double> known;
  for (const double v : rest)
    if (std::isfinite(v)) known.push_back(v);
  if (known.empty()) return;
  const double most = 3 * dsp::median(std::move(known)) + 2;
  for (std::size_t r = 0; r < shift.size(); ++r)
    if (rest[r] > most) shift[r] = nan;
}

// Variance of a row's shift by what stands at edges and is no noise of the level parts: the subcarrier that a
// decoder leaves there, each edge's in its own phase.
double PictureLineMeter::beyond_noise(double square_noise) const {
  if (disagree_n_ < 100) return by_tone_;
  const double noise = square_noise * disagree_noise_ / disagree_n_;
  const double beyond = disagree_ / disagree_n_ - noise;
  return std::max(by_tone_, beyond > 0.25 * noise + 2.5e-5 ? beyond : 0);
}

PictureLineMeter::PictureLineMeter(const PictureSetup& s)
    : setup_(s), lines_(s), tear_(s.fields), mains_{Unbent(s, 50), Unbent(s, 60)} {
  for (auto* v : {&count_, &noise_}) v->assign(static_cast<std::size_t>(s.height()), 0);
  for (Sums* sums : {&found_, &alone_, &mains_[0].rows, &mains_[1].rows}) {
    sums->px.assign(static_cast<std::size_t>(s.height()), 0);
    sums->squares = sums->px;
  }
}

void PictureLineMeter::push(const PictureView& view) {
  ++frames_;
  if (frames_ == 1) lines_.meet(view);
  if (lines_.empty()) return;
  // Beyond two hundred frames every second says as much.
  if (view.index > 200 && view.index % 2 != 0) return;
  std::vector<double> shift(static_cast<std::size_t>(setup_.height()), nan);
  std::vector<double> rest = shift, variance = shift;
  lost_.resize(shift.size(), 0);
  for (std::size_t r = 0; r < shift.size(); ++r) {
    const ShiftReference* line = lines_.of(static_cast<int>(r));
    if (line == nullptr) continue;
    // A row that something crosses is crossed for long: not searched all over again each time.
    const bool far = lost_[r] == 0 || (view.index + r) % 8 == 0;
    const RowShift s = line->find(view.row(static_cast<int>(r)), setup_.noise, far);
    const bool at_times = lines_.at_times(static_cast<int>(r));
    const bool valid = s.valid && (s.sure || !at_times);
    lost_[r] = valid ? 0 : 1;
    tried_ += valid || !at_times ? 1 : 0;
    if (!valid) continue;
    ++seen_;
    shift[r] = s.px;
    rest[r] = s.rest;
    variance[r] = s.variance;
    constexpr std::size_t every = 8;  // lines of a field
    if (!setup_.rows_alike() || (view.index + r / 2) % every != 0) continue;
    if (const auto v = line->disagreement(view.row(static_cast<int>(r)), s.px)) {
      disagree_ += *v;
      disagree_noise_ += s.variance;
      disagree_n_ += 1;
    }
  }
  if (setup_.rows_alike()) leave_out(rest, shift);
  for (std::size_t r = 0; r < shift.size(); ++r) {
    if (!std::isfinite(shift[r])) continue;
    count_[r] += 1;
    noise_[r] += variance[r];
  }
  std::vector<double> straight = setup_.patterned() ? tear_.push(shift) : shift;
  const double common = middle_of(straight);
  common_sum_ += common;
  common_squares_ += common * common;
  ++seen_frames_;
  // What all lines of a live picture do alike the camera does.
  for (double& px : straight) px -= setup_.patterned() ? 0.0 : common;
  add(straight, found_);
  if (setup_.rows_alike()) {
    for (Unbent& u : mains_) add(u.bend.push(straight), u.rows);
    for (double& px : straight) px -= common;
    add(straight, alone_);
  }
  if (first_frame_.empty()) first_frame_ = std::move(shift);
}

void PictureLineMeter::add(const std::vector<double>& shift, Sums& sums) const {
  for (std::size_t r = 0; r < shift.size(); ++r) {
    if (!std::isfinite(shift[r])) continue;
    sums.px[r] += shift[r];
    sums.squares[r] += shift[r] * shift[r];
  }
}

const PictureLineMeter::Unbent& PictureLineMeter::likelier() const {
  const Unbent& own = mains_[setup_.format.lines == 525 ? 1 : 0];
  const Unbent& other = mains_[setup_.format.lines == 525 ? 0 : 1];
  return other.bend.better_than(own.bend) ? other : own;
}

bool PictureLineMeter::pulled() const {
  constexpr double least_px = 0.1;
  return likelier().bend.wanders() || tear_.standing_at().has_value() || all_move() > least_px;
}

bool PictureLineMeter::grid_stands() const {
  constexpr int edge = 8;  // rows of blanking stand as well
  if (seen_frames_ < 4 || setup_.pattern.kind != PatternKind::Crosshatch) return false;
  // Rows never found to show uprights; where a grid rolls its level lines leave each row now and then.
  constexpr double seldom = 0.2, never = 0.02;
  constexpr std::uint64_t enough = 12;  // frames to go on from a row
  const auto stands = [&](int r) {
    const double found = count_[static_cast<std::size_t>(r)] / static_cast<double>(seen_frames_);
    if (lines_.at_times(r)) return found < seldom;
    return lines_.of(r) != nullptr && seen_frames_ >= enough && found < never;
  };
  int level = 0;
  bool before = true;
  for (int r = edge; r + edge < setup_.height(); ++r) {
    const bool now = stands(r);
    level += now && !before ? 1 : 0;
    before = now;
  }
  return level >= 4;
}

// Whether nearly all lines stand under those before them. A card that leans is banded like a test picture,
// and each of its lines stands elsewhere by itself; torn or bent, a test picture's do so at a few places
// only.
bool PictureLineMeter::upright() const {
  if (setup_.rows_alike()) return true;
  const auto fields = static_cast<std::size_t>(setup_.fields);
  std::size_t all = 0, under = 0;
  for (std::size_t r = 0; r + fields < count_.size(); ++r) {
    if (count_[r] < 1 || count_[r + fields] < 1) continue;
    const double d = found_.px[r] / count_[r] - found_.px[r + fields] / count_[r + fields];
    ++all;
    under += std::abs(d) < 0.3 ? 1 : 0;
  }
  return 10 * under > 9 * all;
}

void PictureLineMeter::finish(bool rolling, double noise, Readings& out, PictureTraces* traces) const {
  const auto refuse = [&](std::string_view id, const std::string& why) {
    out.push_back(unmeasurable(id, why));
  };
  std::string why;
  if (rolling)
    why = "the picture rolls, so lines do not stay where they are compared";
  else if (lines_.empty() || tried_ == 0)
    why = "the picture has no upright edges to see a shift by; send bars or a crosshatch";
  else if (by_tone_ > 0 &&
           (seen_ < tried_ / 2 || (by_tone_ > least_by_tone && (tone_stands_ || !setup_.patterned()))))
    why = "a steady tone hides where lines stand; find its source first";
  else if (seen_ < tried_ / 2)
    why =
        "lines cannot be compared: the picture moves, lines are pulled far aside, or something lies over "
        "its edges (dots of subcarrier, stripes); send a crosshatch, or hold the camera still";
  else if (!setup_.patterned() && all_move() > 0.5)
    why = "the whole picture moves sideways: hold the camera still, or send bars or a crosshatch";
  else if (setup_.patterned() && !upright())
    why = "each line of this picture stands elsewhere by itself; send bars or a crosshatch";
  if (!why.empty()) {
    for (const char* id : {"picture.jitter", "picture.tear", "picture.flagging"}) refuse(id, why);
    return;
  }
  const auto h = static_cast<std::size_t>(setup_.height());
  const bool patterned = setup_.patterned();
  const double n2 = noise * noise + 1.0 / 12;
  const std::size_t top = patterned ? h / 7 : 0;
  double place = 0, place_n = 0;
  for (std::size_t r = top; r < h; ++r) {
    place += found_.px[r];
    place_n += count_[r];
  }
  place /= std::max(1.0, place_n);
  const HumBend& bend = likelier().bend;
  const HumBend& other_bend = (&mains_[0] == &likelier() ? mains_[1] : mains_[0]).bend;
  const bool bent = bend.found();
  // A tear that wanders goes over the top in some frames, and moves the others as a whole against them.
  const bool torn = patterned && tear_.standing_at().has_value();
  const auto& [sum, squares] = bent ? likelier().rows : torn ? alone_ : found_;
  const double as_one = bent || torn ? 0.0 : all_move();
  // Jitter is each line's movement about its own mean place, and where the line's proper place is known also
  // what is left from line to line of the mean places: twice the median square of their steps, which neither
  // tearing nor a bend moves. Noise gives its share to both.
  constexpr std::size_t groups = 16;
  std::array<double, groups> square{}, number{};
  double by_noise = 0, by_noise_n = 0;
  const double least_count = std::clamp(static_cast<double>(seen_frames_), 2.0, 3.0);
  // A tear that wanders over the top pulls its lines in some frames, which is not told from a bend there.
  for (std::size_t r = torn ? h / 8 : 0; r < h; ++r) {
    if (count_[r] < least_count || (bent && !bend.fitted(static_cast<int>(r)))) continue;
    const std::size_t g = (r / 2) % groups;
    const double n = count_[r] - 1;
    square[g] += squares[r] - sum[r] * sum[r] / count_[r] - n2 * noise_[r] * n / count_[r];
    number[g] += n;
    by_noise += n2 * noise_[r] * n / count_[r];
    by_noise_n += n;
  }
  const auto fields = static_cast<std::size_t>(setup_.fields);
  std::vector<double> steps;
  double step_noise = 0;
  for (std::size_t r = 0; patterned && r + fields < h; ++r) {
    if (count_[r] < 1 || count_[r + fields] < 1) continue;
    const double d = sum[r] / count_[r] - sum[r + fields] / count_[r + fields];
    steps.push_back(d * d);
    for (const std::size_t k : {r, r + fields})
      step_noise += noise_[k] / count_[k] * (n2 / count_[k] + standing_noise_ * standing_noise_);
  }
  std::vector<double> each;
  for (std::size_t g = 0; g < groups; ++g)
    if (number[g] > 0) each.push_back(square[g] / number[g]);
  double mean = 0, scatter = 0;
  for (const double v : each) mean += v / static_cast<double>(each.size());
  for (const double v : each) scatter += (v - mean) * (v - mean);
  auto m = static_cast<double>(each.size());
  if (steps.size() > 20) {
    constexpr double median_of_square = 0.4549;  // chi-squared, one degree of freedom
    const double line_to_line =
        dsp::median(steps) / median_of_square / 2 - step_noise / static_cast<double>(steps.size()) / 2;
    // Movement in time leaves its own share in means of few frames.
    const double left =
        m > 0 ? mean * by_noise_n / std::max(1.0, place_n) / std::max(1.0, static_cast<double>(seen_frames_))
              : 0;
    const double standing = line_to_line - left;
    if (m < 4 || standing > 0.25 * mean + 4e-4) {
      each.assign(groups, (m < 4 ? 0.0 : mean) + std::max(0.0, standing));
      const double u = each[0] * std::sqrt(5.4 / static_cast<double>(steps.size()));
      for (std::size_t g = 0; g < groups; ++g) each[g] += (g % 2 == 0 ? u : -u) * 2;
      mean = (m < 4 ? 0.0 : mean) + std::max(0.0, standing);
      scatter = 4 * u * u * groups;
      by_noise_n = std::max(by_noise_n, 31.0);
      m = groups;
    }
  }
  bool placed = true;  // lines are known to be where they were found
  if (m < 4 || by_noise_n < 30) {
    refuse("picture.jitter",
           patterned ? "too few lines" : "too few frames of a picture that stands still; take ten or more");
  } else {
    const double moved = std::max(0.0, mean - tear_.put_back_variance());
    const double beyond = beyond_noise(n2);
    const double jitter = std::sqrt(std::max(0.0, moved - beyond));
    // Noise moves lines by its share at the frequencies of their edges, and is seldom white; a live picture's
    // fine detail meets it where that matters most.
    const double u2 = coverage_factor(m - 1) * std::sqrt(scatter / (m - 1) / m) +
                      (patterned && by_tone_ == 0 ? 0.05 : 0.35) * by_noise / by_noise_n +
                      tear_.put_back_variance();
    // Phases at random may cancel, or add up to three times their mean power, which is spread as an
    // exponential.
    const double u_beyond =
        std::max(std::sqrt(moved) - jitter, jitter - std::sqrt(std::max(0.0, moved - 3 * beyond)));
    // u of a root: by its slope, or the root of u itself close to nothing.
    const double u = std::hypot(
        u_beyond, jitter * jitter > u2 ? u2 / (2 * jitter) : std::sqrt(jitter * jitter + u2) - jitter * 0.5);
    // Of a live picture the lines it is told by are means of such as jitter themselves: softer than they are.
    placed = setup_.rows_alike() || u < least_placed_px;
    const double by_bend =
        bent ? std::sqrt(std::max(0.0, bend.whole_variance() - by_noise / by_noise_n - moved)) : 0;
    const double whole = std::hypot(jitter, by_bend);
    const double own = bent ? jitter / whole : 1;
    // A tear that jitters along may be put back at the wrong row, or pass for a bend.
    constexpr double least_told = 0.1;
    const Reading tear = tear_.reading(frames_);
    const double without = std::sqrt(std::max(0.0, middle_of_rows(n2)));
    if (patterned && tear.measured() && tear.number() > 0 && whole > least_told &&
        std::abs(whole - without) > 0.02 + 0.06 * without)
      out.push_back(unmeasurable(
          "picture.jitter",
          fmt::format("lines are torn as well, from which jitter below {:.2f} px is not told", whole + u),
          whole + u));
    else
      out.push_back(number_reading(
          "picture.jitter", whole, std::hypot(own * u, 0.005, (patterned ? 0.02 : 0.08) * whole),
          bent ? fmt::format("{:.2f} px of it rms are a bend of all lines that goes with {}, as hum on "
                             "sync makes it; {:.2f} px each line's own",
                             by_bend,
                             bend.better_than(other_bend) ? fmt::format("mains of {:.0f} Hz", bend.mains_hz())
                                                          : "the mains",
                             jitter)
          : beyond > 0 ? fmt::format("{} moves the edges of lines by about {:.2f} px, which is taken out",
                                     by_tone_ > 0 ? "a steady tone on the picture"
                                                  : "subcarrier that the decoder leaves at them",
                                     std::sqrt(beyond))
          : patterned  ? ""
                       : "of what moves from frame to frame"));
    if (patterned && out.back().measured() && as_one > std::max(0.1, 0.5 * whole))
      out.back().reason += fmt::format(
          "{}{:.2f} px of it rms are of all lines alike from frame to frame: the picture moves as one, or "
          "tears "
          "at its top",
          out.back().reason.empty() ? "" : "; ", as_one);
  }
  if (!patterned || !placed) {
    const std::string instead =
        !patterned
            ? "a live picture has edges of its own; send bars or a crosshatch"
            : "the picture's edges are too weak for its noise to say where lines stand; send bars or a "
              "crosshatch";
    for (const char* id : {"picture.tear", "picture.flagging"}) refuse(id, instead);
  } else {
    out.push_back(tear_.reading(frames_));
    if (const int period = lines_.period(); period > 0 && out.back().measured() && out.back().number() > 0)
      out.back().reason += fmt::format("; by a grid of {} px: {:.1f} px the other way would look alike",
                                       period, period - out.back().number());
    std::vector<RowPlace> places(h);
    for (std::size_t r = 0; r < h; ++r) {
      if (count_[r] < 1) continue;
      const double mean_place = sum[r] / count_[r];
      places[r] = {mean_place,
                   std::max(0.0, squares[r] / count_[r] - mean_place * mean_place) / count_[r] +
                       n2 * noise_[r] / (count_[r] * count_[r]),
                   true};
    }
    if (const auto flag =
            find_bend(places, setup_.fields, tear_.standing_at(),
                      as_one * as_one / static_cast<double>(std::max<std::uint64_t>(1, seen_frames_))))
      out.push_back(
          number_reading("picture.flagging", flag->px, flag->u, flag->px != 0 ? "+: to the right" : ""));
    else
      refuse("picture.flagging", "the top of the picture does not show the same lines as the rest");
  }
  if (traces != nullptr) {
    traces->row_shift = first_frame_;
    for (double& v : traces->row_shift) v -= place;
  }
}

// Variance of the middle row's place from frame to frame, px^2, which rows that are torn hardly sway; by a
// chi-squared's middle [Wilson-Hilferty].
double PictureLineMeter::middle_of_rows(double n2) const {
  std::vector<double> each;
  double frames = 0;
  const auto& [sum, squares] = found_;
  for (std::size_t r = 0; r < count_.size(); ++r) {
    if (count_[r] < 3) continue;
    const double n = count_[r] - 1;
    each.push_back((squares[r] - sum[r] * sum[r] / count_[r]) / n - n2 * noise_[r] / count_[r]);
    frames += n;
  }
  if (each.empty()) return 0;
  const double n = frames / static_cast<double>(each.size());
  return dsp::median(each) / std::pow(1 - 2 / (9 * n), 3);
}

}  // namespace linebench::measure
