#include "picture_uprights.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace linebench::measure {
namespace {

constexpr int most_reach_px = 40;
// Edges smeared by what moves them are enough to put the rows over each other by.
constexpr double rough_energy = 40;

// A row of the mean over frames, or of one frame, as codes.
const std::uint8_t* codes_of(const std::uint8_t* row, std::vector<std::uint8_t>&) { return row; }
const std::uint8_t* codes_of(const float* row, std::vector<std::uint8_t>& codes) {
  for (std::size_t x = 0; x < codes.size(); ++x)
    codes[x] = static_cast<std::uint8_t>(std::clamp(std::lround(row[x]), 0L, 255L));
  return codes.data();
}

// A band's rows in a row that agree best: where part of the picture is pulled sideways the plain mean shows
// every edge twice.
template <typename RowOf>
std::vector<double> agreeing_line(const std::vector<int>& rows, std::size_t together, std::size_t w,
                                  RowOf row_of) {
  std::vector<double> line;
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t from = 0; from + together <= rows.size(); from += together) {
    std::vector<double> sum(w, 0), squares(w, 0);
    for (std::size_t k = from; k < from + together; ++k) {
      const auto* row = row_of(rows[k]);
      for (std::size_t x = 0; x < w; ++x) {
        const auto v = static_cast<double>(row[x]);
        sum[x] += v;
        squares[x] += v * v;
      }
    }
    const auto n = static_cast<double>(together);
    double spread = 0;
    for (std::size_t x = 0; x < w; ++x) spread += squares[x] - sum[x] * sum[x] / n;
    if (spread >= least) continue;
    least = spread;
    line.assign(w, 0);
    for (std::size_t x = 0; x < w; ++x) line[x] = sum[x] / n;
  }
  return line;
}

// The mean of rows put over each other by a rough line; empty where few of them fit it.
template <typename RowOf>
std::vector<double> put_together(const std::vector<int>& rows, const ShiftReference& rough, double noise,
                                 std::size_t w, RowOf row_of) {
  std::vector<double> sum(w, 0);
  std::vector<std::uint8_t> codes(w);
  double n = 0;
  for (const int r : rows) {
    const auto* row = row_of(r);
    const RowShift d = rough.find(codes_of(row, codes), noise);
    if (!d.valid) continue;
    n += 1;
    const auto whole = static_cast<int>(std::floor(d.px));
    const double t = d.px - whole;
    const auto p = [&](int k) { return static_cast<double>(row[std::clamp(k, 0, static_cast<int>(w) - 1)]); };
    for (int x = 0; x < static_cast<int>(w); ++x) {
      const int i = x + whole;
      const double a = p(i - 1), b = p(i), c = p(i + 1), e = p(i + 2);
      sum[static_cast<std::size_t>(x)] +=
          b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - e + t * (3 * (b - c) + e - a)));
    }
  }
  if (n * 4 < static_cast<double>(rows.size())) return {};
  for (double& v : sum) v /= n;
  return sum;
}

// Distance at which a line comes again: a grid moved by it looks as it did. 0: it does not, up to the most.
int period_of(const std::vector<double>& y, int first, int last, int most) {
  constexpr int least = 8;
  std::vector<double> differ(static_cast<std::size_t>(std::max(0, most) + 1), 0);
  for (int lag = least; lag <= most; ++lag)
    for (int x = first; x + most < last; ++x)
      differ[static_cast<std::size_t>(lag)] +=
          std::pow(y[static_cast<std::size_t>(x + lag)] - y[static_cast<std::size_t>(x)], 2);
  const double alike = 0.1 * *std::ranges::max_element(differ);
  for (int lag = least + 1; lag < most; ++lag) {
    const double* d = &differ[static_cast<std::size_t>(lag)];
    if (*d < alike && *d <= d[-1] && *d <= d[1]) return lag;
  }
  return 0;
}

}  // namespace

UprightLines::UprightLines(const PictureSetup& s) : setup_(s) {
  const auto h = static_cast<std::size_t>(s.height());
  line_of_row_.assign(h, -1);
  at_times_.assign(h, false);
  // Blanking must not come in from the side; of a small picture enough must be left.
  reach_ = std::min(most_reach_px, s.width() / 8);
  first_ = std::max(s.first_col, s.patterned() ? reach_ : reach_ / 2);
  last_ = s.width() - first_;
  if (s.patterned())
    each_band_its_own();
  else
    each_row_its_own();
}

void UprightLines::each_band_its_own() {
  const PictureSetup& s = setup_;
  const auto w = static_cast<std::size_t>(s.width());
  const auto row_of = [&](int r) { return s.mean.data() + static_cast<std::size_t>(r) * w; };
  for (std::size_t b = 0; b < s.bands.size(); ++b) {
    const std::vector<int>& rows = s.bands[b].rows;
    const std::size_t together = std::min<std::size_t>(24, rows.size());
    const Line rough = line_of(agreeing_line(rows, together, w, row_of),
                               s.mean_noise / std::sqrt(static_cast<double>(together)));
    std::vector<double> y;
    if (rough.reference->usable(s.noise, rough_energy))
      y = put_together(rows, *rough.reference, s.mean_noise, w, row_of);
    lines_.push_back(
        line_of(y.empty() ? s.bands[b].y : y, s.mean_noise / std::sqrt(static_cast<double>(rows.size()))));
    for (const int r : rows) line_of_row_[static_cast<std::size_t>(r)] = static_cast<int>(b);
  }
}

