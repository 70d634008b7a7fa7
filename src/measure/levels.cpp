#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/levels.hpp>
#include <linebench/measure/statistics.hpp>

#include "calibrated.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 0.01;
constexpr std::size_t most_blocks = 8192;
constexpr std::size_t batches_wanted = 40;

}  // namespace

LevelAnalyser::LevelAnalyser(double rate_hz)
    : rate_hz_(rate_hz), block_samples_(std::max<std::size_t>(1, std::llround(rate_hz * block_s))) {
  blocks_.reserve(most_blocks);
}

void LevelAnalyser::push(std::span<const float> samples) {
  while (!samples.empty()) {
    const std::size_t n = std::min(samples.size(), block_samples_ - filled_);
    add(samples.first(n));
    samples = samples.subspan(n);
    filled_ += n;
    samples_ += n;
    if (filled_ == block_samples_) close_block();
  }
}

LINEBENCH_VECTORISED void LevelAnalyser::add(std::span<const float> part) {
  // Independent lanes, so that the compiler may use the vector unit without changing the order of sums.
  constexpr std::size_t lanes = 8;
  std::array<double, lanes> sum{};
  std::array<double, lanes> square{};
  std::array<float, lanes> highest{};
  std::array<float, lanes> lowest{};
  highest.fill(highest_);
  lowest.fill(lowest_);
  std::size_t i = 0;
  for (; i + lanes <= part.size(); i += lanes) {
    for (std::size_t k = 0; k < lanes; ++k) {
      const float x = part[i + k];
      const double v = x;
      sum[k] += v;
      square[k] += v * v;
      highest[k] = x > highest[k] ? x : highest[k];
      lowest[k] = x < lowest[k] ? x : lowest[k];
    }
  }
  for (; i < part.size(); ++i) {
    const double v = part[i];
    sum[0] += v;
    square[0] += v * v;
    highest[0] = std::max(highest[0], part[i]);
    lowest[0] = std::min(lowest[0], part[i]);
  }
  double s = 0;
  double s2 = 0;
  for (std::size_t k = 0; k < lanes; ++k) {
    s += sum[k];
    s2 += square[k];
    highest_ = std::max(highest_, highest[k]);
    lowest_ = std::min(lowest_, lowest[k]);
  }
  if (!std::isfinite(s2)) {
    const auto bad = std::find_if(part.begin(), part.end(), [](float v) { return !std::isfinite(v); });
    const double at = static_cast<double>(samples_ + static_cast<std::size_t>(bad - part.begin())) / rate_hz_;
    throw unusable(fmt::format("samples: not a number at {:.4f} s; take the capture again", at));
  }
  open_.sum += s;
  open_.sum_of_squares += s2;
}

void LevelAnalyser::close_block() {
  blocks_.push_back(open_);
  total_.sum += open_.sum;
  total_.sum_of_squares += open_.sum_of_squares;
  open_ = {};
  filled_ = 0;
  if (blocks_.size() < most_blocks) return;
  for (std::size_t i = 0; i < most_blocks / 2; ++i) {
    blocks_[i].sum = blocks_[2 * i].sum + blocks_[2 * i + 1].sum;
    blocks_[i].sum_of_squares = blocks_[2 * i].sum_of_squares + blocks_[2 * i + 1].sum_of_squares;
  }
  blocks_.resize(most_blocks / 2);
  block_samples_ *= 2;
}

