// Tops that were cut before a coupling capacitor. Behind it (a first-order high pass) a flat top leans: it
// falls by its own height in each time constant, so it is level no more, and its level hangs on what came
// before. The pole undone, y + (1/tau) integral of y, makes it flat again. Which time constant it was nobody
// says: a row of them is undone side by side, close enough that one of them leaves tops level. Two capacitors
// in a row lean tops as one does whose corner frequency is the sum of theirs.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

// To where hardly an output's coupling lies (1 uF into 6 kohm is 26 Hz).
constexpr double lowest_hz = 2.0;
constexpr double step_hz = 2.2;
// The integral is given a leak, so that dc and drift do not run away; what lies between is not touched.
constexpr double leak_hz = 0.5;
// So many looks at one signal find as many flat tops by chance as one does fewer of.
constexpr std::size_t fewest_tops = 8;
constexpr float no_denormal = 1e-18F;  // in digital silence the leak would end in numbers that cost ten times

double pole(double hz, double rate_hz) { return std::exp(-2.0 * std::numbers::pi * hz / rate_hz); }

}  // namespace

double CoupledClipSearch::corner_hz(std::size_t row) {
  return lowest_hz + step_hz * static_cast<double>(row);
}

void CoupledClipSearch::undo(const EventView& v, std::size_t from) {
  std::array<float, rows> zero;
  for (std::size_t k = 0; k < rows; ++k) zero[k] = static_cast<float>(pole(corner_hz(k), v.rate_hz));
  const auto leak = static_cast<float>(pole(leak_hz, v.rate_hz));
  const std::size_t had = undone_[0].size();
  for (auto& z : undone_) z.resize(had + v.x.size() - from);
  for (std::size_t i = from; i < v.x.size(); ++i) {
    const float y = std::isfinite(v.x[i]) ? v.x[i] : 0.0F;
    for (std::size_t k = 0; k < rows; ++k) state_[k] = leak * state_[k] + (y - zero[k] * last_) + no_denormal;
    last_ = y;
    for (std::size_t k = 0; k < rows; ++k) undone_[k][had + i - from] = state_[k];
  }
}

void CoupledClipSearch::search(const EventView& v) {
  const auto gone = static_cast<std::ptrdiff_t>(v.first - first_);
  for (auto& z : undone_) z.erase(z.begin(), z.begin() + gone);
  first_ = v.first;
  undo(v, undone_[0].size());
  for (std::size_t k = 0; k < rows; ++k) clips_[k].search({undone_[k], v.from, v.to, v.rate_hz, v.first});
}

void CoupledClipSearch::finish(EventsResult& r) const {
  for (std::size_t k = 0; k < rows; ++k) {
    EventsResult found;
    clips_[k].finish(found);
    if (found.clips.size() < fewest_tops || found.clipped_samples <= r.clipped_samples) continue;
    r.clipped_samples = found.clipped_samples;
    r.clip_level = found.clip_level;
    r.clip_level_u = found.clip_level_u;
    r.clips = std::move(found.clips);
    r.clip_coupled_hz = corner_hz(k);
  }
}

}  // namespace linebench::measure
