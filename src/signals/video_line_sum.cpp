#include "video_line_sum.hpp"

#include <cmath>
#include <numbers>

namespace linebench::signals {

LineSum::LineSum(const ShapeBank& bank, std::int64_t margin, std::int64_t longest_line)
    : rate_(bank.sample_rate_hz()),
      margin_(margin),
      table_length_(static_cast<std::size_t>(2 * margin + longest_line + 2)) {}

int LineSum::carrier(double hz) {
  const double turns = hz / rate_;
  for (std::size_t i = 0; i < rotations_.size(); ++i) {
    if (rotations_[i].turns_per_sample == turns) return static_cast<int>(i);
  }
  Rotation r{turns, std::vector<float>(table_length_), std::vector<float>(table_length_)};
  for (std::size_t n = 0; n < table_length_; ++n) {
    const auto v = std::polar(1.0, 2 * std::numbers::pi * std::fmod(turns * static_cast<double>(n), 1.0));
    r.re[n] = static_cast<float>(v.real());
    r.im[n] = static_cast<float>(v.imag());
  }
  rotations_.push_back(std::move(r));
  return static_cast<int>(rotations_.size()) - 1;
}

void LineSum::make_room(std::int64_t to) {
  if (head_ > table_length_) {  // what was taken goes now and then, so that the stretch stays short
    samples_.erase(samples_.begin(), samples_.begin() + static_cast<std::ptrdiff_t>(head_));
    head_ = 0;
  }
  const auto needed = head_ + static_cast<std::size_t>(to - begin_);
  if (samples_.size() < needed) samples_.resize(needed, 0.0F);
}

void LineSum::take(std::span<float> out) {
  std::copy_n(samples_.begin() + static_cast<std::ptrdiff_t>(head_), out.size(), out.begin());
  head_ += out.size();
  begin_ += static_cast<std::int64_t>(out.size());
}

void LineSum::drop_before(std::int64_t sample) {
  if (sample <= begin_) return;
  head_ += static_cast<std::size_t>(sample - begin_);
  begin_ = sample;
}

void LineSum::add_line(std::span<const PlacedEvent> events, std::int64_t whole, double fraction,
                       double subcarrier_turns) {
  table_from_ = whole - margin_;
  make_room(table_from_ + static_cast<std::int64_t>(table_length_));
  levels_.clear();
  for (const PlacedEvent& e : events) {
    const double at =
        fraction + e.at;  // from sample `whole`, so that no digits are lost late in a long signal
    if (e.carrier < 0) {
      add_real(e, at);
      continue;
    }
    // Phase at entry 0 of the rotation table: sample table_from_ lies margin + fraction before 0H.
    const double per_sample = rotations_[static_cast<std::size_t>(e.carrier)].turns_per_sample;
    const double before = static_cast<double>(margin_) + fraction;
    const double turns =
        (e.subcarrier ? subcarrier_turns - per_sample * before : -per_sample * (before + e.origin));
    add_carried(e, at, e.amplitude * std::polar(1.0, 2 * std::numbers::pi * std::fmod(turns, 1.0)));
  }
  fill_levels();
}

void LineSum::add_real(const PlacedEvent& e, double at) {
  const ShapeTable::Place p = e.table->place(at);
  const auto n = static_cast<std::int64_t>(e.table->taps());
  const std::int64_t first = table_from_ + margin_ + p.first;
  float* out = samples_.data() + head_ + (first - begin_);
  const auto amplitude = static_cast<float>(e.amplitude.real());
  const float high = amplitude * p.weight;
  const float low = amplitude - high;
  for (std::int64_t i = 0; i < n; ++i) out[i] += low * p.low[i] + high * p.high[i];
  if (e.shape == ShapeKind::Step) levels_.push_back({first + n, -1, amplitude, 0});
  if (e.shape == ShapeKind::Slope) {
    const double since = static_cast<double>(p.first + n) - at;
    levels_.push_back({first + n, -1, static_cast<float>(e.amplitude.real() * since), amplitude});
  }
}

void LineSum::add_carried(const PlacedEvent& e, double at, std::complex<double> turned) {
  const ShapeTable::Place p = e.table->place(at);
  const auto n = static_cast<std::int64_t>(e.table->taps());
  const std::int64_t in_table = margin_ + p.first;
  const std::int64_t first = table_from_ + in_table;
  float* out = samples_.data() + head_ + (first - begin_);
  const Rotation& r = rotations_[static_cast<std::size_t>(e.carrier)];
  const float* c = r.re.data() + in_table;
  const float* s = r.im.data() + in_table;
  const auto ar = static_cast<float>(turned.real());
  const auto ai = static_cast<float>(turned.imag());
  const float w = p.weight;
  for (std::int64_t i = 0; i < n; ++i) {
    const float zr = ar * c[i] - ai * s[i];
    const float zi = ar * s[i] + ai * c[i];
    const float gr = p.low[i] + w * (p.high[i] - p.low[i]);
    const float gi = p.low_im[i] + w * (p.high_im[i] - p.low_im[i]);
    out[i] += zr * gi + zi * gr;
  }
  if (e.shape == ShapeKind::Step) {
    const auto end = turned * e.table->end_re();
    levels_.push_back(
        {first + n, e.carrier, {static_cast<float>(end.real()), static_cast<float>(end.imag())}, 0});
  }
}

// Between the ends of its shapes a line is a constant, a straight line or a steady sine: filled in one go
// each.
void LineSum::fill_levels() {
  std::sort(levels_.begin(), levels_.end(), [](const Level& a, const Level& b) {
    return a.carrier != b.carrier ? a.carrier < b.carrier : a.from < b.from;
  });
  std::complex<double> value = 0;
  double slope = 0;
  for (std::size_t i = 0; i < levels_.size(); ++i) {
    const Level& l = levels_[i];
    value += std::complex<double>(l.rise);
    slope += static_cast<double>(l.slope);
    const bool last = i + 1 == levels_.size() || levels_[i + 1].carrier != l.carrier;
    if (last) {  // a line ends as it began: what is left is rounding
      value = 0;
      slope = 0;
      continue;
    }
    const std::int64_t to = levels_[i + 1].from;
    if (l.carrier < 0) {
      fill_real(l.from, to, static_cast<float>(value.real()), static_cast<float>(slope));
      value += slope * static_cast<double>(to - l.from);
    } else {
      fill_carried(l.carrier, l.from, to,
                   {static_cast<float>(value.real()), static_cast<float>(value.imag())});
    }
  }
}

void LineSum::fill_real(std::int64_t from, std::int64_t to, float value, float slope) {
  float* out = samples_.data() + head_ + (from - begin_);
  const std::int64_t n = to - from;
  if (slope != 0) {
    for (std::int64_t i = 0; i < n; ++i) out[i] += value + slope * static_cast<float>(i);
  } else if (std::abs(value) > 1e-9F) {
    for (std::int64_t i = 0; i < n; ++i) out[i] += value;
  }
}

void LineSum::fill_carried(int carrier, std::int64_t from, std::int64_t to, std::complex<float> value) {
  if (std::abs(value.real()) + std::abs(value.imag()) < 1e-9F) return;
  float* out = samples_.data() + head_ + (from - begin_);
  const Rotation& r = rotations_[static_cast<std::size_t>(carrier)];
  const float* c = r.re.data() + (from - table_from_);
  const float* s = r.im.data() + (from - table_from_);
  const float vr = value.real();
  const float vi = value.imag();
  const std::int64_t n = to - from;
  for (std::int64_t i = 0; i < n; ++i) out[i] += vr * s[i] + vi * c[i];
}

}  // namespace linebench::signals
