#include "whine.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <iterator>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/weighting.hpp>
#include <span>

#include "whine_parts.hpp"

namespace linebench::measure {
namespace {

using namespace whine;

constexpr std::size_t stretch_segments = 96;
constexpr double segment_s = 0.16;
constexpr double shortest_s = 3.0;
constexpr std::size_t fewest_segments = 24;
constexpr double lowest_hz = 300;
constexpr std::size_t lobe = 8;       // half width of a line, bins
constexpr std::size_t reach = 24;     // bins looked at on each side for what lies beside
constexpr double clear_share = 0.08;  // of the segments, at least
constexpr std::size_t fewest_clear = 6;
constexpr double most_spread_db = 1.5;  // where it is clear; beside a twentieth noise makes 1.3 dB of it
constexpr double same_bins = 1.0;
constexpr double in_stretches = 0.8;
constexpr std::size_t most_tracks = 48;
constexpr std::size_t most_lines = 24;
constexpr double bins_u = 0.06;
constexpr double mains_hz[] = {50.0, 60.0};
constexpr double mains_share = 0.002;
constexpr double comb_hz = 130;         // twice the mains, and some
constexpr double beside_tone_hz = 130;  // hum on a tone stands so far beside it
constexpr double mains_to_hz = 1000;    // higher multiples stand too close to tell a whine by them

// The greater of both sides' medians.
double beside_of(std::span<const double> power, std::size_t bin) {
  const auto side = [&](std::size_t from, std::size_t to) {
    std::vector<double> part(power.begin() + static_cast<std::ptrdiff_t>(from),
                             power.begin() + static_cast<std::ptrdiff_t>(std::min(to, power.size())));
    return part.empty() ? 0.0 : dsp::median(std::move(part));
  };
  return std::max(bin > reach ? side(bin - reach, bin - lobe) : 0.0, side(bin + lobe + 1, bin + reach + 1));
}

bool of_mains(double hz, double bin_hz, const HumResult& hum) {
  const auto multiple = [&](double fundamental, double share) {
    const double k = std::round(hz / fundamental);
    return std::abs(hz - k * fundamental) < 1.5 * bin_hz + share * hz;
  };
  if (hum.found && multiple(hum.frequency_hz, 2e-5)) return true;
  return hz < mains_to_hz && (multiple(mains_hz[0], mains_share) || multiple(mains_hz[1], mains_share));
}

}  // namespace

whine::Clear whine::clear_ones(std::vector<At> all, double least) {
  const std::size_t segments = all.size();
  std::ranges::sort(all, {}, &At::beside);
  // What is there in the quietest of them, and then all in which it stands as clear.
  std::vector<double> quiet;
  for (std::size_t i = 0; i < std::min(segments, std::max(fewest_clear, segments / 8)); ++i)
    quiet.push_back(all[i].power);
  const double about = dsp::median(std::move(quiet));
  if (!(about >= least)) return {};
  std::erase_if(all, [&](const At& a) { return a.beside * clear > about; });
  if (all.size() <
      std::max(fewest_clear, static_cast<std::size_t>(clear_share * static_cast<double>(segments))))
    return {};
  double sum = 0, sum2 = 0;
  for (const At& a : all) {
    const double db = db_from_power(a.power);
    sum += db;
    sum2 += db * db;
  }
  const auto n = static_cast<double>(all.size());
  Clear out{std::move(all), std::sqrt(std::max(0.0, sum2 / n - sum * sum / n / n))};
  return out.spread_db > most_spread_db ? Clear{} : out;
}

WhineSearch::WhineSearch(double rate_hz)
    : shape_(rate_hz, 2 * dsp::next_fast_size(static_cast<std::size_t>(segment_s * rate_hz / 2)),
             dsp::next_fast_size(static_cast<std::size_t>(segment_s * rate_hz / 2))),
      fft_(shape_.n),
      window_(segment_weights(shape_.n)),
      bins_(shape_.n / 2 + 1),
      codes_(stretch_segments * bins_) {}

void WhineSearch::push(std::span<const float> channel_samples) {
  held_.insert(held_.end(), channel_samples.begin(), channel_samples.end());
  std::size_t at = 0;
  for (; at + shape_.n <= held_.size(); at += shape_.hop) {
    for (std::size_t i = 0; i < shape_.n; ++i)
      fft_.input()[i] = static_cast<double>(held_[at + i]) * window_[i];
    fft_.forward();
    std::uint16_t* row = codes_.data() + segments_ * bins_;
    for (std::size_t b = 0; b < bins_; ++b) row[b] = code_of(std::norm(fft_.output()[b]));
    if (++segments_ == stretch_segments) process();
  }
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(at));
}

