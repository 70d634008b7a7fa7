#include <algorithm>
#include <cmath>
#include <linebench/capture/digital_copy.hpp>
#include <vector>

namespace linebench::capture {
namespace {

constexpr double longest_s = 30;
constexpr std::size_t stretch = 4096;
constexpr std::size_t least_changes = stretch / 4;  // silence equals silence and proves nothing

std::vector<std::vector<float>> channels_of(AudioSource& source) {
  const auto n = static_cast<std::size_t>(source.facts().channels);
  const auto most = static_cast<std::size_t>(longest_s * source.facts().sample_rate_hz);
  std::vector<std::vector<float>> channels(n);
  std::vector<float> block(n * 4096);
  while (channels.front().size() < most) {
    const std::size_t got = source.read(block);
    if (got == 0) break;
    for (std::size_t i = 0; i < got * n; ++i) channels[i % n].push_back(block[i]);
  }
  return channels;
}

/// The first stretch in which the signal is busy.
std::vector<float> busy_stretch(const std::vector<float>& x) {
  for (std::size_t at = 0; at + stretch <= x.size(); at += stretch / 2) {
    std::size_t changes = 0;
    for (std::size_t i = at + 1; i < at + stretch; ++i) changes += x[i] != x[i - 1] ? 1 : 0;
    if (changes >= least_changes) {
      return {x.begin() + static_cast<std::ptrdiff_t>(at),
              x.begin() + static_cast<std::ptrdiff_t>(at + stretch)};
    }
  }
  return {};
}

/// To the depth both were stored with: 24 bits in the narrower case, half a step of it.
bool same(float a, float b) { return std::abs(a - b) <= 0x1p-24F; }

}  // namespace

bool is_digital_copy(AudioSource& sent, AudioSource& returned) {
  const auto out = channels_of(sent);
  const auto in = channels_of(returned);
  for (const auto& s : out) {
    const std::vector<float> piece = busy_stretch(s);
    if (piece.empty()) continue;
    for (const auto& r : in) {
      if (std::search(r.begin(), r.end(), piece.begin(), piece.end(), same) != r.end()) return true;
    }
  }
  return false;
}

}  // namespace linebench::capture
