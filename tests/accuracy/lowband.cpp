// Video through a sound card.
#include <cmath>

#include "accuracy/card.hpp"
#include "lowband/measuring.hpp"

namespace accuracy {
namespace {

using lowband_synth::Card;

std::vector<Found> structure(unsigned seed) {
  Draw d(seed);
  Card c = d.coin() ? lowband_synth::card_525() : Card{};
  c.rate_hz = d.one_of({44100, 48000, 96000, 192000});
  c.broad_us += (c.lines == 525 ? 0.1 : 0.2) * d.between(-1, 1);  // the standards' tolerances
  c.equalising_us += d.between(-0.1, 0.1);
  c.coupling_hz = d.between(2, 20);
  c.top_mv = d.between(70, 650);
  c.bottom_mv = d.between(70, 650);
  c.noise_mv = d.octaves(1, 20);
  c.gain = d.octaves(0.6, 1.4);
  c.start_s = d.between(0, 0.04);
  c.line_hz *= 1 + d.between(-1e-4, 1e-4);
  const double active = c.line_us() - c.active_from_us - c.front_porch_us;
  const bool is_525 = c.lines == 525;
  // Mean of the active picture over the standards' whole active line and field.
  const double share = is_525 ? active / (c.line_us() - 10.9) : (286 * active) / (287.5 * 52);
  Trial t(lowband_test::measured(c, d.octaves(0.8, 2), seed));
  t.expect("video.sync.amplitude", c.gain * c.sync_mv);
  t.expect("video.line.frequency", c.line_hz);
  t.expect("video.field.frequency", c.field_hz());
  t.expect("video.gain", 100 * c.gain);
  if (!is_525) t.expect("video.apl", 100 * c.gain * c.picture_mean_mv() / 700 * share);
  return std::move(t).found();
}

std::vector<Found> hum(unsigned seed) {
  Draw d(seed);
  Card c;
  c.rate_hz = d.one_of({44100, 48000});
  c.top_mv = 560;
  c.bottom_mv = 140;
  c.coupling_hz = 10;
  c.hum_hz = d.coin() ? d.between(48, 49.2) : d.between(50.8, 52);
  c.hum_pp_mv = d.octaves(8, 100);
  c.noise_mv = d.octaves(2, 25);
  c.phase = d.between(0, 6);
  c.full_scale_v = 4;
  Trial t(lowband_test::measured(c, d.octaves(1.5, 4), seed));
  t.expect("video.hum.level", c.hum_pp_mv);
  t.expect("video.hum.harmonic.1", c.hum_pp_mv);
  t.expect("video.hum.frequency", c.hum_hz);
  return std::move(t).found();
}

}  // namespace

void add_lowband_cases(std::vector<Case>& to) {
  to.push_back(
      {"lowband",
       "525 and 625 lines, picture of 70 to 650 mV, level 0.6 to 1.4, noise of 1 to 20 mV, coupling 2 to 20 "
       "Hz, 44.1 to 192 kHz, 0.8 to 2 s",
       120, structure});
  to.push_back(
      {"lowband", "hum of 8 to 100 mV beside the field rate, noise of 2 to 25 mV, 1.5 to 4 s", 100, hum});
}

}  // namespace accuracy
