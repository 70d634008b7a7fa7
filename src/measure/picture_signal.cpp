#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/picture_signal.hpp>

namespace linebench::measure {
namespace {

constexpr std::size_t every = 8;  // rows looked at

// The commonest code of some values and the share of them within 1 of it, and about it: as far as noise goes.
struct Mode {
  int code = 0;
  double share = 0, about = 0;
  int low = 255, high = 0;
  double mean = 0, square = 0;  // mean square about the mean
};
Mode mode_of(const std::vector<std::uint8_t>& values) {
  std::array<std::uint32_t, 256> count{};
  for (const std::uint8_t v : values) ++count[v];
  Mode m;
  for (int c = 0; c < 256; ++c) {
    if (count[static_cast<std::size_t>(c)] == 0) continue;
    m.low = std::min(m.low, c);
    m.high = std::max(m.high, c);
    const double n = count[static_cast<std::size_t>(c)];
    m.mean += n * c;
    m.square += n * c * c;
    if (count[static_cast<std::size_t>(c)] > count[static_cast<std::size_t>(m.code)]) m.code = c;
  }
  const auto within = [&](int codes) {
    double some = 0;
    for (int c = std::max(0, m.code - codes); c <= std::min(255, m.code + codes); ++c)
      some += count[static_cast<std::size_t>(c)];
    return some;
  };
  constexpr int far = 12;
  const double n = std::max(1.0, static_cast<double>(values.size()));
  m.share = within(1) / n;
  m.about = within(far) / n;
  m.mean /= n;
  m.square = std::max(0.0, m.square / n - m.mean * m.mean);
  return m;
}

std::vector<std::uint8_t> some_rows(const std::vector<std::uint8_t>& plane, std::size_t width) {
  std::vector<std::uint8_t> out;
  for (std::size_t at = 0; at + width <= plane.size(); at += every * width)
    out.insert(out.end(), plane.begin() + static_cast<std::ptrdiff_t>(at),
               plane.begin() + static_cast<std::ptrdiff_t>(at + width));
  return out;
}

// Whole numbers, so that the sums are exact in any order.
LINEBENCH_VECTORISED std::uint64_t squares_apart(const std::uint8_t* a, const std::uint8_t* b,
                                                 std::size_t n) {
  std::uint64_t all = 0;
  for (std::size_t at = 0; at < n;) {
    const std::size_t end = std::min(n, at + 65536);  // 2^16 squares of 255 fit 32 bits
    std::uint32_t some = 0;
    for (; at < end; ++at) {
      const int d = a[at] - b[at];
      some += static_cast<std::uint32_t>(d * d);
    }
    all += some;
  }
  return all;
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
  const bool grey = std::abs(cb.code - 128) < 5 && std::abs(cr.code - 128) < 5;
  black_ = grey && y.mean < 22 && y.square < 4 * 4 && y.high - y.low < 10 + 10 * std::sqrt(y.square);
  bright_ = y.mean > 35;
  const bool exact = y.low == y.high && cb.low == cb.high && cr.low == cr.high;
  if (exact && y.low < 5 && cb.low < 5) return "all codes are zero: the grabber sends nothing";
  if (exact && y.low > 250 && cb.low > 250) return "all codes are at their end: the grabber sends nothing";
  if (exact && y.low < 20 && std::abs(cb.low - 128) < 3 && std::abs(cr.low - 128) < 3)
    return "black, the same code in every pixel: what a grabber shows when no signal comes in";
  if (exact && uneven_ && !frame.corrupt)
    return "one code in every pixel: what some grabbers show when the signal goes";
  uneven_ = uneven_ || !exact;
  // Snow is new in every frame and every line, and of all codes. A grid that rolls is of one, but for its
  // lines.
  constexpr double mostly = 0.6;
  if (before_.size() != rows_.size() || y.square < 25 * 25 || y.about > mostly) return {};
  const auto over_time = static_cast<double>(squares_apart(rows_.data(), before_.data(), rows_.size()));
  double over_lines = 0;
  for (std::size_t at = 0; at + 2 * w <= rows_.size(); at += 2 * w)
    over_lines += static_cast<double>(squares_apart(rows_.data() + at, rows_.data() + at + w, w));
  const auto n = static_cast<double>(rows_.size());
  const double same = 1 - over_time / n / 2 / y.square;
  const double alike = 1 - over_lines / (n / 2) / 2 / y.square;
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
