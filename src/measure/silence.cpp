#include "silence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <string>

namespace linebench::measure {
namespace {

// A pause between sentences lasts two seconds (common practice).
constexpr double least_s = 3;
// Of the loudest quarter of all blocks: a programme that is there for a part of the time is measured by that.
constexpr double under_db = 40;

struct Stretch {
  double from_s = 0, to_s = 0;
  bool last = false;
};

std::vector<Stretch> silent_stretches(const std::vector<double>& blocks, double block_s) {
  const bool none = *std::ranges::max_element(blocks) < 1e-12;
  const double quiet = none ? 0 : dsp::quantile(std::vector(blocks), 0.75) * power_from_db(-under_db);
  std::vector<Stretch> out;
  for (std::size_t i = 0; i < blocks.size();) {
    std::size_t to = i;
    while (to < blocks.size() && blocks[to] < quiet) ++to;
    if (static_cast<double>(to - i) * block_s >= least_s)
      out.push_back(
          {static_cast<double>(i) * block_s, static_cast<double>(to) * block_s, to == blocks.size()});
    i = std::max(to, i + 1);
  }
  return out;
}

}  // namespace

std::optional<Reading> programme_silent(const std::vector<LevelResult>& channels) {
  if (channels.empty() || channels.front().blocks.empty()) return std::nullopt;
  const double block_s = channels.front().block_s;
  std::vector<double> loudest = channels.front().blocks;
  for (const LevelResult& c : channels) {
    for (std::size_t i = 0; i < std::min(loudest.size(), c.blocks.size()); ++i)
      loudest[i] = std::max(loudest[i], c.blocks[i]);
  }
  double all_s = 0;
  std::string when;
  for (const Stretch& s : silent_stretches(loudest, block_s)) {
    all_s += s.to_s - s.from_s;
    when += fmt::format("{}from {:.1f} s to {}", when.empty() ? "" : ", ", s.from_s,
                        s.last ? "the end" : fmt::format("{:.1f} s", s.to_s));
  }
  if (all_s == 0) return std::nullopt;
  return number_reading("audio.programme.silent", all_s, 2 * block_s, when);
}

}  // namespace linebench::measure
