#include "picture_hum_bend.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr int together = 8;  // lines of a field whose mean shows what bends them all

}  // namespace

HumBend::HumBend(const PictureSetup& s, double mains_hz)
    : setup_(s),
      mains_hz_(mains_hz),
      first_(s.height() / s.fields / 8),
      last_(s.height() / s.fields * 15 / 16) {
  for (int r = 0; r < s.height(); ++r) {
    const double w = 2 * std::numbers::pi * mains_hz * s.row_time(r);
    of_row_.push_back(Terms{1, std::sin(w), std::cos(w), std::sin(2 * w), std::cos(2 * w)});
  }
}

std::vector<double> HumBend::push(std::span<const double> shift) {
  std::vector<double> rest(shift.begin(), shift.end());
  for (int field = 0; field < setup_.fields; ++field) {
    Eigen::Matrix<double, terms, terms> normal = Eigen::Matrix<double, terms, terms>::Zero();
    Terms right = Terms::Zero();
    int n = 0;
    for (int line = first_; line < last_; ++line) {
      const auto r = static_cast<std::size_t>(setup_.fields * line + field);
      if (!std::isfinite(shift[r])) continue;
      normal += of_row_[r] * of_row_[r].transpose();
      right += of_row_[r] * shift[r];
      ++n;
    }
    if (n < 2 * (last_ - first_) / 3) continue;
    // Hum whose frequency is not the fields' moves each field as a whole besides.
    const Terms bend = normal.ldlt().solve(right);
    Sums& of_field = bend_[static_cast<std::size_t>(field)];
    for (std::size_t r = static_cast<std::size_t>(field); r < shift.size();
         r += static_cast<std::size_t>(setup_.fields)) {
      if (!std::isfinite(shift[r])) continue;
      const double px = bend.dot(of_row_[r]);
      rest[r] -= px;
      of_field.n += 1;
      of_field.px += shift[r];
      of_field.squares += shift[r] * shift[r];
    }
    note_blocks(shift, rest, field);
  }
  return rest;
}

void HumBend::note_blocks(std::span<const double> shift, std::span<const double> rest, int field) {
  struct Block {
    double whole = 0, rest = 0, chance = 0;
  };
  std::vector<Block> blocks;
  for (int from = first_; from + together <= last_; from += together) {
    Block b;
    double before = std::numeric_limits<double>::quiet_NaN();
    for (int k = 0; k < together; ++k) {
      const auto r = static_cast<std::size_t>(setup_.fields * (from + k) + field);
      b.whole += shift[r] / together;
      b.rest += rest[r] / together;
      if (k > 0) b.chance += std::pow(rest[r] - before, 2) / 2 / (together - 1) / together;
      before = rest[r];
    }
    if (std::isfinite(b.whole)) blocks.push_back(b);
  }
  double whole = 0, left = 0;
  for (const Block& b : blocks) {
    whole += b.whole / static_cast<double>(blocks.size());
    left += b.rest / static_cast<double>(blocks.size());
  }
  for (const Block& b : blocks) {
    blocks_ += 1;
    whole_ += std::pow(b.whole - whole, 2);
    rest_ += std::pow(b.rest - left, 2);
    by_chance_ += b.chance;
  }
}

// Of the squares of the blocks' places, by chance.
double HumBend::doubt() const { return by_chance_ * std::sqrt(2 / blocks_); }

bool HumBend::wanders() const {
  constexpr double least_px = 0.05;
  if (blocks_ < 20) return false;
  const double whole = whole_ - by_chance_;
  return whole > least_px * least_px * blocks_ && whole > 10 * doubt();
}

bool HumBend::found() const {
  return wanders() && rest_ - by_chance_ < 0.01 * (whole_ - by_chance_) + 2 * doubt();
}

bool HumBend::better_than(const HumBend& other) const { return other.rest_ - rest_ > 4 * doubt(); }

double HumBend::whole_variance() const {
  // Where a field stands on average beside the other is no bend.
  double n = 0, squares = 0;
  for (const Sums& s : bend_) {
    n += s.n;
    squares += s.n > 0 ? s.squares - s.px * s.px / s.n : 0;
  }
  return n > 0 ? std::max(0.0, squares / n) : 0;
}

}  // namespace linebench::measure