LevelResult LevelAnalyser::finish() const {
  LevelResult r;
  r.samples = samples_;
  r.block_s = static_cast<double>(block_samples_) / rate_hz_;
  if (samples_ == 0) return r;
  const auto highest = static_cast<double>(highest_);
  const auto lowest = static_cast<double>(lowest_);
  r.peak = std::max(highest, -lowest);
  const auto n = static_cast<double>(samples_);
  r.mean = (total_.sum + open_.sum) / n;
  r.swing = std::max(highest - r.mean, r.mean - lowest);
  r.mean_square = std::max(0.0, (total_.sum_of_squares + open_.sum_of_squares) / n - r.mean * r.mean);

  const auto per_block = static_cast<double>(block_samples_);
  std::vector<double> means;
  for (const LevelBlock& b : blocks_) {
    means.push_back(b.sum / per_block);
    r.blocks.push_back(
        std::max(0.0, (b.sum_of_squares - 2.0 * r.mean * b.sum) / per_block + r.mean * r.mean));
  }
  r.mean_u = expanded_mean_error(means, batches_wanted);
  if (r.mean_square > 0) r.mean_square_rel_u = expanded_mean_error(r.blocks, batches_wanted) / r.mean_square;
  return r;
}

std::optional<double> quantisation_step(const CaptureFacts& facts) {
  const std::size_t at = facts.format.find(" bit");
  if (at == std::string::npos || facts.format.find("float") != std::string::npos) return std::nullopt;
  std::size_t from = at;
  while (from > 0 && std::isdigit(static_cast<unsigned char>(facts.format[from - 1])) != 0) --from;
  if (from == at || at - from > 2) return std::nullopt;
  const int bits = std::stoi(facts.format.substr(from, at - from));
  if (bits < 4 || bits > 32) return std::nullopt;
  return std::ldexp(1.0, 1 - bits);
}

Readings to_readings(const LevelResult& level, const CaptureFacts& facts, std::string_view suffix) {
  const auto id = [&](std::string_view base) { return std::string(base) + std::string(suffix); };
  const std::optional<double> step = quantisation_step(facts);
  const double half_step = step.value_or(0.0) / 2.0;
  Readings out;
  if (!(level.mean_square > 0)) {
    const bool silent = level.peak == 0;
    const std::string why = silent
                                ? "digital silence: all samples are zero; check the input, the cable and mute"
                                : "all samples are equal: dc only, nothing to measure; check the input";
    std::optional<double> at_most;
    if (step) at_most = dbfs_from_rms(half_step);
    out.push_back(unmeasurable(id("audio.level.rms"), why, at_most));
    if (silent) {
      out.push_back(unmeasurable(id("audio.level.peak"), why,
                                 step ? std::optional(db_from_amplitude(half_step)) : std::nullopt));
    } else {
      out.push_back(number_reading(id("audio.level.peak"), db_from_amplitude(level.peak), 0.0));
    }
    out.push_back(unmeasurable(id("audio.level.crest"), why));
    out.push_back(number_reading(id("audio.level.dc"), level.mean, half_step));
    out.push_back(unmeasurable(id("audio.level.voltage"), why));
    return out;
  }
  // Rounding to the step adds noise of step^2 / 12 [uniform error], known only roughly for simple signals.
  const double quantised = step ? *step * *step / 12.0 / level.mean_square : 0.0;
  const double rel_u = std::hypot(level.mean_square_rel_u, quantised);
  const double rms_u = db_from_power(1.0 + rel_u);
  const double peak_u = db_from_amplitude(1.0 + half_step / level.peak);
  const double rms = std::sqrt(level.mean_square);
  out.push_back(number_reading(id("audio.level.rms"), dbfs_from_rms(rms), rms_u));
  out.push_back(number_reading(id("audio.level.peak"), db_from_amplitude(level.peak), peak_u));
  const double swing_u = db_from_amplitude(1.0 + std::hypot(half_step, level.mean_u) / level.swing);
  out.push_back(number_reading(id("audio.level.crest"), db_from_amplitude(level.swing / rms),
                               std::hypot(rms_u, swing_u)));
  out.push_back(number_reading(id("audio.level.dc"), level.mean, std::hypot(level.mean_u, half_step)));
  if (facts.full_scale_v) {
    out.push_back(number_reading(id("audio.level.voltage"),
                                 db_from_amplitude(rms * *facts.full_scale_v / dbu_reference_v), rms_u,
                                 as_calibrated));
  } else {
    out.push_back(unmeasurable(id("audio.level.voltage"), uncalibrated));
  }
  return out;
}

}  // namespace linebench::measure