UprightLines::Line UprightLines::line_of(std::vector<double> y, double noise) const {
  const int period = period_of(y, first_, last_, 2 * reach_);
  const int reach = period > 0 ? std::min(reach_, (period - 1) / 2) : reach_;
  auto reference = std::make_unique<ShiftReference>(y, first_, last_, reach, noise);
  return {std::move(y), std::move(reference), period};
}

// Enough of them, spread over the picture.
void UprightLines::each_row_its_own() {
  reach_ /= 2;
  const int every = std::max(1, setup_.height() / 192) | 1;
  std::vector<double> line(static_cast<std::size_t>(setup_.width()));
  for (int r = 4; r < setup_.height() - 4; r += every) {
    const float* from = setup_.mean.data() + static_cast<std::size_t>(r) * line.size();
    std::copy(from, from + line.size(), line.begin());
    Line own = line_of(line, setup_.mean_noise);
    if (!own.reference->usable(setup_.noise)) continue;
    line_of_row_[static_cast<std::size_t>(r)] = static_cast<int>(lines_.size());
    lines_.push_back(std::move(own));
  }
}

void UprightLines::meet(const PictureView& first) {
  if (!setup_.patterned()) return;
  sharpen(first);
  adopt(first);
}

// Variance of the rows' places in one frame by a line, px^2; nothing where few of them show it.
std::optional<double> UprightLines::spread(const PictureView& first, std::size_t band,
                                           const ShiftReference& line) const {
  const std::vector<int>& rows = setup_.bands[band].rows;
  if (!line.usable(setup_.noise, rough_energy)) return std::nullopt;
  double n = 0, sum = 0, squares = 0;
  for (const int r : rows) {
    const RowShift s = line.find(first.row(r), setup_.noise);
    if (!s.valid) continue;
    n += 1, sum += s.px, squares += s.px * s.px;
  }
  if (n < 0.8 * static_cast<double>(rows.size())) return std::nullopt;
  return squares / n - sum / n * (sum / n);
}

// Rows put together by a subcarrier left at edges, each in its own phase, come to show that instead of the
// edges, and are found further apart by it than by the mean; those that do stand apart are so by either.
bool UprightLines::shows_edges(const PictureView& first, std::size_t band,
                               const ShiftReference& sharp) const {
  const auto by_mean = spread(first, band, *lines_[band].reference);
  const auto by_sharp = spread(first, band, sharp);
  return !by_mean || !by_sharp || *by_sharp < 2 * *by_mean + 0.01;
}

void UprightLines::sharpen(const PictureView& first) {
  const auto w = static_cast<std::size_t>(setup_.width());
  const auto row_of = [&](int r) { return first.row(r); };
  for (std::size_t b = 0; b < lines_.size(); ++b) {
    const std::vector<int>& rows = setup_.bands[b].rows;
    const std::size_t together = std::min<std::size_t>(24, rows.size());
    Line line = line_of(agreeing_line(rows, together, w, row_of),
                        setup_.noise / std::sqrt(static_cast<double>(together)));
    for (int round = 0; round < 2; ++round) {
      if (!line.reference->usable(setup_.noise, rough_energy)) break;
      std::vector<double> y = put_together(rows, *line.reference, setup_.noise, w, row_of);
      if (y.empty()) break;
      line = line_of(std::move(y), setup_.noise / std::sqrt(static_cast<double>(rows.size())));
    }
    // The mean over frames is quieter where it is as sharp.
    if (line.reference->energy() > 1.15 * lines_[b].reference->energy() &&
        shows_edges(first, b, *line.reference))
      lines_[b] = std::move(line);
  }
}

// Bands that show the commonest line, torn off it: a grid moved by some px looks like another picture. So do
// rows of no band, each pulled elsewhere.
void UprightLines::adopt(const PictureView& first) {
  const auto usable = [&](const Line& l) { return l.reference->usable(setup_.noise); };
  const auto common = std::ranges::find_if(lines_, usable);
  if (common == lines_.end()) return lines_.clear();
  const int line = static_cast<int>(common - lines_.begin());
  const auto shows_it = [&](int r) { return common->reference->find(first.row(r), setup_.noise).sure; };
  std::vector<int> becomes(lines_.size(), -1);
  for (std::size_t b = 0; b < lines_.size(); ++b) {
    const std::vector<int>& rows = setup_.bands[b].rows;
    if (usable(lines_[b])) becomes[b] = static_cast<int>(b);
    const bool known = becomes[b] == line || !usable(lines_[b]);
    if (!known && 2 * std::ranges::count_if(rows, shows_it) > static_cast<std::ptrdiff_t>(rows.size()))
      becomes[b] = line;
  }
  for (std::size_t r = 0; r < line_of_row_.size(); ++r) {
    int& l = line_of_row_[r];
    if (l >= 0) l = becomes[static_cast<std::size_t>(l)];
    // Where a grid's level lines are, its uprights come should it roll.
    const bool may = setup_.band_of_row[r] < 0 || setup_.pattern.kind == PatternKind::Crosshatch;
    at_times_[r] = l < 0 && may && setup_.rows_alike();
    if (at_times_[r]) l = line;
  }
}

int UprightLines::period() const {
  int most = 0;
  for (const Line& l : lines_) most = std::max(most, l.period);
  return most;
}

const ShiftReference* UprightLines::of(int row) const {
  const int l = line_of_row_[static_cast<std::size_t>(row)];
  return l < 0 ? nullptr : lines_[static_cast<std::size_t>(l)].reference.get();
}

}  // namespace linebench::measure
