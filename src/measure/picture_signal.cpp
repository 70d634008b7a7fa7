#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/measure/picture_signal.hpp>
#include <numeric>

namespace linebench::measure {
namespace {

constexpr std::size_t every = 8;  // rows looked at

// The commonest code of some values and the share of them within 1 of it.
struct Mode {
  int code = 0;
  double share = 0;
  int low = 255, high = 0;
};
Mode mode_of(const std::vector<std::uint8_t>& values) {
  std::array<std::uint32_t, 256> count{};
  for (const std::uint8_t v : values) ++count[v];
  Mode m;
  for (int c = 0; c < 256; ++c) {
    if (count[static_cast<std::size_t>(c)] == 0) continue;
    m.low = std::min(m.low, c);
    m.high = std::max(m.high, c);
    if (count[static_cast<std::size_t>(c)] > count[static_cast<std::size_t>(m.code)]) m.code = c;
  }
  std::uint32_t near = 0;
  for (int c = std::max(0, m.code - 1); c <= std::min(255, m.code + 1); ++c)
    near += count[static_cast<std::size_t>(c)];
  m.share = values.empty() ? 0 : near / static_cast<double>(values.size());
  return m;
}

std::vector<std::uint8_t> some_rows(const std::vector<std::uint8_t>& plane, std::size_t width) {
  std::vector<std::uint8_t> out;
  for (std::size_t at = 0; at + width <= plane.size(); at += every * width)
    out.insert(out.end(), plane.begin() + static_cast<std::ptrdiff_t>(at),
               plane.begin() + static_cast<std::ptrdiff_t>(at + width));
  return out;
}

double mean_of(const std::vector<std::uint8_t>& v) {
  return v.empty() ? 0 : std::accumulate(v.begin(), v.end(), 0.0) / static_cast<double>(v.size());
}

double mean_square(const std::vector<std::uint8_t>& v) {
  double sum = 0, squares = 0;
  for (const std::uint8_t c : v) {
    sum += c;
    squares += c * c;
  }
  const auto n = static_cast<double>(v.size());
  return n > 0 ? std::max(0.0, squares / n - sum / n * (sum / n)) : 0;
}

}  // namespace

std::string SignalWatch::look(const capture::Frame& frame, const capture::FrameFormat& format) {
  const auto w = static_cast<std::size_t>(format.width);
  const auto step = 2 * w;  // the next row of the same field
  std::swap(rows_, before_);
  rows_.clear();
  for (std::size_t at = 0; at + step + w <= frame.y.size(); at += every * w) {
    for (const std::size_t from : {at, at + step})
      rows_.insert(rows_.end(), frame.y.begin() + static_cast<std::ptrdiff_t>(from),
                   frame.y.begin() + static_cast<std::ptrdiff_t>(from + w));
  }
  const Mode y = mode_of(rows_);
  const Mode cb = mode_of(some_rows(frame.cb, w / 2));
  const Mode cr = mode_of(some_rows(frame.cr, w / 2));
  // A grabber's blue may carry a message; whatever is shown, nearly all of it is one code. A camera before a
  // blue wall has noise and the light's own shading.
  constexpr double nearly_all = 0.85;
  if (cb.code > 165 && y.code < 120 && std::min({y.share, cb.share, cr.share}) > nearly_all)
    return "the whole picture is blue: what a grabber shows when no signal comes in";
  const double square = mean_square(rows_);
  const double mean = mean_of(rows_);
  const bool grey = std::abs(cb.code - 128) < 5 && std::abs(cr.code - 128) < 5;
  black_ = grey && mean < 22 && square < 4 * 4 && y.high - y.low < 10 + 10 * std::sqrt(square);
  bright_ = mean > 35;
  const bool exact = y.low == y.high && cb.low == cb.high && cr.low == cr.high;
  if (exact && y.low < 5 && cb.low < 5) return "all codes are zero: the grabber sends nothing";
  if (exact && y.low > 250 && cb.low > 250) return "all codes are at their end: the grabber sends nothing";
  if (exact && y.low < 20 && std::abs(cb.low - 128) < 3 && std::abs(cr.low - 128) < 3)
    return "black, the same code in every pixel: what a grabber shows when no signal comes in";
  if (exact && uneven_ && !frame.corrupt)
    return "one code in every pixel: what some grabbers show when the signal goes";
  uneven_ = uneven_ || !exact;
  // Snow is new in every frame and every line.
  if (before_.size() != rows_.size() || square < 25 * 25) return {};
  double over_time = 0, over_lines = 0;
  for (std::size_t i = 0; i < rows_.size(); ++i) over_time += std::pow(rows_[i] - before_[i], 2);
  for (std::size_t at = 0; at + 2 * w <= rows_.size(); at += 2 * w)
    for (std::size_t i = at; i < at + w; ++i) over_lines += std::pow(rows_[i] - rows_[i + w], 2);
  const auto n = static_cast<double>(rows_.size());
  const double same = 1 - over_time / n / 2 / square;
  const double alike = 1 - over_lines / (n / 2) / 2 / square;
  if (same < 0.25 && alike < 0.25) return "snow: noise without a picture; no signal, or far too weak a one";
  return {};
}

bool PictureFrames::read_one(capture::Frame& frame, std::string& why) {
  if (holding_) {
    frame = std::move(held_);
    why = std::move(held_why_);
    holding_ = false;
    return true;
  }
  if (!source_.read(frame)) return false;
  why = watch_.look(frame, source_.format());
  if (started_) return true;
  started_ = true;
  if (!source_.read(held_)) return true;
  held_why_ = watch_.look(held_, source_.format());
  holding_ = true;
  if (why.empty() && held_why_.starts_with("snow")) {
    // Is the first as new in every line as the second?
    SignalWatch other;
    (void)other.look(held_, source_.format());
    why = other.look(frame, source_.format());
  }
  return true;
}

bool PictureFrames::sudden_black(const std::string& why) {
  const bool black = why.empty() && watch_.black() && (black_run_ > 0 || (with_ > 0 && was_bright_));
  was_bright_ = watch_.bright();
  return black;
}

void PictureFrames::count_lost(std::uint64_t number, std::uint64_t frames, const std::string& why) {
  if (without_ == at_start_) {
    first_lost_ = number;
    why_ = why;
  }
  without_ += frames;
}

bool PictureFrames::next(capture::Frame& frame) {
  skipped_ = 0;
  std::string why;
  while (read_one(frame, why)) {
    ++read_;
    if (sudden_black(why)) {
      if (black_run_++ == 0) black_from_ = frame.number;
      ++skipped_;
      continue;
    }
    if (black_run_ > 0 && (watch_.bright() || !why.empty()))
      count_lost(black_from_, black_run_, "black, from one frame to the next and back");
    black_run_ = 0;
    if (why.empty()) {
      ++with_;
      return true;
    }
    if (with_ == 0) {
      ++without_;
      ++at_start_;
      if (why_.empty()) why_ = why;
    } else {
      ++skipped_;
      count_lost(frame.number, 1, why);
    }
  }
  return false;
}

}  // namespace linebench::measure
