#include "pair_steady.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>

namespace linebench::measure {
namespace {

constexpr double block_s = 0.25;
constexpr std::size_t most_blocks = 4096;
constexpr double stretch_s = 3.0;     // no pause of one voice or instrument in a mix
constexpr double shortest_s = 6.0;    // a stretch of each
constexpr double gone_db = 40.0;      // under what the side has otherwise
constexpr double sounding_db = 25.0;  // the other side, under what it has otherwise
constexpr double loud_share = 0.9;    // of the blocks lie under what a side has "otherwise"
constexpr double least_dbfs = -70.0;  // a side that carries less carries nothing
constexpr double common = 0.3;        // correlation of sides that have something in common
constexpr double sure = 0.6;          // of those whose polarity is beyond doubt
constexpr const char* id = "audio.pair.steady";
constexpr std::array<const char*, 2> side_words = {"left", "right"};

}  // namespace

void PairSteady::Block::operator+=(const Block& b) {
  for (std::size_t s = 0; s < 2; ++s) {
    sum[s] += b.sum[s];
    square[s] += b.square[s];
    step[s] += b.step[s];
  }
  product += b.product;
  step_product += b.step_product;
}

PairSteady::PairSteady(double rate_hz)
    : rate_hz_(rate_hz), block_samples_(static_cast<std::size_t>(std::lround(block_s * rate_hz))) {}

void PairSteady::push(std::span<const float> left, std::span<const float> right) {
  for (std::size_t i = 0; i < left.size(); ++i) {
    const std::array<float, 2> now = {left[i], right[i]};
    std::array<double, 2> x, d;
    for (std::size_t s = 0; s < 2; ++s) {
      x[s] = static_cast<double>(now[s]);
      d[s] = static_cast<double>(now[s] - before_[s]);
      open_.sum[s] += x[s];
      open_.square[s] += x[s] * x[s];
      open_.step[s] += d[s] * d[s];
    }
    open_.product += x[0] * x[1];
    open_.step_product += d[0] * d[1];
    before_ = now;
    if (++filled_ == block_samples_) close();
  }
}

void PairSteady::close() {
  // Less the share of dc.
  const auto n = static_cast<double>(block_samples_);
  for (std::size_t s = 0; s < 2; ++s) open_.square[s] -= open_.sum[s] * open_.sum[s] / n;
  open_.product -= open_.sum[0] * open_.sum[1] / n;
  blocks_.push_back(open_);
  open_ = {};
  filled_ = 0;
  if (blocks_.size() < most_blocks) return;
  for (std::size_t i = 0; i < most_blocks / 2; ++i) {
    blocks_[i] = blocks_[2 * i];
    blocks_[i] += blocks_[2 * i + 1];
  }
  blocks_.resize(most_blocks / 2);
  block_samples_ *= 2;
}

double PairSteady::power(const Block& b, int side) const {
  return std::max(0.0, b.square[static_cast<std::size_t>(side)]) / static_cast<double>(block_samples_);
}

// Correlation of what is loudest and of what is highest, where they are of one mind; else 0. A delay between
// the sides, or a note that both happen to hold, turns one and not the other.
double PairSteady::alike(const Block& b) {
  const auto rho = [](double product, const std::array<double, 2>& square) {
    const double all = square[0] * square[1];
    return all > 0 ? product / std::sqrt(all) : 0.0;
  };
  const double whole = rho(b.product, b.square);
  const double high = rho(b.step_product, b.step);
  return whole * high <= 0 ? 0.0 : std::copysign(std::min(std::abs(whole), std::abs(high)), whole);
}

double PairSteady::usual(int side) const {
  std::vector<double> powers;
  for (const Block& b : blocks_) powers.push_back(power(b, side));
  return dsp::quantile(powers, loud_share);
}

PairSteady::Gone PairSteady::longest_gone(int side) const {
  const double length_s = static_cast<double>(block_samples_) / rate_hz_;
  const double gone = usual(side) * power_from_db(-gone_db);
  const double sounding = usual(1 - side) * power_from_db(-sounding_db);
  Gone longest, now;
  for (std::size_t i = 0; i < blocks_.size(); ++i) {
    const double at_s = static_cast<double>(i) * length_s;
    if (power(blocks_[i], side) >= gone) {
      now = {at_s + length_s, 0, 0};
      continue;
    }
    now.to_s = at_s + length_s;
    if (power(blocks_[i], 1 - side) > sounding) now.other_s += length_s;
    if (now.other_s > longest.other_s) longest = now;
  }
  return longest;
}

Reading PairSteady::finish() const {
  const double length_s = static_cast<double>(block_samples_) / rate_hz_;
  const double seconds = static_cast<double>(blocks_.size()) * length_s;
  if (seconds < shortest_s)
    return unmeasurable(id, fmt::format("too short to tell; take at least {:.0f} s", shortest_s));
  for (const int side : {0, 1}) {
    if (usual(side) < power_from_db(least_dbfs) / 2)
      return unmeasurable(
          id, fmt::format("the {} side carries nothing", side_words[static_cast<std::size_t>(side)]));
  }
  for (const int side : {0, 1}) {
    const Gone gone = longest_gone(side);
    if (gone.other_s < stretch_s) continue;
    Block both;
    for (std::size_t i = 0; i < blocks_.size(); ++i) {
      const double at_s = static_cast<double>(i) * length_s;
      if (at_s < gone.from_s || at_s >= gone.to_s) both += blocks_[i];
    }
    const char* word = side_words[static_cast<std::size_t>(side)];
    const std::string ends = gone.to_s > seconds - length_s / 2 ? std::string("to the end")
                                                                : fmt::format("to {:.2f} s", gone.to_s);
    const bool related = std::abs(alike(both)) > common;
    return text_reading(id, fmt::format("{} {}", word, related ? "lost" : "pauses"),
                        fmt::format("the {} side is silent from {:.2f} s {} while the other goes on", word,
                                    gone.from_s, ends));
  }
  const auto window = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(stretch_s / length_s)));
  double most = -sure, least = sure;
  double most_at = 0, least_at = 0;
  for (std::size_t i = 0; i + window <= blocks_.size(); ++i) {
    Block b;
    for (std::size_t k = i; k < i + window; ++k) b += blocks_[k];
    const double r = alike(b);
    const double at_s = static_cast<double>(i) * length_s;
    if (r > most) most = r, most_at = at_s;
    if (r < least) least = r, least_at = at_s;
  }
  if (most > sure && least < -sure)
    return text_reading(id, "turned",
                        fmt::format("in phase near {:.1f} s, reversed near {:.1f} s", most_at + stretch_s / 2,
                                    least_at + stretch_s / 2));
  return text_reading(id, "steady");
}

}  // namespace linebench::measure