// The mean, which a voice's multiples on either side raise.
double WhineSearch::beside(std::size_t segment, std::size_t bin) const {
  const std::uint16_t* row = codes_.data() + segment * bins_;
  double sum = 0;
  std::size_t n = 0;
  for (std::size_t b = bin > reach ? bin - reach : 0; b < std::min(bins_, bin + reach + 1); ++b) {
    if (b + lobe > bin && b < bin + lobe) continue;
    sum += power_of(row[b]);
    ++n;
  }
  return sum / static_cast<double>(n);
}

// The line at a bin, read where little lies beside it.
std::optional<WhineSearch::Line> WhineSearch::line_at(std::size_t bin, double least) const {
  std::vector<At> all;
  for (std::size_t s = 0; s < segments_; ++s)
    all.push_back({s, power_of(codes_[s * bins_ + bin]), beside(s, bin)});
  const Clear c = clear_ones(std::move(all), least);
  if (c.at.empty()) return std::nullopt;
  std::vector<double> mean(bins_, 0.0);
  for (const At& a : c.at) {
    for (std::size_t b = bin > 2 * reach ? bin - 2 * reach : 0; b < std::min(bins_, bin + 2 * reach); ++b)
      mean[b] += power_of(codes_[a.segment * bins_ + b]) / static_cast<double>(c.at.size());
  }
  const auto peak = peak_near(mean, shape_, static_cast<double>(bin), 1.0);
  if (!peak) return std::nullopt;
  // Neighbouring segments share most of their samples.
  const double looks = std::max(1.0, shape_.looks_at_line(c.at.size()));
  const double power = peak->mean_square - peak->noise * shape_.line_bins;
  return Line{peak->bins, power, 2 * std::hypot(c.spread_db, code_spread_db) / std::sqrt(looks) + least_u_db};
}

void WhineSearch::note(const Line& line) {
  auto at = std::ranges::find_if(tracks_, [&](const Track& t) {
    return std::abs(t.bins / static_cast<double>(t.stretches) - line.bins) <
           same_bins + std::max(line.wander, t.wander);
  });
  if (at == tracks_.end()) {
    if (tracks_.size() == most_tracks)
      tracks_.erase(std::ranges::min_element(tracks_, {}, &Track::stretches));
    at = tracks_.insert(tracks_.end(), Track{});
  }
  const double db = db_from_power(line.power);
  at->stretches += 1;
  at->wander = std::max(at->wander, line.wander);
  at->bins += line.bins;
  at->bins2 += line.bins * line.bins;
  at->power += line.power;
  at->db += db;
  at->db2 += db * db;
  at->variance += line.u_db * line.u_db;
}

