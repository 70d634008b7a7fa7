#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/response.hpp>
#include <linebench/standards/third_octave.hpp>
#include <numbers>
#include <vector>

#include "response_path.hpp"

namespace linebench::measure {
namespace {

using namespace response;

constexpr double late_echo_s = 0.03;  // what is later the ear hears by itself (common practice)
constexpr double clear_lag = 7.0;     // correlation peak over its rms that chance does not reach
constexpr std::size_t fewest_points = 3;
constexpr double floor_db = 0.01;  // arithmetic, windows, band fits
constexpr double edge_db = -3.0;
constexpr double silent = 1e-7;  // rms: below the last bit of 24
// What a path's own dispersion may add to a clock read from a sweep: samples from one end of it to the other.
constexpr double sweep_dispersion = 2.0;
constexpr double segment_clock_model = 0.2e-6;
constexpr double least_clock_samples = 0.2;  // over the whole signal: less is not worth re-timing

struct Loaded {
  std::vector<std::vector<float>> channels;
  CaptureFacts facts;
  bool more = false;
};

Loaded load(AudioSource& source, double longest_s, const StopFlag* stop) {
  Loaded l;
  l.facts = source.facts();
  const auto channels = static_cast<std::size_t>(l.facts.channels);
  if (channels == 0 || !(l.facts.sample_rate_hz > 0)) {
    throw unusable(fmt::format("{}: holds no audio channels; give an audio file", l.facts.source));
  }
  l.channels.resize(channels);
  const auto most = static_cast<std::size_t>(longest_s * l.facts.sample_rate_hz);
  std::vector<float> buffer(16384 * channels);
  while (l.channels[0].size() < most) {
    if (stop != nullptr && stop->load()) break;
    const std::size_t n = std::min(source.read(buffer), most - l.channels[0].size());
    if (n == 0) break;
    for (std::size_t c = 0; c < channels; ++c) {
      for (std::size_t i = 0; i < n; ++i) l.channels[c].push_back(buffer[i * channels + c]);
    }
  }
  l.more = l.channels[0].size() >= most;
  if (l.channels[0].empty())
    throw unusable(fmt::format("{}: holds no samples; record again", l.facts.source));
  const double s = static_cast<double>(l.channels[0].size()) / l.facts.sample_rate_hz;
  if (s < response_shortest_s) {
    throw unusable(fmt::format("{}: {:.2f} s is too short for a response; {:.1f} s are needed",
                               l.facts.source, s, response_shortest_s));
  }
  return l;
}

const char* const ids[] = {
    "audio.response",           "audio.response.gain",      "audio.response.coherence",
    "audio.response.band_low",  "audio.response.band_high", "audio.response.delay",
    "audio.response.polarity",  "audio.response.clock",     "audio.response.echo.delay",
    "audio.response.echo.level"};

void all_unmeasurable(Readings& out, const std::string& suffix, const std::string& why) {
  for (const char* id : ids) out.push_back(unmeasurable(id + suffix, why));
}

// The card's level and the minimum phase that goes with it; its delay is taken off in the end.
void take_card_out(std::vector<SubBand>& bands, const CardResponse& card, double rate_hz) {
  if (card.gain.x.empty()) return;
  const std::vector<double> weight(card.gain.x.size(), 1.0);
  const MinimumPhase minimum(card.gain.x, card.gain.y, weight, rate_hz, 0.5);
  const std::vector<double>& x = card.gain.x;
  const std::vector<double>& y = card.gain.y;
  for (SubBand& b : bands) {
    const auto i = static_cast<std::size_t>(std::upper_bound(x.begin(), x.end(), b.hz) - x.begin());
    double db = 0;
    if (i == 0) {
      db = y.front();
    } else if (i == x.size()) {
      db = y.back();
    } else {
      db = y[i - 1] + (y[i] - y[i - 1]) * std::log(b.hz / x[i - 1]) / std::log(x[i] / x[i - 1]);
    }
    b.cross *= std::polar(amplitude_from_db(-db), -minimum.phase(b.hz));
    b.returned *= power_from_db(-db);
  }
}

// What is not known about the card is not known about the path either.
void add_card_uncertainty(std::vector<Point>& points, const Curve& card) {
  if (card.uncertainty.empty()) return;
  for (Point& q : points) {
    const auto i = static_cast<std::size_t>(std::lower_bound(card.x.begin(), card.x.end(), q.hz * 0.99) -
                                            card.x.begin());
    q.sigma_db = std::hypot(q.sigma_db, card.uncertainty[std::min(i, card.uncertainty.size() - 1)] / 2);
  }
}

// Frequency where the profile falls 3 dB below the reference, going from 1 kHz outward.
struct Edge {
  std::optional<double> hz;
  double uncertainty_hz = 0;
  double reached_hz = 0;  // how far it was looked
};

Edge edge(const Profile& p, double reference_db, double start_hz, bool upward) {
  // Smoothed over a sixth of an octave, so that an echo's comb is not an edge.
  Edge e;
  e.reached_hz = start_hz;
  const auto level = [&](std::size_t i) {
    double s = 0, sum = 0, sx = 0, sxx = 0, sxy = 0;
    for (std::size_t j = 0; j < p.hz.size(); ++j) {
      const double x = std::log2(p.hz[j] / p.hz[i]);
      if (std::abs(x) > 1.0 / 12) continue;
      s += 1, sum += p.db[j], sx += x, sxx += x * x, sxy += x * p.db[j];
    }
    const double spread = sxx - sx * sx / s;
    const double slope = spread > 1e-9 ? (sxy - sx * sum / s) / spread : 0;
    return sum / s - slope * sx / s;
  };
  double last_hz = 0;
  double last_db = 0;
  for (std::size_t step = 0; step < p.hz.size(); ++step) {
    const std::size_t i = upward ? step : p.hz.size() - 1 - step;
    if (upward ? p.hz[i] < start_hz : p.hz[i] > start_hz) continue;
    const double db = level(i) - reference_db;
    if (db <= edge_db && last_hz > 0) {
      const double share = (edge_db - last_db) / (db - last_db);
      e.hz = last_hz * std::pow(p.hz[i] / last_hz, std::clamp(share, 0.0, 1.0));
      const double slope =
          std::abs((db - last_db) / std::log(p.hz[i] / last_hz));  // dB per neper of frequency
      e.uncertainty_hz = *e.hz * (0.005 + 0.1 / std::max(slope, 0.5));
      return e;
    }
    last_hz = p.hz[i];
    last_db = db;
    e.reached_hz = p.hz[i];
  }
  return e;
}

void add_levels(Readings& out, const std::string& suffix, const std::vector<Point>& points, const Profile& p,
                const std::string& remark) {
  // The reference is 1 kHz, or the nearest band that came back.
  const Point* reference = nullptr;
  for (const Point& q : points) {
    if (q.good && (reference == nullptr ||
                   std::abs(std::log(q.hz / 1000)) < std::abs(std::log(reference->hz / 1000)))) {
      reference = &q;
    }
  }
  Curve curve{{}, {}, "Hz", "dB", {}};
  Curve coherence{{}, {}, "Hz", "", {}};
  std::string left_out;
  for (const Point& q : points) {
    coherence.x.push_back(q.hz);
    coherence.y.push_back(q.coherence);
    if (!q.good) {
      left_out += (left_out.empty() ? "" : ", ") +
                  std::string(standards::third_octaves()[coherence.x.size() - 1].nominal);
      continue;
    }
    curve.x.push_back(q.hz);
    curve.y.push_back(q.db - reference->db);
    curve.uncertainty.push_back(
        &q == reference
            ? floor_db
            : floor_db + 2 * std::sqrt(q.sigma_db * q.sigma_db + reference->sigma_db * reference->sigma_db));
  }
  const double away = std::abs(std::log(reference->hz / 1000));
  std::string note = remark;
  const auto add = [&note](const std::string& s) { note += (note.empty() ? "" : "; ") + s; };
  if (away > 0.01) add(fmt::format("0 dB at {:.0f} Hz, since nothing came back at 1 kHz", reference->hz));
  if (!left_out.empty()) add("left out, not sent or not coherent with what was sent: " + left_out);
  out.push_back(curve_reading("audio.response" + suffix, std::move(curve), std::nullopt, note));
  const std::string gain = "audio.response.gain" + suffix;
  if (away > 0.12) {
    out.push_back(unmeasurable(gain, "1 kHz was not sent or did not come back; send a signal that holds it"));
  } else {
    out.push_back(number_reading(gain, reference->db, floor_db + 2 * reference->sigma_db));
  }
  out.push_back(curve_reading("audio.response.coherence" + suffix, std::move(coherence), std::nullopt));

  for (const bool upward : {false, true}) {
    const std::string id = (upward ? "audio.response.band_high" : "audio.response.band_low") + suffix;
    if (p.hz.size() < 2 * points.size()) {
      out.push_back(unmeasurable(id, "the signal holds too few frequencies; send a sweep or noise"));
      continue;
    }
    const Edge e = edge(p, reference->db, reference->hz, upward);
    if (e.hz) {
      out.push_back(number_reading(id, *e.hz, e.uncertainty_hz));
    } else if (upward) {
      out.push_back(
          unmeasurable(id, fmt::format("no fall of 3 dB up to {:.0f} Hz, the highest that was sent and came "
                                       "back; send a wider signal",
                                       e.reached_hz)));
    } else {
      out.push_back(
          unmeasurable(id,
                       fmt::format("no fall of 3 dB down to {:.0f} Hz, the lowest that was sent and came "
                                   "back; send a wider signal",
                                   e.reached_hz),
                       e.reached_hz));
    }
  }
}

struct Path {
  Cut part;
  std::optional<PathSpectra> spectra;
  std::vector<SubBand> bands;
  std::vector<Point> points;
  Profile profile;
  Excess excess;
};

Path analyse(std::span<const float> sent, std::span<const float> returned, double lag, double rate_hz,
             const ResponseOptions& options) {
  Path p;
  p.part = cut(sent, returned, lag, rate_hz);
  if (p.part.sent.empty()) return p;
  p.spectra.emplace(p.part.sent, p.part.returned, p.part.before, rate_hz);
  double late = p.part.rest;
  // The lag comes from a coarse search; narrow bands add up rightly only about the true delay, so twice.
  for (int round = 0; round < 2; ++round) {
    p.bands = p.spectra->sub_bands(late);
    if (options.card) take_card_out(p.bands, *options.card, rate_hz);
    p.points = third_octave_points(p.bands, rate_hz);
    p.profile = profile(p.bands, p.points);
    p.excess = excess_delay(p.profile, rate_hz);
    p.excess.late += late;
    p.excess.sampled_late += late;
    late = p.excess.late;
  }
  return p;
}

std::size_t good_points(const Path& p) {
  return static_cast<std::size_t>(
      std::count_if(p.points.begin(), p.points.end(), [](const Point& q) { return q.good; }));
}

void measure_path(Readings& out, const std::string& suffix, std::span<const float> sent,
                  std::span<const float> returned_as_is, double rate_hz, const Alignment& found,
                  const ResponseOptions& options, std::string remark) {
  const auto add = [&remark](const std::string& s) { remark += (remark.empty() ? "" : "; ") + s; };
  double lag = found.lag;
  double clock = 0;
  double clock_uncertainty = 0;
  std::vector<float> retimed;
  std::span<const float> returned = returned_as_is;
  const auto correct = [&](const std::optional<ClockFit>& fit, double model_uncertainty) {
    const double samples = static_cast<double>(sent.size());
    if (!fit || std::abs(fit->clock) < 2 * fit->uncertainty + model_uncertainty ||
        std::abs(fit->clock) * samples < least_clock_samples) {
      return false;
    }
    clock = (1 + clock) * (1 + fit->clock) - 1;
    clock_uncertainty = fit->uncertainty + model_uncertainty;
    retimed = retime(returned_as_is, clock);
    returned = retimed;
    lag = find_lag(sent, returned, rate_hz).lag;
    return true;
  };
  std::optional<ClockFit> rest;  // of the clock, in what is left after correction
  const auto by_segments = clock_from_segments(sent, returned, rate_hz, lag);
  double model = segment_clock_model;
  rest = by_segments;
  if (correct(by_segments, segment_clock_model)) {
    // What the smeared first look left over.
    rest = clock_from_segments(sent, returned, rate_hz, lag);
    if (correct(rest, segment_clock_model)) rest->clock = 0;
    if (!rest) rest = ClockFit{0, by_segments->uncertainty, 0};
  }
  Path path = analyse(sent, returned, lag, rate_hz, options);
  if (!by_segments && good_points(path) > 12) {
    const auto by_sweep = clock_from_sweep(path.profile, rate_hz);
    model = sweep_dispersion / static_cast<double>(sent.size());
    rest = by_sweep;
    if (correct(by_sweep, model)) {
      Path retimed_path = analyse(sent, returned, lag, rate_hz, options);
      // A path's own dispersion and echoes look like a clock; only the right clock leaves one delay to all
      // bands.
      if (retimed_path.excess.clear > path.excess.clear - 1e-3) {
        path = std::move(retimed_path);
        rest = clock_from_sweep(path.profile, rate_hz);
        if (!rest) rest = ClockFit{0, by_sweep->uncertainty, 0};
      } else {
        rest->uncertainty += std::abs(rest->clock);
        clock = clock_uncertainty = 0;
        lag = found.lag;
        returned = returned_as_is;
      }
    }
  }
  const std::size_t good = path.spectra ? good_points(path) : 0;
  if (good == 0 || (good < fewest_points && found.standing_out < clear_lag)) {
    all_unmeasurable(out, suffix,
                     "the sent signal is not in the return; check the cabling and that the sent file is "
                     "the one that was played, then send again, louder");
    return;
  }
  if (likely_swapped(sent, returned_as_is, found.lag, rate_hz)) {
    add("SENT and RETURNED are likely swapped: the first holds the second from later on, with noise about "
        "it; "
        "give what was sent first");
  }
  if (path.part.used < 0.98) {
    add(fmt::format("the return holds {:.0f} % of the sent signal", 100 * path.part.used));
  }
  if (clock != 0) {
    add(fmt::format("the return's clock is {:.1f} +- {:.1f} ppm {} and was corrected", std::abs(clock) * 1e6,
                    clock_uncertainty * 1e6, clock > 0 ? "fast" : "slow"));
  }
  if (options.card) add_card_uncertainty(path.points, options.card->gain);
  add_levels(out, suffix, path.points, path.profile, remark);

  const std::string clock_id = "audio.response.clock" + suffix;
  if (rest) {
    out.push_back(number_reading(clock_id, 1e6 * ((1 + clock) * (1 + rest->clock) - 1),
                                 1e6 * (rest->uncertainty + model),
                                 clock != 0 ? "corrected in the other readings" : ""));
  } else {
    out.push_back(
        unmeasurable(clock_id,
                     "too short or too narrow to tell sender's and recorder's clocks apart; send ten "
                     "seconds of noise or a sweep"));
  }

  const double samples = (std::floor(lag) + path.excess.late) * (1 + clock);
  const double delay = samples / rate_hz - (options.card ? options.card->delay_s : 0.0);
  // A tone or a few fit many delays; a wide band fits one.
  const bool wide = path.profile.hz.size() >= 8 && path.profile.hz.back() > 2 * path.profile.hz.front();
  if (wide && path.excess.clear > 0.5) {
    // A sweep's bands are sent one after the other: a clock difference left in moves the later ones, which
    // say most. Their arrivals bound it, and where they follow one line of phase, that does more closely.
    double slid = 0;
    if (!by_segments && rest) {
      slid = (std::abs(rest->clock) + 0.5 * rest->uncertainty) * static_cast<double>(sent.size());
      if (const auto by_phase = clock_from_phases(path.profile, rate_hz)) {
        slid = std::min(slid, (std::abs(by_phase->clock) + by_phase->uncertainty) * by_phase->about);
      }
    }
    std::string note;
    if (delay < -(path.excess.uncertainty + slid) / rate_hz)
      note = "the return starts before the sent file: the recording began late";
    out.push_back(
        number_reading("audio.response.delay" + suffix, delay,
                       (path.excess.uncertainty + std::abs(clock_uncertainty * lag) + slid) / rate_hz, note));
    out.push_back(number_reading("audio.response.polarity" + suffix, path.excess.polarity, std::nullopt));
    const EchoSearch echo = find_echo(*path.spectra, path.bands, path.profile, path.excess.sampled_late,
                                      path.part.returned.size());
    if (echo.strongest) {
      out.push_back(number_reading(
          "audio.response.echo.delay" + suffix, echo.strongest->delay_s, echo.strongest->delay_uncertainty_s,
          (echo.strongest->polarity * path.excess.polarity < 0 ? "reversed re the direct sound"
                                                               : std::string()) +
              (echo.up_to_s < 1.9
                   ? fmt::format("{}or later by whole times {:.3f} s, after which the signal repeats itself",
                                 echo.strongest->polarity * path.excess.polarity < 0 ? "; " : "",
                                 echo.up_to_s)
                   : std::string())));
      out.push_back(number_reading("audio.response.echo.level" + suffix, echo.strongest->level_db,
                                   echo.strongest->level_uncertainty_db));
      if (echo.strongest->delay_s >= late_echo_s)
        out.push_back(number_reading("audio.response.echo.late" + suffix, echo.strongest->level_db,
                                     echo.strongest->level_uncertainty_db));
    } else {
      const std::string why =
          fmt::format("no echo from 0.5 ms to {:.3g} s above {:.0f} dB{}", echo.up_to_s, echo.at_most_db,
                      echo.up_to_s < 1.9 ? "; the signal repeats itself after that" : "");
      out.push_back(unmeasurable("audio.response.echo.delay" + suffix, why));
      out.push_back(unmeasurable("audio.response.echo.level" + suffix, why, echo.at_most_db));
    }
  } else {
    const std::string why =
        wide ? "the phase of the return follows no single delay; look at the coherence, and send a "
               "sweep or noise"
             : "the signal is too narrow or holds too few frequencies; send a sweep, noise or speech";
    for (const char* id : {"audio.response.delay", "audio.response.polarity", "audio.response.echo.delay",
                           "audio.response.echo.level"}) {
      out.push_back(unmeasurable(id + suffix, why));
    }
  }
}

}  // namespace

Readings measure_response(AudioSource& sent_source, AudioSource& returned_source,
                          const ResponseOptions& options, const Progress& progress, const StopFlag* stop) {
  const CaptureFacts& a = sent_source.facts();
  const CaptureFacts& b = returned_source.facts();
  if (a.sample_rate_hz != b.sample_rate_hz) {
    throw unusable(
        fmt::format("{} has {:g} Hz and {} has {:g} Hz; resample the sent one to {:g} Hz and play that, or "
                    "record at its rate",
                    a.source, a.sample_rate_hz, b.source, b.sample_rate_hz, b.sample_rate_hz));
  }
  const double rate_hz = a.sample_rate_hz;
  if (progress) progress(0.0, "reading");
  const Loaded sent = load(sent_source, response_longest_s, stop);
  const Loaded returned = load(returned_source, response_longest_s + response_latest_s, stop);
  if (sent.channels == returned.channels) {
    throw unusable(
        fmt::format("{} and {} hold the same samples; give what was sent and the recording of what came back",
                    sent.facts.source, returned.facts.source));
  }
  Readings out;
  const auto channels = static_cast<int>(returned.channels.size());
  for (int c = 0; c < channels; ++c) {
    if (stop != nullptr && stop->load()) break;
    if (progress) progress(0.2 + 0.8 * c / channels, "comparing");
    const std::string suffix = channel_suffix(c, channels);
    const std::vector<float>& back = returned.channels[static_cast<std::size_t>(c)];
    if (rms(back) < silent) {
      all_unmeasurable(out, suffix,
                       "nothing came back on this channel; check its cable and that its input is on");
      continue;
    }
    // The sent channel of the same side, or the one that is found best.
    std::optional<std::size_t> which;
    Alignment found;
    for (std::size_t s = 0; s < sent.channels.size(); ++s) {
      if (rms(sent.channels[s]) < silent) continue;
      if (sent.channels.size() == returned.channels.size() && s != static_cast<std::size_t>(c)) continue;
      const Alignment l = find_lag(sent.channels[s], back, rate_hz);
      if (!which || l.standing_out > found.standing_out * 1.01) {
        which = s;
        found = l;
      }
    }
    if (!which) {
      all_unmeasurable(out, suffix, "nothing was sent on this channel; send a signal on it");
      continue;
    }
    std::string remark;
    if (sent.more) remark = fmt::format("from the first {:.0f} s of the sent signal", response_longest_s);
    measure_path(out, suffix, sent.channels[*which], back, rate_hz, found, options, remark);
  }
  if (progress) progress(1.0, "done");
  return out;
}

std::optional<CardResponse> card_response(const Readings& loop_back, std::string_view suffix) {
  const std::string end(suffix);
  const Reading* curve = find_reading(loop_back, "audio.response" + end);
  const Reading* gain = find_reading(loop_back, "audio.response.gain" + end);
  const Reading* delay = find_reading(loop_back, "audio.response.delay" + end);
  for (const Reading* r : {curve, gain, delay}) {
    if (r == nullptr || !r->measured()) return std::nullopt;
  }
  CardResponse card{curve->curve(), delay->number()};
  for (double& y : card.gain.y) y += gain->number();
  return card;
}

}  // namespace linebench::measure
