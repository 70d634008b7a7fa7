#include "check_same.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/capture/audio_file.hpp>
#include <span>
#include <vector>

namespace linebench::app {
namespace {

// What is kept in 16 bit differs by its rounding alone, which is far under what was recorded; noise of
// another moment differs by more than itself.
constexpr double rounding = 1e-3;

bool same_samples(const job::Capture& a, const job::Capture& b) {
  const bool alike = a.view == "audio" && b.view == "audio" && a.facts.frames == b.facts.frames &&
                     a.facts.channels == b.facts.channels &&
                     a.facts.sample_rate_hz == b.facts.sample_rate_hz;  // NOLINT: the very same or another
  if (!alike || a.facts.frames == 0 || a.file.extension() == ".json" || !job::file_state(b).empty())
    return false;
  const auto x = capture::open_audio_file(a.file), y = capture::open_audio_file(b.file);
  std::vector<float> one(static_cast<std::size_t>(4096 * a.facts.channels)), other(one.size());
  double sum = 0, off = 0;
  for (std::size_t n = x->read(one); n > 0; n = x->read(one)) {
    if (y->read(other) != n) return false;
    for (std::size_t i = 0; i < n * static_cast<std::size_t>(a.facts.channels); ++i) {
      const double was{one[i]}, difference = was - double{other[i]};
      sum += was * was;
      off += difference * difference;
    }
  }
  return sum > 0 && off <= rounding * rounding * sum;
}

// A muted input gives the same zeros at every place, and each time it is said that nothing came in.
bool only_zeros(const job::Capture& c) {
  if (c.view != "audio") return false;
  const bool any = std::ranges::any_of(c.readings, [](const Reading& r) {
    const bool peak = r.id.starts_with("audio.level.peak");
    return peak && r.measured();
  });
  if (any) return false;
  const auto x = capture::open_audio_file(c.file);
  std::vector<float> block(static_cast<std::size_t>(4096 * c.facts.channels));
  for (std::size_t n = x->read(block); n > 0; n = x->read(block)) {
    const auto used = std::span(block).first(n * static_cast<std::size_t>(c.facts.channels));
    if (std::ranges::any_of(used, [](float v) { return v != 0; })) return false;
  }
  return true;
}

bool same(const job::Capture& a, const job::Capture& b) {
  if (a.sha256.empty() || b.sha256.empty()) return false;  // a long run that was not kept
  return a.sha256 == b.sha256 ? !only_zeros(a) : same_samples(a, b);
}

}  // namespace

std::string same_as(const job::Capture& c, const std::string& key, const check::Work& work,
                    const check::Knowledge& k) {
  for (const check::Answered& a : check::next_step(work, k).answered) {
    const job::Capture* other = a.key == key ? nullptr : work.capture(a.key);
    if (other != nullptr && same(c, *other)) return k.words.text("same-place", {{"label", other->label}});
  }
  for (const check::PastStation& past : k.history) {
    const bool own = work.job.station && past.job.station && past.job.station->uid == work.job.station->uid;
    if (own) continue;
    for (const auto& [test, other] : past.tests) {
      if (same(c, other))
        return k.words.text("same-unit",
                            {{"label", other.label}, {"title", past.job.title}, {"ref", past.job.ref}});
    }
  }
  return {};
}

}  // namespace linebench::app
