#include "readings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/standards/weighting.hpp>
#include <numbers>

namespace linebench::faultsim {
namespace {

// A value as a capture would give it: off by a part of its own uncertainty.
Reading read(const std::string& id, double truth, double u, Dice& d) {
  return number_reading(id, d.normal(truth, u / 2), u);
}

void level_or_bound(Readings& r, const std::string& id, double dbfs, double floor, double u, Dice& d) {
  if (dbfs > floor) {
    r.push_back(read(id, dbfs, u, d));
  } else {
    r.push_back(unmeasurable(id, "none found", floor));
  }
}

double noise_a_dbfs(const AudioPath& p, double mains) {
  double sum = p.noise_v * p.noise_v;
  for (int n = 1; n <= harmonics; ++n) {
    const double w = std::pow(10, standards::a_weighting_db(n * mains) / 10);
    sum += w * (p.hum[n] * p.hum[n] + p.field_hum[n] * p.field_hum[n]);
  }
  return 0.5 * 20 * std::log10(sum / (full_scale_v * full_scale_v));
}

void hum(Readings& r, const AudioPath& p, const std::string& suffix, const Installation& s, Dice& d) {
  // The comb that is stronger is the one that is found.
  double mains = 0, field = 0;
  for (int n = 1; n <= harmonics; ++n) {
    mains += p.hum[n] * p.hum[n];
    field += p.field_hum[n] * p.field_hum[n];
  }
  const bool by_field = field > mains;
  const double floor = d.uniform(-112, -98);
  const double level =
      10 * std::log10(std::max(by_field ? field : mains, 1e-20) / (full_scale_v * full_scale_v));
  if (level < floor) {
    r.push_back(unmeasurable("audio.hum.level" + suffix, "none found", floor));
    r.push_back(text_reading("audio.hum.kind" + suffix, "none"));
    return;
  }
  r.push_back(read("audio.hum.level" + suffix, level, 0.3, d));
  const double u = 0.002 + 0.02 * std::pow(10, (floor - level) / 20);
  r.push_back(read("audio.hum.frequency" + suffix, by_field ? s.field_hz : s.mains_hz, u, d));
  for (int n = 1; n <= harmonics; ++n) {
    const double v = by_field ? p.field_hum[n] : p.hum[n];
    const double h = db(v / full_scale_v);
    if (h > floor - 6) r.push_back(read(fmt::format("audio.hum.harmonic.{}{}", n, suffix), h, 0.4, d));
  }
}

void channel(Readings& r, const AudioPath& p, const std::string& suffix, const Installation& s,
             double minutes, Dice& d) {
  hum(r, p, suffix, s, d);
  level_or_bound(r, "audio.whistle.level" + suffix, db(p.whistle_v / full_scale_v), d.uniform(-112, -100),
                 0.5, d);
  r.push_back(unmeasurable("audio.whine.level" + suffix, "none found", -95));  // no path of the model has one
  level_or_bound(r, "audio.phone_burst.level" + suffix, db(p.phone_v / full_scale_v), d.uniform(-105, -92), 2,
                 d);
  r.push_back(number_reading("audio.click.count" + suffix, d.poisson(p.clicks * minutes), std::nullopt));
  r.push_back(number_reading("audio.dropout.count" + suffix, d.poisson(p.dropouts * minutes), std::nullopt));
  const double clipped = std::floor(p.clipped * minutes * d.uniform(0.7, 1.3));
  r.push_back(number_reading("audio.clip.samples" + suffix, clipped, std::nullopt));
  if (clipped > 0) r.push_back(read("audio.clip.level" + suffix, p.clip_dbfs, 0.05, d));
}

diagnose::Capture capture(const char* name, double seconds, double rate, int channels, const char* signal) {
  diagnose::Capture c;
  c.name = name;
  c.facts.source = name;
  c.facts.sample_rate_hz = rate;
  c.facts.frames = static_cast<std::uint64_t>(seconds * rate);
  c.facts.channels = channels;
  c.facts.signal = signal;
  return c;
}

diagnose::Capture sound(const char* name, double seconds, int channels, const char* signal) {
  diagnose::Capture c = capture(name, seconds, 48000, channels, signal);
  c.facts.full_scale_v = full_scale_v * std::numbers::sqrt2;  // a calibrated card
  return c;
}

diagnose::Capture lines(const Installation& s, Dice& d) {
  diagnose::Capture c = sound("lines.wav", 30, 2, "tone-1k");
  const char* suffix[] = {".left", ".right"};
  for (int k = 0; k < 2; ++k) {
    const AudioPath& p = s.lines[static_cast<std::size_t>(k)];
    const double tone = -18 + p.gain_db;
    const double hum_db = noise_a_dbfs(p, s.mains_hz);
    const bool steps = std::abs(p.step_db) > 0.2 && d.poisson(p.steps * 0.5) > 0;
    c.readings.push_back(read(std::string("audio.level.rms") + suffix[k],
                              10 * std::log10(std::pow(10, tone / 10) + std::pow(10, hum_db / 10)), 0.05, d));
    if (steps && tone > hum_db + 12) {
      // A tone that does not hold its level has no distortion or noise to read beside it.
      c.readings.push_back(read(std::string("audio.tone.step") + suffix[k], p.step_db, 0.1, d));
      c.readings.push_back(unmeasurable(std::string("audio.tone.level") + suffix[k], "comes and goes"));
      channel(c.readings, p, suffix[k], s, 0.5, d);
      continue;
    }
    if (tone > hum_db + 6) {
      c.readings.push_back(read(std::string("audio.tone.level") + suffix[k], tone, 0.05, d));
      c.readings.push_back(
          read(std::string("audio.thd") + suffix[k], p.thd_percent, 0.03 * p.thd_percent, d));
    } else {
      c.readings.push_back(unmeasurable(std::string("audio.tone.level") + suffix[k], "no steady tone"));
    }
    c.readings.push_back(read(std::string("audio.noise.a") + suffix[k], hum_db, 0.4, d));
    channel(c.readings, p, suffix[k], s, 0.5, d);
  }
  const double gap = s.lines[1].gain_db - s.lines[0].gain_db;
  // Below this a side carries no signal, whatever it is.
  constexpr double silent_dbfs = -75;
  const auto silent = [&](const AudioPath& p) {
    return 10 * std::log10(std::pow(10, (p.gain_db - 18) / 10) +
                           std::pow(10, noise_a_dbfs(p, s.mains_hz) / 10)) <
           silent_dbfs;
  };
  if (silent(s.lines[0]) && silent(s.lines[1])) {
    c.readings.push_back(text_reading("audio.pair.sides", "none"));
    return c;
  }
  if (std::abs(gap) < 30) {
    c.readings.push_back(number_reading("audio.pair.polarity",
                                        s.lines[0].reversed != s.lines[1].reversed ? -1 : 1, std::nullopt));
    c.readings.push_back(read("audio.pair.gain", gap, 0.05, d));
    c.readings.push_back(text_reading("audio.pair.sides", "mono"));
  } else {
    c.readings.push_back(text_reading("audio.pair.sides", gap > 0 ? "right only" : "left only"));
  }
  level_or_bound(c.readings, "audio.pair.crosstalk", s.crosstalk_db, d.uniform(-78, -64), 0.6, d);
  return c;
}

diagnose::Capture programme(const Installation& s, Dice& d) {
  diagnose::Capture c = sound("feed.wav", 40, 2, "");
  const char* suffix[] = {".left", ".right"};
  const double base = -23 + s.feed_db + s.feed[0].gain_db;
  for (int k = 0; k < 2; ++k) {
    const AudioPath& p = s.feed[static_cast<std::size_t>(k)];
    const bool silent = s.feed_one_side && k == 1;
    c.readings.push_back(read(std::string("audio.level.rms") + suffix[k], silent ? -80 : base, 0.4, d));
    channel(c.readings, p, suffix[k], s, 40.0 / 60, d);
  }
  c.readings.push_back(read("audio.loudness.integrated", base - (s.feed_one_side ? 3 : 0), 0.2, d));
  c.readings.push_back(text_reading("audio.pair.sides", s.feed_one_side ? "left only"
                                                        : s.feed_mono   ? "mono"
                                                                        : "both"));
  if (!s.feed_one_side) {
    c.readings.push_back(number_reading("audio.pair.polarity", s.feed_reversed ? -1 : 1, std::nullopt));
    c.readings.push_back(read("audio.pair.gain", s.feed[1].gain_db - s.feed[0].gain_db, 0.1, d));
  }
  return c;
}

diagnose::Capture response(const Installation& s, Dice& d) {
  diagnose::Capture c = sound("line-1-response.wav", 10, 1, "sweep-speech");
  const AudioPath& p = s.lines[0];
  if (p.gain_db < -50) return c;
  c.readings.push_back(read("audio.response.gain", p.gain_db, 0.1, d));
  c.readings.push_back(number_reading("audio.response.polarity", p.reversed ? -1 : 1, std::nullopt));
  Curve curve{{315, 400, 1000, 2500, 3150}, {p.bottom_db, p.bottom_db, 0, p.top_db, p.top_db}, "Hz", "dB"};
  for (double& y : curve.y) y += d.normal(0, 0.1);
  c.readings.push_back(curve_reading("audio.response", curve, 0.2));
  return c;
}

double scale_of(double db_value) { return std::pow(10, db_value / 20); }

double hum_pp(const Comb& c) {
  double sum = 0;
  for (int n = 1; n <= 6; ++n) sum += c[n] * c[n];
  return 2.6 * std::sqrt(sum);
}

// The same among a picture's rows, in % of white: by the rms of its noise, from two turns a row on.
void pattern(Readings& r, const VideoPath& v, double hold) {
  Dice d(static_cast<std::uint64_t>(v.tone_hz));
  const double percent = v.tone_mv / 7 * hold;
  const double least = 0.15 + 0.05 * v.noise_mv;
  if (percent > least && v.tone_hz > 40e3 && v.tone_hz < 6e6) {
    r.push_back(read("picture.noise.periodic.level", percent, 0.03 * percent + 0.03, d));
    r.push_back(read("picture.noise.periodic.frequency", v.tone_hz, 5e-5 * v.tone_hz, d));
  } else {
    r.push_back(unmeasurable("picture.noise.periodic.level", "none found", least));
  }
  r.push_back(number_reading("picture.noise.periodic.from", 40e3, std::nullopt));
}

void periodic(Readings& r, const VideoPath& v, double from_hz, Dice& d) {
  const double level = v.tone_mv * scale_of(v.gain_db);
  if (level > 0.5 && v.tone_hz > from_hz) {
    r.push_back(read("video.noise.periodic.level", level, 0.1 * v.tone_mv, d));
    r.push_back(read("video.noise.periodic.frequency", v.tone_hz, 100, d));
  } else {
    r.push_back(unmeasurable("video.noise.periodic.level", "none found", 0.5));
  }
  r.push_back(number_reading("video.noise.periodic.from", from_hz, std::nullopt));
}

diagnose::Capture flat_field(const Installation& s, Dice& d) {
  diagnose::Capture c = capture("camera-grey.raw", 2, 20e6, 1, "video-grey-50");
  const VideoPath& v = s.video;
  c.readings.push_back(text_reading("video.signal", v.present ? "present" : "none"));
  if (v.present) periodic(c.readings, v, 35e3, d);
  return c;
}

diagnose::Capture waveform(const Installation& s, Dice& d) {
  const VideoPath& v = s.video;
  diagnose::Capture c = capture("camera.raw", 2, 20e6, 1, "video-bars-100");
  Readings& r = c.readings;
  r.push_back(text_reading("video.signal", v.present ? "present" : "none"));
  if (!v.present) return c;
  r.push_back(text_reading("video.system", v.system));
  r.push_back(text_reading("video.polarity", v.inverted ? "inverted" : "normal"));
  r.push_back(text_reading("video.interlaced", v.interlaced ? "yes" : "no"));
  const bool is_625 = v.system == "625";
  const double lines = is_625 ? 31250 : 31468;
  r.push_back(number_reading("video.sync.missing", d.poisson(v.missing * lines / 1000), std::nullopt));
  const double g = scale_of(v.gain_db);
  const double sync = (is_625 ? 300 : 285.7) * g * scale_of(v.sync_db);
  r.push_back(read("video.sync.amplitude", sync, 0.004 * sync, d));
  r.push_back(read("video.sync.rise", v.rise_ns, 6, d));
  r.push_back(read("video.sync.jitter", v.jitter_ns, 0.15 * v.jitter_ns, d));
  if (v.colour) {
    const double burst = (is_625 ? 300 : 285.7) * g * scale_of(v.burst_db) * v.near_echo_on_burst();
    r.push_back(read("video.burst.amplitude", burst, 0.006 * burst + 0.3, d));
  } else {
    r.push_back(unmeasurable("video.burst.amplitude",
                             "no colour burst was found; check that the source sends colour"));
  }
  r.push_back(read("video.setup", v.setup_mv * g, 1.2, d));
  r.push_back(read("video.white", (is_625 ? 700 : 714.3) * g * scale_of(v.white_db), 3, d));
  const double pp = hum_pp(v.hum_mv) * g;
  const double least = d.uniform(0.5, 1.5);
  r.push_back(read("video.field.frequency", s.field_hz, 0.001, d));
  if (pp > least) {
    r.push_back(read("video.hum.level", pp, 0.1 * least + 0.02 * pp, d));
    r.push_back(read("video.hum.frequency", s.mains_hz, 0.01 + 0.1 * least / pp, d));
    for (int n = 1; n <= 6; ++n) {
      const double h = 2.83 * v.hum_mv[n] * g;
      if (h > 0.4 * least)
        r.push_back(read(fmt::format("video.hum.harmonic.{}", n), h, 0.1 * least + 0.02 * h, d));
    }
  } else {
    r.push_back(unmeasurable("video.hum.level", "none found", least));
  }
  r.push_back(read("video.noise", v.noise_mv * g, 0.08 * v.noise_mv, d));
  // Sync tips and back porches are a tenth of the time.
  const double watched_s = 0.1 * c.facts.duration_s();
  const int hit = d.poisson(v.impulses * watched_s);
  // So many keep time with something or with nothing [Rayleigh's test]; fewer do not tell.
  if (v.impulses_by_mains ? hit > 11 : hit > 16)
    r.push_back(text_reading("video.impulses.rhythm", v.impulses_by_mains ? "mains" : "nothing"));
  r.push_back(hit > 0
                  ? number_reading("video.impulses", hit / watched_s, (2 * std::sqrt(hit) + 1) / watched_s)
                  : unmeasurable("video.impulses", "none", 3 / watched_s));
  periodic(r, v, 35e3, d);
  const double echo = db(std::abs(v.echo));
  const double echo_floor = d.uniform(-46, -40);
  const bool seen = v.echo_s > echo_told_from_s && echo > echo_floor;
  if (seen) {
    r.push_back(read("video.echo.level", echo, 1, d));
  } else {
    r.push_back(unmeasurable("video.echo.level",
                             echo > -26 && d.chance(0.3)
                                 ? "something like an echo follows the edges"
                                 : "none found; nearer ones look like the edge itself",
                             echo_floor));
  }
  if (seen) r.push_back(number_reading("video.echo.polarity", v.echo < 0 ? -1 : 1, std::nullopt));
  r.push_back(read("video.cable.loss", v.loss_db, 0.4, d));
  r.push_back(read("video.differential_gain", v.nonlinearity, 0.3 + 0.03 * v.nonlinearity, d));
  r.push_back(read("video.field_tilt", v.tilt, 0.2, d));
  return c;
}

// Saturation and hue of full bars: above 1.35 times their size all colours are cut off where codes end.
void colours(Readings& r, const VideoPath& v, double gain, Dice& d) {
  using enum VideoPath::Parts;
  const char* parts = v.parts == Exchanged     ? "Cb and Cr stand in each other's place"
                      : v.parts == OneReversed ? "Cr (the V axis) is upside down"
                      : v.parts == OneOpen     ? "Cr is lost"
                                               : nullptr;
  gain *= scale_of(v.colour_db + std::clamp(v.cable_burst_db - v.burst_db, -6.0, 8.0));
  const char* why =
      gain > 1.35 ? "Cb and Cr are cut off where codes end; turn the grabber's colour down" : parts;
  if (why != nullptr) {
    r.push_back(unmeasurable("picture.saturation", why));
    r.push_back(unmeasurable("picture.hue", why));
    return;
  }
  r.push_back(read("picture.saturation", gain * scale_of(d.normal(0, 0.3)), 0.01, d));
  const double turn = std::remainder(v.hue_deg + (v.parts == BothReversed ? 180 : 0), 360);
  r.push_back(read("picture.hue", turn, 0.4, d));
}

diagnose::Capture picture(const Installation& s, Dice& d) {
  const VideoPath& v = s.video;
  diagnose::Capture c = capture("picture.yuv", 20, s.field_hz / 2, 1, "video-bars-100");
  Readings& r = c.readings;
  const bool seen = v.present && !v.inverted;
  r.push_back(text_reading("picture.signal", seen ? "present" : "none"));
  if (!seen) return c;
  const bool other_system = v.system.substr(0, 3) != s.system.substr(0, 3);
  const bool coloured = v.colour && !(other_system && d.chance(0.8)) && v.burst_db > -14;
  r.push_back(text_reading("picture.colour", coloured ? "present" : "none"));
  // The grabber's gain control holds sync; hum and noise are seen against white, its own noise beside them.
  const double hold = scale_of(-v.sync_db);
  const double hum_percent = std::hypot(hum_pp(v.hum_mv) / 7 * hold, 0.05);
  r.push_back(hum_percent > 0.15 ? read("picture.hum.level", hum_percent, 0.05 + 0.05 * hum_percent, d)
                                 : unmeasurable("picture.hum.level", "none found", 0.15));
  if (hum_percent > 0.3) {
    // The lowest multiple that is a good part of the hum.
    int lowest = 1;
    while (v.hum_mv[lowest] < 0.2 * *std::max_element(v.hum_mv.begin() + 1, v.hum_mv.begin() + 9)) ++lowest;
    const double hz = lowest * s.mains_hz;
    r.push_back(read("picture.hum.frequency", hz, 0.004, d));
    r.push_back(read("picture.hum.bar_rate", hz - s.field_hz * std::round(hz / s.field_hz), 0.004, d));
  }
  const bool rolls = other_system || v.sync_db < -6.5 || v.missing > 150 || (!v.interlaced && d.chance(0.2));
  r.push_back(read("picture.roll", rolls ? d.uniform(2, 60) : 0, 0.1, d));
  r.push_back(read("picture.jitter", std::hypot(0.06, v.jitter_ns / 74 + 0.01 * v.missing), 0.02, d));
  r.push_back(read("picture.tear", std::hypot(0.2, v.missing > 0.5 ? d.log_uniform(1, 40) : 0.2), 0.1, d));
  r.push_back(read("picture.flagging", v.flagging_us * 13.5 * std::exp(-1), 0.3, d));
  r.push_back(read("picture.noise", std::hypot(0.6, 0.31 * v.noise_mv * hold), 0.05, d));
  pattern(r, v, hold);
  level_or_bound(r, "picture.echo.level", v.echo_s > 0.63e-6 ? db(std::abs(v.echo)) : -99,
                 d.uniform(-42, -35), 1.5, d);
  // Chroma's gain control follows the burst through what a cable loses, up to some 6 dB of it.
  const double loss_fsc = v.loss_db * std::sqrt((v.system == "625" ? 4.43 : 3.58) / 5);
  const double chroma = scale_of(0.5 * std::min(0.0, 6 - loss_fsc));
  if (coloured) colours(r, v, chroma, d);
  const double lift = (v.setup_mv - s.expected_setup_mv()) / (714.3 - s.expected_setup_mv());
  const double black = lift + v.brightness / 100;
  r.push_back(read("picture.luma.black", std::max(1.0, 16 + 219 * black), 0.3, d));
  const double luma = scale_of(v.white_db - v.sync_db + v.contrast_db) * (1 - lift);
  const double gain = 100 * luma * scale_of(d.normal(0, 0.2));
  const double low = gain * scale_of(-v.hunting_db);
  if (v.hunting_db > 0.1) {
    r.push_back(number_reading("picture.luma.gain", low, gain - low));
    r.push_back(read("picture.level.step", v.hunting_db, 0.05, d));
  } else {
    r.push_back(read("picture.luma.gain", gain, 0.5, d));
    r.push_back(unmeasurable("picture.level.step", "none found", 0.1 + 0.015 * v.noise_mv * hold));
  }
  r.push_back(read("picture.clipped",
                   luma + black > 1.08 || black < -0.06 ? d.uniform(2, 15) : d.uniform(0.01, 0.1), 0.01, d));
  r.push_back(number_reading("picture.frames.dropped", d.poisson(v.lost_frames * 0.5), std::nullopt));
  return c;
}

}  // namespace

std::vector<diagnose::Capture> read_all(const Installation& s, Dice& d) {
  return {lines(s, d), programme(s, d), response(s, d), waveform(s, d), picture(s, d), flat_field(s, d)};
}

}  // namespace linebench::faultsim
