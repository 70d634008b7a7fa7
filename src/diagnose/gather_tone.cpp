// A steady tone on the video, in the waveform or in the picture.
#include "gather.hpp"

namespace linebench::diagnose {

// On a live picture a tone that stands still may be a fine pattern of it, and is then no more than a bound.
// That none was found says nothing of what was not looked through.
void gather_tone(const Capture& c, const std::string& readings, double mv_each, bool patterned,
                 Gatherer& out) {
  constexpr double looked_from_hz = 40e3;  // switch-mode supplies work from some 40 kHz on
  const Readings& r = c.readings;
  const Reading* level = find_reading(r, readings + ".level");
  const auto from = number_of(r, readings + ".from");
  if (level == nullptr) return;
  // Bars, clean, are looked through from 35 kHz on: something lies there. A tone that nobody sees, found
  // above, is not it.
  constexpr double seen_by_nobody_mv = 1;
  const bool hidden = patterned && from && from->value > looked_from_hz;
  if (hidden && (!level->measured() || level->number() * mv_each < seen_by_nobody_mv))
    out.word("video.noise.search", "not from 40 kHz on", c.name,
             fmt::format("from {:.0f} kHz", from->value / 1e3));
  if (!level->measured()) {
    if (level->at_most && from && from->value <= looked_from_hz)
      out.bound("video.noise.periodic", *level->at_most * mv_each, 0, c.name);
    return;
  }
  const double mv = level->number() * mv_each;
  const double u_mv = level->uncertainty.value_or(0) * mv_each;
  // Of the thousands of places a search looks at, one stands out of plain noise by some four deviations now
  // and then: what names a supply stands out by six.
  constexpr double told_apart = 3;  // of k=2
  if (mv < told_apart * u_mv) return out.bound("video.noise.periodic", mv + u_mv, 0, c.name);
  if (!patterned && level->reason.find("stands still") != std::string::npos)
    return out.bound("video.noise.periodic", mv + u_mv, 0, c.name);
  out.number("video.noise.periodic", mv, u_mv, c.name);
  if (const auto f = number_of(r, readings + ".frequency"))
    out.word("video.noise.rate", f->value < 600e3 ? "20 to 600 kHz" : "higher", c.name,
             fmt::format("{:.1f} kHz", f->value / 1e3));
}

}  // namespace linebench::diagnose
