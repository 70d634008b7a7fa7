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

constexpr double before_s = 0.05;  // of the return ahead of the direct sound
constexpr double after_s = 2.2;    // behind the end of the sent signal, for its echoes
constexpr double taper_s = 0.02;   // where the return holds only part of the sent signal
constexpr double clear_lag = 7.0;  // correlation peak over its rms that chance does not reach
constexpr std::size_t fewest_points = 3;
constexpr double floor_db = 0.01;  // arithmetic, windows, band fits
constexpr double edge_db = -3.0;
constexpr double silent = 1e-7;              // rms: below the last bit of 24
constexpr double sweep_clock_model = 3e-6;   // what a path's own dispersion adds to a clock read from a sweep
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

double rms(std::span<const float> x) {
  double s = 0;
  double m = 0;
  for (const float v : x) {
    s += static_cast<double>(v) * static_cast<double>(v);
    m += static_cast<double>(v);
  }
  const auto n = static_cast<double>(x.size());
  return std::sqrt(std::max(0.0, s / n - m / n * (m / n)));
}

const char* const ids[] = {
    "audio.response",          "audio.response.gain",       "audio.response.coherence",
    "audio.response.band_low", "audio.response.band_high",  "audio.response.delay",
    "audio.response.polarity", "audio.response.echo.delay", "audio.response.echo.level"};

void all_unmeasurable(Readings& out, const std::string& suffix, const std::string& why) {
  for (const char* id : ids) out.push_back(unmeasurable(id + suffix, why));
}

// The part of sent and return that belong together, cut out.
struct Cut {
  std::vector<float> sent, returned;
  std::size_t before = 0;
  double rest = 0;  // samples by which the direct sound is later than `before`
  double lag = 0;   // of the cut's sent sample 0, in the whole
  double used = 1;  // share of the sent signal
};

Cut cut(std::span<const float> sent, std::span<const float> returned, double lag, double rate_hz) {
  Cut c;
  const auto whole = static_cast<std::ptrdiff_t>(std::floor(lag));
  const auto sent_size = static_cast<std::ptrdiff_t>(sent.size());
  const auto returned_size = static_cast<std::ptrdiff_t>(returned.size());
  const std::ptrdiff_t from = std::max<std::ptrdiff_t>(0, -whole);
  const std::ptrdiff_t to = std::min(sent_size, returned_size - whole);
  if (to - from < static_cast<std::ptrdiff_t>(response_shortest_s * rate_hz)) return c;
  const auto before = std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(before_s * rate_hz), from + whole);
  const auto after =
      std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(after_s * rate_hz), returned_size - whole - to);
  c.sent.assign(sent.begin() + from, sent.begin() + to);
  c.returned.assign(returned.begin() + from + whole - before, returned.begin() + to + whole + after);
  // A stretch that misses the start or the end of the return starts or ends in mid-signal: faded in both
  // alike.
  const auto fade = [&](std::vector<float>& x, std::size_t at, bool rising) {
    const auto n = static_cast<std::size_t>(taper_s * rate_hz);
    for (std::size_t i = 0; i < n && at + i < x.size(); ++i) {
      const double t = (static_cast<double>(i) + 0.5) / static_cast<double>(n);
      const double g = 0.5 - 0.5 * std::cos(std::numbers::pi * (rising ? t : 1 - t));
      x[at + i] *= static_cast<float>(g);
    }
  };
  const auto n = static_cast<std::size_t>(taper_s * rate_hz);
  if (from > 0) {
    std::fill(c.returned.begin(), c.returned.begin() + before, 0.0F);
    fade(c.sent, 0, true);
    fade(c.returned, static_cast<std::size_t>(before), true);
  }
  if (to < sent_size) {
    c.returned.resize(static_cast<std::size_t>(before) + c.sent.size());
    fade(c.sent, c.sent.size() - n, false);
    fade(c.returned, c.returned.size() - n, false);
  }
  c.before = static_cast<std::size_t>(before);
  c.rest = lag - static_cast<double>(whole);
  c.used = static_cast<double>(to - from) / static_cast<double>(sent_size);
  return c;
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
    if (!fit || std::abs(fit->clock) < 2 * fit->uncertainty ||
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
  const auto by_segments = clock_from_segments(sent, returned, rate_hz, lag);
  if (correct(by_segments, 0.2e-6)) {
    correct(clock_from_segments(sent, returned, rate_hz, lag),
            0.2e-6);  // what the smeared first look left over
  }
  Path path = analyse(sent, returned, lag, rate_hz, options);
  if (!by_segments && good_points(path) > 12 &&
      correct(clock_from_sweep(path.profile, rate_hz), sweep_clock_model)) {
    path = analyse(sent, returned, lag, rate_hz, options);
  }
  const std::size_t good = path.spectra ? good_points(path) : 0;
  if (good == 0 || (good < fewest_points && found.standing_out < clear_lag)) {
    all_unmeasurable(out, suffix,
                     "the sent signal is not in the return; check the cabling and that the sent file is "
                     "the one that was played, then send again, louder");
    return;
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

  const double samples = (std::floor(lag) + path.excess.late) * (1 + clock);
  const double delay = samples / rate_hz - (options.card ? options.card->delay_s : 0.0);
  // A tone or a few fit many delays; a wide band fits one.
  const bool wide = path.profile.hz.size() >= 8 && path.profile.hz.back() > 2 * path.profile.hz.front();
  if (wide && path.excess.clear > 0.5) {
    std::string note;
    if (delay < 0) note = "the return starts before the sent file: the recording began late";
    out.push_back(number_reading("audio.response.delay" + suffix, delay,
                                 (path.excess.uncertainty + std::abs(clock_uncertainty * lag)) / rate_hz,
                                 note));
    out.push_back(number_reading("audio.response.polarity" + suffix, path.excess.polarity, std::nullopt));
    const EchoSearch echo =
        find_echo(*path.spectra, path.bands, path.profile, path.excess.late, path.part.returned.size());
    if (echo.strongest) {
      out.push_back(number_reading(
          "audio.response.echo.delay" + suffix, echo.strongest->delay_s, echo.strongest->delay_uncertainty_s,
          echo.strongest->polarity * path.excess.polarity < 0 ? "reversed re the direct sound" : ""));
      out.push_back(number_reading("audio.response.echo.level" + suffix, echo.strongest->level_db,
                                   echo.strongest->level_uncertainty_db));
    } else {
      const std::string why = fmt::format("no echo from 0.5 ms to 2 s above {:.0f} dB", echo.at_most_db);
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