void WhineSearch::process() {
  const auto from = static_cast<std::size_t>(lowest_hz / shape_.bin_hz) + lobe;
  const auto to =
      std::min(bins_ - lobe - 1,
               static_cast<std::size_t>(standards::audio_band_top_hz(shape_.rate_hz) / shape_.bin_hz));
  const std::size_t segments = segments_;
  std::vector<double> low(bins_);
  std::vector<std::uint16_t> column(segments);
  const auto rank = static_cast<std::ptrdiff_t>(quantile * static_cast<double>(segments));
  for (std::size_t b = 0; b < bins_; ++b) {
    for (std::size_t s = 0; s < segments; ++s) column[s] = codes_[s * bins_ + b];
    std::nth_element(column.begin(), column.begin() + rank, column.end());
    low[b] = power_of(column[static_cast<std::size_t>(rank)]);
  }
  std::vector<Line> lines;
  double least = smallest_power;
  for (std::size_t b = from; b < to; ++b) {
    if (low[b] < low[b - 1] || low[b] < low[b + 1]) continue;
    const double background = beside_of(low, b);
    least = std::max(least, sure * clear / quantile * background * shape_.line_bins);
    if (low[b] < stands_out * std::max(background, smallest_power)) continue;
    if (const auto line = line_at(b, low[b])) {
      lines.push_back(*line);
    } else {
      least = std::max(least, ambiguous * low[b] * shape_.line_bins);
    }
  }
  // One with neighbours as far above as below is of a comb: the mains' high multiples.
  const auto of_comb = [&](const Line& l) {
    return std::ranges::any_of(lines, [&](const Line& above) {
      const double away = above.bins - l.bins;
      return away > 0 && away * shape_.bin_hz < comb_hz && std::ranges::any_of(lines, [&](const Line& below) {
               return std::abs(l.bins - away - below.bins) < same_bins;
             });
    });
  };
  std::vector<Line> single;
  std::ranges::remove_copy_if(lines, std::back_inserter(single), of_comb);
  lines = std::move(single);
  least = std::max(least, find_wandering(from, to, lines));
  std::ranges::sort(lines, std::greater{}, &Line::power);
  if (lines.size() > most_lines) lines.resize(most_lines);
  for (const Line& l : lines) note(l);
  least_power_ = std::max(least_power_, least);
  ++stretches_;
  segments_ = 0;
}

WhineResult WhineSearch::finish(const HumResult& hum, std::optional<double> tone_hz) {
  const double hop_s = static_cast<double>(shape_.hop) / shape_.rate_hz;
  const bool enough = segments_ >= fewest_segments && static_cast<double>(segments_) * hop_s >= shortest_s;
  if (enough && (stretches_ == 0 || 2 * segments_ > stretch_segments)) process();
  WhineResult out;
  out.looked = stretches_ > 0;
  out.least_power = least_power_;
  const auto all = static_cast<double>(stretches_);
  for (const Track& t : tracks_) {
    const auto n = static_cast<double>(t.stretches);
    const double hz = t.bins / n * shape_.bin_hz;
    if (n < in_stretches * all || is_line_rate(hz)) continue;
    if (t.wander == 0 && of_mains(hz, shape_.bin_hz, hum)) continue;
    if (tone_hz && std::abs(std::remainder(hz, *tone_hz)) < beside_tone_hz) continue;
    if (t.power / n < out.power) continue;
    const auto spread = [&](double sum, double sum2) {
      return std::sqrt(std::max(0.0, sum2 / n - sum * sum / n / n));
    };
    out.found = true;
    out.frequency_hz = hz;
    out.frequency_u = (bins_u + t.wander + 2 * spread(t.bins, t.bins2)) * shape_.bin_hz;
    out.wander_hz = t.wander * shape_.bin_hz;
    out.power = t.power / n;
    out.level_u_db = std::sqrt(t.variance / n / n) + 2 * spread(t.db, t.db2);
  }
  return out;
}

Readings to_readings(const WhineResult& result, const std::string& instead, std::string_view suffix) {
  const std::string frequency = fmt::format("audio.whine.frequency{}", suffix);
  const std::string level = fmt::format("audio.whine.level{}", suffix);
  if (instead.empty() && result.found) {
    const std::string remark =
        result.wander_hz > 0 ? fmt::format("it wanders by {:.0f} Hz to either side", result.wander_hz) : "";
    return {number_reading(frequency, result.frequency_hz, result.frequency_u, remark),
            number_reading(level, dbfs_from_power(result.power), result.level_u_db, remark)};
  }
  std::optional<double> at_most;
  std::string reason = instead;
  if (reason.empty() && !result.looked)
    reason = fmt::format("too short to look for a whine: {:.0f} s or more is needed", shortest_s);
  if (reason.empty()) {
    at_most = dbfs_from_power(result.least_power);
    reason = fmt::format("no steady line found: anything there is below {:.1f} dBFS", *at_most);
  }
  return {unmeasurable(frequency, reason), unmeasurable(level, reason, at_most)};
}

}  // namespace linebench::measure
