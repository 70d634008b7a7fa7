#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/lowband.hpp>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>
#include <numbers>
#include <set>

#include "lowband_fields.hpp"
#include "lowband_find.hpp"
#include "lowband_hum.hpp"
#include "video_termination.hpp"

namespace linebench::measure {
namespace {

constexpr double acquire_s = 3;
constexpr double clip = 0.9995;

// One channel of a source, samples counted from the start.
class Channel {
 public:
  explicit Channel(AudioSource& source)
      : source_(source), channels_(static_cast<std::size_t>(std::max(1, source.facts().channels))) {}
  [[nodiscard]] std::size_t channels() const { return channels_; }
  /// Interleaved block; empty at the end.
  std::span<const float> block() {
    interleaved_.resize(channels_ * 8192);
    const std::size_t n = source_.read(interleaved_);
    return std::span<const float>(interleaved_).first(n * channels_);
  }

 private:
  AudioSource& source_;
  std::size_t channels_;
  std::vector<float> interleaved_;
};

struct Scale {
  double mv = 1000;  // per sample value of 1.0
  bool known = false;
};

struct Level {
  std::uint64_t samples = 0;
  std::uint64_t clipped = 0;
  void count(float v) {
    ++samples;
    if (std::abs(v) >= static_cast<float>(clip)) ++clipped;
  }
};

void check(const CaptureFacts& f) {
  constexpr double lowest = 44'000;
  constexpr double highest = 1e6;
  if (f.sample_rate_hz < lowest) {
    throw unusable(
        fmt::format("{}: at {:g} samples per second the line rate (15.6 kHz) is lost; take it at 48 kHz or "
                    "more, best 192 kHz",
                    f.source, f.sample_rate_hz));
  }
  if (f.sample_rate_hz > highest) {
    throw unusable(
        fmt::format("{}: {:g} samples per second are more than a sound card gives; use --view waveform",
                    f.source, f.sample_rate_hz));
  }
}

const standards::VideoStandard& standard_for(double halves_per_field, SystemChoice choice) {
  if (choice == SystemChoice::S625) return standards::video_625;
  if (choice != SystemChoice::Auto) return standards::video_525;
  return std::abs(halves_per_field - 625) < std::abs(halves_per_field - 525) ? standards::video_625
                                                                             : standards::video_525;
}

// Share of a frame's time that is picture, and the mean of its sync at unit height.
struct Duty {
  double picture = 0;
  double sync = 0;
};
Duty duty_of(const standards::VideoStandard& s) {
  Duty d;
  for (int line = 1; line <= s.lines_per_frame; ++line) {
    const auto structure = standards::line_structure_in_frame(s, 0, line);
    const double width = s.active_width_us() / 2;
    d.picture += (structure.picture_first_half ? width : 0.0) + (structure.picture_second_half ? width : 0.0);
    for (const auto pulse : {structure.at_start, structure.at_middle}) {
      if (pulse == standards::LinePulse::LineSync) d.sync += s.sync_width_us.nominal;
      if (pulse == standards::LinePulse::Equalising) d.sync += s.equalising_width_us.nominal;
      if (pulse == standards::LinePulse::Broad) d.sync += s.broad_width_us.nominal;
    }
  }
  const double whole = s.lines_per_frame * s.line_period_us();
  d.picture /= whole;
  d.sync /= whole;
  return d;
}

std::string clock_remark(bool known) {
  return known ? "" : "by the recorder's clock, whose own error is not known";
}

struct Found {
  const FoundLowband* lowband = nullptr;
  const standards::VideoStandard* standard = nullptr;
  LowbandFields::Result fields;
  LowbandHum::Result hum;
  Scale scale;
  double clock = 1;
  bool clock_known = false;
  double seconds = 0;
  double mains_low = 45;
  double mains_high = 65;
};

void add_rates(const Found& f, Readings& out) {
  const auto& phase = f.fields.line_phase;
  const double line = (f.lowband->line_hz + phase.slope / (2 * std::numbers::pi)) * f.clock;
  const double line_u = phase.slope_expanded / (2 * std::numbers::pi);
  const std::string remark = clock_remark(f.clock_known);
  const char* too_short = "too few fields in the capture to say how sure it is; take at least 1 s";
  if (std::isfinite(line_u)) {
    out.push_back(number_reading("video.line.frequency", line, std::hypot(line_u, 1e-9 * line), remark));
  } else {
    out.push_back(unmeasurable("video.line.frequency", too_short));
  }
  const auto& field = f.fields.field_s;
  const double field_hz = f.clock / field.slope;
  const double field_u = field.slope_expanded / field.slope * field_hz;
  if (!std::isfinite(field_u)) {
    for (const char* id : {"video.field.frequency", "video.lines_per_frame", "video.interlaced"})
      out.push_back(unmeasurable(id, too_short));
    return;
  }
  out.push_back(
      number_reading("video.field.frequency", field_hz, std::hypot(field_u, 1e-9 * field_hz), remark));
  const double halves = 2 * line / field_hz;
  const double halves_u =
      halves * std::hypot(field_u / field_hz, std::isfinite(line_u) ? line_u / line : 1.0);
  const double whole = std::round(halves);
  constexpr double clearly = 0.2;
  if (halves_u > clearly) {
    for (const char* id : {"video.lines_per_frame", "video.interlaced"})
      out.push_back(unmeasurable(
          id, "line and field rate are not known well enough to count lines; take a longer capture"));
    return;
  }
  if (std::abs(halves - whole) > std::max(0.02, halves_u)) {
    const auto reason = fmt::format(
        "fields are not locked to lines: {:.3f} lines in a field; the source's two oscillators run on their "
        "own",
        halves / 2);
    out.push_back(unmeasurable("video.lines_per_frame", reason));
    out.push_back(text_reading("video.interlaced", "no", reason));
    return;
  }
  const bool interlaced = std::fmod(whole, 2.0) != 0;
  out.push_back(number_reading("video.lines_per_frame", interlaced ? whole : whole / 2, std::nullopt));
  out.push_back(text_reading("video.interlaced", interlaced ? "yes" : "no"));
}

void add_levels(const Found& f, const std::string& remark, Readings& out) {
  const char* no_volts =
      "volts are not known; give --full-scale VOLTS on the line for a sample value of 1.0 (the pad "
      "included), or "
      "calibrate the card";
  constexpr double most_misfit = 0.05;
  const standards::VideoStandard& s = *f.standard;
  const VerticalShape shape(s);
  const double sync = std::abs(f.fields.sync);
  const double nominal = -s.sync_mv.nominal;
  std::string reason;
  if (!f.scale.known) {
    reason = no_volts;
  } else if (f.fields.misfit > most_misfit) {
    reason = fmt::format(
        "vertical sync is not of the standard's form (the fit leaves {:.0f} % of it): the source makes its "
        "own, or the "
        "recorder clips",
        100 * f.fields.misfit);
  } else if (!std::isfinite(f.fields.sync_expanded)) {
    reason = "too few fields in the capture; take at least 1 s";
  }
  if (!reason.empty()) {
    for (const char* id : {"video.sync.amplitude", "video.gain", "video.apl"})
      out.push_back(unmeasurable(id, reason));
    return;
  }
  // Scatter; the pulses' widths; what the fit leaves, which says that the shape is not quite it.
  const double by_width = 2 * shape.width_uncertainty() * sync;
  // A response that falls early is taken out to the second order of its delay's spread; some is left.
  const double by_response = 0.05 * std::abs(f.fields.drawn) * sync;
  const double u =
      std::sqrt(f.fields.sync_expanded * f.fields.sync_expanded + by_width * by_width +
                by_response * by_response + 0.25 * f.fields.misfit * f.fields.misfit * sync * sync);
  out.push_back(number_reading("video.sync.amplitude", sync, u, remark));
  out.push_back(number_reading("video.gain", 100 * sync / nominal, 100 * u / nominal,
                               "from sync; compressed or restored sync reads otherwise than the picture"));
  const Duty duty = duty_of(s);
  const double sign = f.lowband->inverted ? -1.0 : 1.0;
  const double mean = (sign * f.fields.mean + sync * duty.sync) / duty.picture;
  const double percent = 100 / s.white_mv.nominal;
  // Widths of blanking are the standard's: 0.3 us of 52 on a line, one line of 288 in a field.
  const double by_blanking = std::abs(mean) * 0.008;
  const double mean_u = std::sqrt(f.fields.mean_expanded * f.fields.mean_expanded +
                                  by_blanking * by_blanking * duty.picture * duty.picture +
                                  std::pow(duty.sync * u, 2) + std::pow(0.002 * nominal, 2)) /
                        duty.picture;
  if (std::isfinite(mean_u)) {
    out.push_back(number_reading("video.apl", mean * percent, mean_u * percent,
                                 "of nominal white; a wrong level changes it too"));
  } else {
    out.push_back(unmeasurable("video.apl", "too few whole fields in the capture; take at least 1 s"));
  }
}

// Why a multiple cannot be told, and by what capture it could.
std::string hidden_multiple(const LowbandHum::Result& h, std::size_t i) {
  const double hz = static_cast<double>(i + 1) * h.hz;
  const double half = 0.5 * h.field_hz;
  const double own = half * std::round(hz / half);
  const double needed = 1.2 / std::max(std::abs(hz - own), 1e-9);
  constexpr double longest_s = 120;  // of one look
  return fmt::format(
      "{:.2f} Hz stands {:.2g} Hz from the picture's own {:.2f} Hz, and {:.3g} s tell apart what is {:.2g} "
      "Hz "
      "apart{}{}",
      hz, std::abs(hz - own), own, h.seconds, h.blind_hz,
      needed < longest_s ? fmt::format("; take {:.0f} s", std::ceil(needed)) : "",
      h.hidden_pp[i] > 0 ? fmt::format("; by the multiples beside it no more than {:.2g} mV", h.hidden_pp[i])
                         : "");
}

std::string hidden_multiples(const LowbandHum::Result& h) {
  std::string which;
  for (std::size_t i = 0; i < LowbandHum::harmonics; ++i)
    if (h.hidden[i]) which += fmt::format("{}{}", which.empty() ? "" : ", ", i + 1);
  if (which.empty()) return which;
  return fmt::format("without multiple {} of the mains, which cannot be told from the picture in {:.3g} s",
                     which, h.seconds);
}

void add_hum(const Found& f, Readings& out) {
  const auto& h = f.hum;
  std::string reason;
  std::optional<double> at_most;
  if (!f.scale.known) {
    reason = "volts are not known; give --full-scale, or calibrate the card";
  } else if (!h.measured) {
    reason = "too few fields in the capture; take at least 1 s, better 30 s";
  }
  const bool beside = h.field_hz > f.mains_low && h.field_hz < f.mains_high;
  std::string blind = fmt::format(
      "what lies within {:.2g} Hz of the field rate ({:.3f} Hz) cannot be told from the picture in {:.3g} s",
      h.blind_hz, h.field_hz, h.seconds);
  constexpr double worth_saying_mv = 5;
  if (h.beside_pp > worth_saying_mv)
    blind += fmt::format(": some {:.2g} mV that are not in step with the picture stand there", h.beside_pp);
  if (reason.empty() && !h.found) {
    reason = fmt::format("none found above {:.2g} mV peak to peak", h.least_pp);
    if (beside) {
      const bool sixty = h.field_hz > 55;
      reason += "; " + blind +
                (sixty ? "; take 20 s or more for mains at 60.00 Hz"
                       : "; take a longer capture, or one with the camera's supply on another mains "
                         "frequency (a generator)");
    } else {
      at_most = h.least_pp;
    }
  }
  // One high multiple alone is as well the multiple of a mains frequency whose others the picture hides.
  const auto top =
      static_cast<std::size_t>(std::max_element(h.pp_of.begin(), h.pp_of.end()) - h.pp_of.begin());
  const double low = std::max(h.pp_of[0], h.pp_of[1]);
  if (reason.empty() && top >= 2 && low < 0.2 * h.pp_of[top]) {
    out.push_back(
        unmeasurable("video.hum.level",
                     fmt::format("a tone of {:.2f} Hz and {:.2g} mV stands above all: multiple of a mains "
                                 "frequency that cannot be told from the picture; {}",
                                 static_cast<double>(top + 1) * h.hz, h.pp_of[top], blind)));
    out.push_back(unmeasurable("video.hum.frequency",
                               "the multiples that would tell it cannot be told from the picture"));
    return;
  }
  if (!reason.empty()) {
    out.push_back(unmeasurable("video.hum.level", reason, at_most));
    out.push_back(
        unmeasurable("video.hum.frequency", h.found ? reason : "no hum found, so it has no frequency"));
    if (h.found) {
      out.back() = number_reading("video.hum.frequency", h.hz * f.clock,
                                  std::hypot(h.hz_expanded, 1e-6 * h.hz), clock_remark(f.clock_known));
    }
    return;
  }
  // k=2, relative: what the coupling's loss, by its measured corner, is put back with (under noise of 25 mV
  // it is off by 1 % rms), and the card's scale.
  constexpr double put_back = 0.012;
  std::string remark = beside ? blind : "";
  const std::string hidden = hidden_multiples(h);
  constexpr double least_share =
      std::numbers::pi / 4;  // no wave's multiple is larger: a square's fundamental
  if (!h.whole) {
    out.push_back(unmeasurable("video.hum.level",
                               fmt::format("at least {:.2g} mV; {}, and that may be more than what is seen",
                                           least_share * h.pp_of[top], hidden)));
  } else {
    if (!hidden.empty()) remark += (remark.empty() ? "" : "; ") + hidden + ", which the uncertainty holds";
    out.push_back(
        number_reading("video.hum.level", h.pp, std::hypot(h.pp_expanded, put_back * h.pp), remark));
  }
  out.push_back(number_reading("video.hum.frequency", h.hz * f.clock, std::hypot(h.hz_expanded, 1e-6 * h.hz),
                               clock_remark(f.clock_known)));
  for (std::size_t i = 0; i < LowbandHum::harmonics; ++i) {
    const std::string id = fmt::format("video.hum.harmonic.{}", i + 1);
    // Beside the noise: what a recorder's own bend and the fit leave of a strong neighbour.
    const double of = std::hypot(h.pp_of_expanded[i], put_back * h.pp_of[i], 1e-4 * h.pp_of[top]);
    if (h.hidden[i]) {
      out.push_back(
          unmeasurable(id, hidden_multiple(h, i),
                       h.hidden_pp[i] > 0 ? std::optional<double>(h.hidden_pp[i]) : std::optional<double>()));
    } else if (h.pp_of[i] > 2 * of) {
      out.push_back(number_reading(id, h.pp_of[i], of));
    }
  }
}

// What no sound card can show, and what would.
void add_unmeasurable(const std::string& why, Readings& out) {
  std::set<std::string> have;
  for (const Reading& r : out) have.insert(r.id);
  for (const ReadingKind& k : video_reading_kinds()) {
    const std::string id(k.id);
    if (!id.starts_with("video.") || have.contains(id) || id.find("COLOUR") != std::string::npos ||
        id.find(".N.") != std::string::npos) {
      continue;
    }
    if (id == "video.blanking.level") {
      out.push_back(unmeasurable(id, "a sound card's input takes dc away"));
    } else {
      out.push_back(unmeasurable(id, why));
    }
  }
}

constexpr const char* needs_waveform =
    "it lies above what a sound card passes; take the signal with a digitiser or an oscilloscope at 10 MS/s "
    "or more "
    "(--view waveform)";

std::string sample_remark(const Level& level) {
  if (level.clipped <= level.samples / 100'000 + 8) return {};
  return fmt::format(
      "the recorder clipped: {:.2f} % of the samples stand at its end; turn its level down or use a larger "
      "pad",
      100.0 * static_cast<double>(level.clipped) / static_cast<double>(level.samples));
}

Readings nothing_there(const FoundLowband& found, const std::string& remark) {
  Readings out;
  const std::string reason = found.reason + (remark.empty() ? "" : "; " + remark);
  if (found.lines_alone) {
    out.push_back(text_reading("video.signal", "present", reason));
    out.push_back(text_reading("video.vertical_sync", "missing", found.reason));
    add_unmeasurable("without vertical sync it cannot be measured: " + found.reason, out);
  } else {
    out.push_back(text_reading("video.signal", "none", reason));
    add_unmeasurable("no composite signal: " + found.reason, out);
  }
  return out;
}

}  // namespace

Readings measure_lowband(AudioSource& source, const LowbandOptions& options, const Progress& progress,
                         const StopFlag* stop) {
  const CaptureFacts facts = source.facts();
  check(facts);
  const double rate = facts.sample_rate_hz;
  Channel input(source);
  std::vector<std::vector<float>> start(input.channels());
  const auto enough = static_cast<std::size_t>(acquire_s * rate);
  while (start[0].size() < enough) {
    const auto block = input.block();
    if (block.empty()) break;
    for (std::size_t i = 0; i < block.size(); ++i) start[i % input.channels()].push_back(block[i]);
  }
  if (start[0].empty()) throw unusable(facts.source + ": there are no samples in it; take the capture again");
  // The channel that carries video: the one with the line rate on it.
  std::size_t channel = 0;
  double most = -1;
  for (std::size_t c = 0; c < start.size(); ++c) {
    const double p = find_line_tone(start[c], rate).prominence;
    if (p > most) most = p, channel = c;
  }
  Level level;
  for (const float v : start[channel]) level.count(v);
  const FoundLowband found = find_lowband(start[channel], rate);
  if (!found.vertical) return nothing_there(found, sample_remark(level));

  Found f;
  f.lowband = &found;
  f.standard = &standard_for(found.halves_per_field, options.system);
  f.scale = facts.full_scale_v ? Scale{1000 * *facts.full_scale_v, true} : Scale{};
  const auto clock_ppm = options.clock_error_ppm ? options.clock_error_ppm : facts.clock_error_ppm;
  f.clock_known = clock_ppm.has_value();
  f.clock = 1 / (1 + clock_ppm.value_or(0.0) * 1e-6);
  if (options.mains_hz) f.mains_low = 0.94 * *options.mains_hz, f.mains_high = 1.06 * *options.mains_hz;

  FoundLowband scaled = found;
  scaled.sync *= f.scale.mv;
  LowbandFields fields(rate, scaled, *f.standard);
  LowbandHum hum(rate, f.mains_low / f.clock, f.mains_high / f.clock);
  fields.on_field = [&](std::int64_t number, double t) { hum.field(number, t); };
  std::vector<float> mv;
  std::uint64_t done = 0;
  const auto feed = [&](std::span<const float> interleaved, std::size_t step, std::size_t offset,
                        bool count) {
    mv.clear();
    for (std::size_t i = offset; i < interleaved.size(); i += step) {
      if (count) level.count(interleaved[i]);
      mv.push_back(interleaved[i] * static_cast<float>(f.scale.mv));
    }
    fields.push(mv);
    hum.push(mv);
    done += mv.size();
  };
  constexpr std::size_t piece = 8192;
  for (std::size_t at = 0; at < start[channel].size(); at += piece) {
    feed(std::span(start[channel]).subspan(at, std::min(piece, start[channel].size() - at)), 1, 0, false);
  }
  start.clear();
  for (auto block = input.block(); !block.empty(); block = input.block()) {
    if (stop != nullptr && stop->load()) break;
    feed(block, input.channels(), channel, true);
    if (progress) {
      progress(facts.frames > 0 ? static_cast<double>(done) / static_cast<double>(facts.frames) : -1.0,
               "following fields");
    }
  }
  fields.finish();
  f.fields = fields.result();
  f.hum = hum.finish(f.fields.coupling);
  f.seconds = static_cast<double>(done) / rate;

  const std::string remark = sample_remark(level);
  if (f.fields.fields < 3) {
    FoundLowband lost = found;
    lost.reason = found.lines_alone
                      ? "vertical sync was seen but could not be followed; take a longer capture"
                      : "something like vertical sync was seen once or twice, but no lines";
    return nothing_there(lost, remark);
  }
  Readings out;
  std::string signal_remark = remark;
  if (input.channels() > 1)
    signal_remark += fmt::format("{}on channel {}", remark.empty() ? "" : "; ", channel + 1);
  out.push_back(text_reading("video.signal", "present", signal_remark));
  out.push_back(text_reading("video.system", f.standard->lines_per_frame == 625 ? "625" : "525",
                             f.standard->lines_per_frame == 625 ? "" : "setup cannot be seen in this view"));
  out.push_back(text_reading("video.polarity", found.inverted ? "inverted" : "normal",
                             found.inverted
                                 ? "sync is positive; if the sound card itself does not invert, two wires of "
                                   "the pair are swapped or a stage inverts"
                                 : "if the sound card does not invert"));
  add_rates(f, out);
  const std::int64_t missing = f.fields.missing;
  out.push_back(text_reading("video.vertical_sync", missing > 0 ? "intermittent" : "present"));
  out.push_back(number_reading("video.vertical_sync.missing", static_cast<double>(missing), std::nullopt,
                               missing > 0 ? fmt::format("of {} fields", f.fields.fields + missing) : ""));
  add_levels(f, remark, out);
  add_hum(f, out);
  VideoSetup setup;
  setup.lines = f.standard->lines_per_frame;
  TerminationMeter().finish(setup, out);
  add_unmeasurable(needs_waveform, out);
  return out;
}

}  // namespace linebench::measure
