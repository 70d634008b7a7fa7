#include "video_noise.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>
#include <linebench/standards/video_noise.hpp>

namespace linebench::measure {
namespace {

constexpr std::uint64_t every_line = 3;  // lines whose spectra are taken: three times as many say no more
constexpr std::uint64_t lines_taken_all = 256;  // but of a short capture, all
constexpr double guess_error = 0.015;           // of the power below the lowest frequency seen
constexpr double left_of_tone = 0.012;          // of its power, in what is taken for noise
constexpr double edges_us = 1.0;                // that are left out of a flat part, and the finder's hops
constexpr double least_power = 1e-6;            // square millivolts
constexpr double least_tone_mv = 0.003;         // peak to peak; only computed samples hold less
constexpr double smear_error =
    0.012 / 230e3;  // of the weighted amplitude by bin width: a steep spectrum seen coarsely
constexpr double model_error = 0.004;  // of the amplitude: bins filled from their neighbours, band's edge

// A tone that comes round with the lines or the frames.
bool stands_still(const ToneSearch::Found& tone, const NoiseChoice& c) {
  if (tone.line_locked) return true;
  if (c.spectrum == nullptr) return false;
  const auto bin = static_cast<std::size_t>(std::lround(tone.hz / c.spectrum->step_hz()));
  return bin < c.share.size() && c.share[bin] > 0.7;
}

// Its flat parts are flat; those of other pictures only seem so.
bool shows_test_picture(const KnownLines& known) {
  return known.find([](const KnownLine& k) { return !k.content->field_interval && !k.name.empty(); }) !=
         nullptr;
}

// The longest flat part of a test picture, us; where a good part of it is multiburst, whose packets are the
// stillest parts it has, none. Whatever passed for longer has an edge in it: where all that passed is such,
// as on a staircase of many risers, there is nothing beside it that has less.
double longest_flat_us(const KnownLines& known) {
  if (!shows_test_picture(known)) return std::numeric_limits<double>::infinity();
  double packets = 0;
  double all = 0;
  double longest = 0;
  for (const KnownLine& k : known.all()) {
    if (k.content->field_interval) continue;
    all += k.content->lines;
    packets += k.layout.packets.empty() ? 0 : k.content->lines;
    for (const Plateau& p : k.layout.plateaus) longest = std::max(longest, p.width_us());
  }
  return packets > 0.3 * all ? 0 : longest - edges_us;
}

// Lengths come longest first.
std::span<const std::unique_ptr<NoiseLength>> up_to(const NoiseLengths& lengths, double most_us,
                                                    double rate_hz) {
  const auto first = std::find_if(lengths.begin(), lengths.end(), [&](const auto& l) {
    return static_cast<double>(l->spectrum.length()) <= most_us * 1e-6 * rate_hz;
  });
  return std::span(lengths).subspan(static_cast<std::size_t>(first - lengths.begin()));
}

// Of the low end of a spectrum, by power: 0 flat, 1 as that of noise that rises with frequency.
double steepness(const std::vector<double>& psd) {
  if (psd.size() < 10) return 1;
  const double low = psd[2] + psd[3] + psd[4];
  const double high = psd[5] + psd[6] + psd[7];
  return low > 0 && high > 0 ? std::min(1.0, std::abs(std::log2(high / low)) / 2) : 1.0;
}

// Colour detail turns its phase from frame to frame and so does not come again as a picture does: what stands
// about the subcarrier above the rest of the spectrum, and above field blanking's, is taken for it.
void leave_colour_out(NoiseChoice& c, const NoiseChoice& blanking, double subcarrier_hz, double band_hz) {
  constexpr double reach_hz = 1.3e6;  // of colour in a composite signal [SMPTE 170M, BT.1700]
  constexpr double from_hz = 0.6e6;
  constexpr double stands_out = 1.2;
  const double step = c.spectrum->step_hz();
  double beside = 0, beside_hz = 0, within = 0, within_hz = 0;
  for (std::size_t k = 0; k < c.psd.size(); ++k) {
    const double f = static_cast<double>(k) * step;
    const double hz = hz_in_band(k, step, band_hz);
    const bool colour = std::abs(f - subcarrier_hz) < reach_hz;
    if (f < from_hz || (!colour && f > subcarrier_hz)) continue;
    (colour ? within : beside) += c.psd[k] * hz;
    (colour ? within_hz : beside_hz) += hz;
  }
  if (beside_hz <= 0 || within_hz <= 0 || within / within_hz < stands_out * beside / beside_hz) return;
  const double before = power_of(c.psd, step, band_hz);
  for (std::size_t k = 0; k < c.psd.size(); ++k) {
    const double f = static_cast<double>(k) * step;
    if (std::abs(f - subcarrier_hz) >= reach_hz) continue;
    double noise = beside / beside_hz;
    if (blanking.spectrum != nullptr) {
      const auto at = static_cast<std::size_t>(std::lround(f / blanking.spectrum->step_hz()));
      if (at < blanking.psd.size()) noise = std::max(noise, blanking.psd[at]);
    }
    c.psd[k] = std::min(c.psd[k], noise);
  }
  const double after = power_of(c.psd, step, band_hz);
  constexpr double not_known = 0.3;
  const double u = not_known * (before - after) / std::max(least_power, after);
  c.relative_u = together(c.relative_u, u);
  c.relative_u_weighted = together(c.relative_u_weighted, u);
  c.colour_left_out = true;
}

std::string megahertz(double hz) { return fmt::format("{:.3g} MHz", hz * 1e-6); }

// A picture whose burst was lost keeps its colour, at a frequency the standard ties to the lines'.
VideoSetup with_subcarrier(VideoSetup setup) {
  if (setup.subcarrier_true_hz > 0) return setup;
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  setup.colour = true;
  setup.subcarrier_hz = s.subcarrier_hz.value();
  setup.subcarrier_true_hz =
      setup.subcarrier_hz * setup.rate_hz / setup.line_period_samples / s.line_rate_hz.value();
  return setup;
}

}  // namespace

NoiseMeter::NoiseMeter(const VideoSetup& as_received, const PictureMeter& picture)
    : NoiseMeter(picture, with_subcarrier(as_received)) {}

NoiseMeter::NoiseMeter(const PictureMeter& picture, const VideoSetup& setup)
    : picture_shown_(picture),
      from_us_(standards::standard_of(setup.lines).active_start_us.nominal + 0.3),
      to_us_(standards::standard_of(setup.lines).active_end_us() - 0.3),
      band_hz_(std::min(standards::standard_of(setup.lines).video_bandwidth_hz, 0.45 * setup.rate_hz)),
      picture_finder_(setup),
      blanking_finder_(setup),
      picture_(make_noise_lengths(setup, band_hz_)),
      blanking_(make_noise_lengths(setup, band_hz_)),
      tone_(setup),
      blank_line_(picture_.empty() ? 2 : picture_.front()->spectrum.length(), setup.rate_hz,
                  setup.subcarrier_true_hz, band_hz_),
      blanking_tone_(setup, ToneSearch::blankings) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  line_class_.assign(static_cast<std::size_t>(setup.lines) + 1, -1);
  for (int line = 1; line <= setup.lines; ++line) {
    const auto structure = standards::line_structure_in_frame(s, 0, line);
    const bool whole = structure.picture_first_half && structure.picture_second_half;
    const bool pulses = structure.at_start != standards::LinePulse::LineSync ||
                        structure.at_middle != standards::LinePulse::None;
    line_class_[static_cast<std::size_t>(line)] = whole ? 1 : (structure.has_picture() || pulses) ? -1 : 0;
  }
}

void NoiseMeter::take(const LineView& v, FlatFinder& finder, NoiseLengths& lengths, bool count, bool tone) {
  if (lengths.empty()) return;
  const std::size_t group = group_of(v.index);
  for (const FlatRun& run : finder.find(v, from_us_, to_us_, lengths.back()->spectrum.length())) {
    std::size_t at = run.begin;
    for (const auto& l : lengths) {
      FlatSpectrum& s = l->spectrum;
      for (; at + s.length() <= run.end; at += s.length()) {
        const auto residual = s.residual_of(v.mv.subspan(at, s.length()));
        const bool noise_alone = s.usual();
        if (count) {
          s.add(group);
          if (noise_alone)
            l->repeat.add(v, static_cast<double>(v.first) + static_cast<double>(at) - v.t0, s.spectrum());
        }
        if (tone && noise_alone) tone_.add(s, v.first + static_cast<std::int64_t>(at), residual);
      }
    }
  }
}

// Whatever a tone does to a line without picture, it is seen: parts that are picked because they look flat
// lie on the even ramps of a supply's sawtooth, and show nothing of it.
void NoiseMeter::blank_line(const LineView& v) {
  if (picture_.empty() || !blanking_tone_.wants(v)) return;
  constexpr float most_mv = 250;  // more, and data or test signals are inserted: 462 mV and up
  const auto at = static_cast<std::size_t>(
      std::lround(v.t0 - static_cast<double>(v.first) + from_us_ * 1e-6 * v.rate_hz));
  if (at + blank_line_.length() > v.mv.size()) return;
  const auto part = v.mv.subspan(at, blank_line_.length());
  const auto [low, high] = std::ranges::minmax(part);
  if (high - low < most_mv)
    blanking_tone_.add(blank_line_, v.first + static_cast<std::int64_t>(at), blank_line_.residual_of(part));
}

void NoiseMeter::line(const LineView& v) {
  if (v.kind != LineKind::Picture || !v.sync_found) return;
  const int what = v.line <= 0 || static_cast<std::size_t>(v.line) >= line_class_.size()
                       ? 1
                       : line_class_[static_cast<std::size_t>(v.line)];
  const bool tone = tone_.wants(v);
  if (what < 0) return;
  if (what == 0) blank_line(v);
  const bool count = what == 0 || v.index < lines_taken_all || v.index % every_line == 0;
  if (count || tone) {
    take(v, what == 1 ? picture_finder_ : blanking_finder_, what == 1 ? picture_ : blanking_, count, tone);
  }
}

void NoiseMeter::random_noise(const VideoSetup& setup, const NoiseChoice& c, bool blanking,
                              double blanking_mv2, double tone_mv2, Readings& out) const {
  const double step = c.spectrum->step_hz();
  const double half = setup.rate_hz / 2;
  double flat = 0;
  double weighted = 0;
  double whole = 0;
  double lowest = 0;  // below what the stretches can show
  for (std::size_t k = 0; k < c.psd.size(); ++k) {
    const double in_band = c.psd[k] * hz_in_band(k, step, band_hz_);
    flat += in_band;
    weighted += in_band * standards::unified_weighting_power(static_cast<double>(k) * step);
    if (k < 2) lowest += in_band;
    whole += c.psd[k] * hz_in_band(k, step, half);
  }
  // The recorder's steps add their own noise, spread over its whole band [Widrow 1956], while the noise is
  // not much smaller than a step.
  const double q = setup.quantum_mv;
  const double q_whole = q * q / 12;
  const double q_psd = q_whole / half;
  const bool below_steps = q > 0 && (whole < 2.2 * q_whole || flat < 1.5 * q_psd * band_hz_);
  if (below_steps || flat < least_power) {
    const double most = std::sqrt(std::max({flat, q_psd * band_hz_, least_power}) + q * q / 12);
    const std::string reason =
        below_steps ? fmt::format(
                          "the noise is below the recorder's steps of {:.3g} mV; use a smaller range or "
                          "a finer converter",
                          q)
                    : "no noise to be seen: less than a microvolt, as only computed samples have";
    out.push_back(unmeasurable("video.noise", reason, most));
    out.push_back(unmeasurable("video.snr.unweighted", reason));
    out.push_back(unmeasurable("video.snr.weighted", reason));
    return;
  }
  double q_weighted = 0;
  constexpr int parts = 200;
  for (int i = 0; i < parts; ++i)
    q_weighted += q_psd * standards::unified_weighting_power((i + 0.5) / parts * band_hz_) * band_hz_ / parts;
  const double power = std::max(flat - q_psd * band_hz_, 1e-9);
  const double power_weighted = std::max(weighted - q_weighted, 1e-9);
  const double left = 0.5 * left_of_tone * tone_mv2;
  const double u =
      together(together(0.5 * c.relative_u * flat / power, left / power),
               together(model_error + guess_error * lowest / power, 0.2 * q_psd * band_hz_ / power));
  const double u_weighted = together(
      together(0.5 * c.relative_u_weighted * weighted / power_weighted, left / power_weighted),
      together(model_error + guess_error * lowest / power_weighted + smear_error * step * steepness(c.psd),
               0.2 * q_weighted / power_weighted));
  const double noise = std::sqrt(power);
  const std::string where =
      blanking ? "field blanking, the picture has no flat part: a camera's own noise is not in it"
               : "flat parts of the picture";
  std::string remark = fmt::format("0 to {}, {}", megahertz(band_hz_), where);
  // A stretch's own level and slope are taken out: what is slower than one and a half of its periods is
  // guessed.
  remark += fmt::format("; below {:.0f} kHz not seen, taken to be as above it", 1.5e-3 * step);
  const double all = std::sqrt(std::max(0.0, whole - q_whole));
  if (half > 1.2 * band_hz_) remark += fmt::format("; {:.2f} mV up to {}", all, megahertz(half));
  if (q_psd * band_hz_ > 0.02 * power)
    remark += fmt::format("; the recorder's steps of {:.2g} mV, {:.2f} mV rms, taken out", q,
                          std::sqrt(q_psd * band_hz_));
  // The lines of field blanking hold no picture: what is there as well is none of it.
  constexpr double as_noisy = 0.7;
  if (blanking_mv2 > as_noisy * flat) {
    remark += fmt::format("; field blanking holds {:.2f} mV of it too", std::sqrt(blanking_mv2));
  } else if (!blanking && !c.compared && !shows_test_picture(picture_shown_.known())) {
    const std::string why = "two frames were not compared: fine picture would look the same";
    remark += "; " + why;
    out.push_back(unmeasurable("video.noise.repeated", why));
  }
  if (c.repeating > 0) {
    remark += fmt::format("; {:.0f} % of the power came again frame by frame: picture, taken out",
                          100 * c.repeating);
    out.push_back(number_reading("video.noise.repeated", 100 * c.repeating, std::nullopt));
  }
  if (c.colour_left_out) remark += "; what stands about the subcarrier alone is taken for colour detail";
  out.push_back(number_reading("video.noise", noise, u * noise, remark));
  const double white = standards::standard_of(setup.lines).white_mv.nominal * setup.gain();
  std::string against = fmt::format("0 to {}, {}", megahertz(band_hz_),
                                    blanking ? "field blanking" : "flat parts of the picture");
  if (std::abs(setup.gain() - 1) > 0.05)
    against += fmt::format("; re white at this signal's level, {:.0f} mV", white);
  constexpr double db = 8.685889638;
  out.push_back(number_reading("video.snr.unweighted", 20 * std::log10(white / noise), db * u, against));
  out.push_back(number_reading("video.snr.weighted", 20 * std::log10(white / std::sqrt(power_weighted)),
                               db * u_weighted, against + "; unified weighting, from memory"));
}

// Of the tone in flat parts and that in field blanking, the stronger.
ToneSearch::Result NoiseMeter::find_tone(std::span<const FlatSpectrum* const> noise_alone) {
  ToneSearch::Result all = tone_.result(noise_alone, shows_test_picture(picture_shown_.known()));
  const FlatSpectrum* const line[] = {&blank_line_};
  ToneSearch::Result blanking = blanking_tone_.result(line, true);
  if (!all.looked)
    all = blanking;
  else if (blanking.looked) {
    all.from_hz = std::min(all.from_hz, blanking.from_hz);
    all.least_pp_mv = std::max(all.least_pp_mv, blanking.least_pp_mv);
    const auto& b = blanking.tone;
    if (b && (!all.tone || b->pp_mv - b->pp_u > all.tone->pp_mv + all.tone->pp_u)) {
      all.tone = b;
      all.tone->of_blanking = true;
      // What it does between is not seen.
      all.tone->hz_u = together(b->hz_u, 0.4 / ToneSearch::blankings.seconds);
    }
  }
  if (all.tone && all.tone->pp_mv < least_tone_mv) {
    all.tone.reset();
    all.least_pp_mv = std::max(all.least_pp_mv, least_tone_mv);
  }
  return all;
}

void NoiseMeter::finish(const VideoSetup& setup, Readings& out) {
  const auto flat = up_to(picture_, longest_flat_us(picture_shown_.known()), setup.rate_hz);
  NoiseChoice c = choose_length(flat, band_hz_);
  const bool blanking = c.spectrum == nullptr;
  NoiseChoice b = choose_length(blanking_, band_hz_);
  std::vector<const FlatSpectrum*> noise_alone = c.noise_alone;
  noise_alone.insert(noise_alone.end(), b.noise_alone.begin(), b.noise_alone.end());
  const ToneSearch::Result tone = find_tone(noise_alone);
  const bool still = tone.tone && stands_still(*tone.tone, blanking ? b : c);
  if (tone.tone) {
    if (!blanking) c = choose_length(flat, band_hz_, tone.tone->hz);
    b = choose_length(blanking_, band_hz_, tone.tone->hz);
  }
  if (!blanking && c.spectrum != nullptr && !shows_test_picture(picture_shown_.known()))
    leave_colour_out(c, b, with_subcarrier(setup).subcarrier_true_hz, band_hz_);
  if (blanking) c = b;
  if (c.spectrum == nullptr) {
    const std::string reason =
        "no flat part in the picture and too few blanking lines; send a flat field or colour bars, and take "
        "at least 0.1 s";
    for (const char* id : {"video.noise", "video.snr.unweighted", "video.snr.weighted"})
      out.push_back(unmeasurable(id, reason));
  } else {
    const double pp = tone.tone && !tone.tone->of_blanking ? tone.tone->pp_mv : 0.0;
    random_noise(setup, c, blanking,
                 blanking || b.spectrum == nullptr ? 0 : power_of(b.psd, b.spectrum->step_hz(), band_hz_),
                 pp * pp / 8, out);
  }
  if (!tone.looked) {
    const std::string reason =
        "too few flat lines to look for a tone on; send a flat field, and take at least 0.1 s";
    out.push_back(unmeasurable("video.noise.periodic.frequency", reason));
    out.push_back(unmeasurable("video.noise.periodic.level", reason));
  } else if (!tone.tone) {
    out.push_back(unmeasurable("video.noise.periodic.frequency", "no tone found, so it has no frequency"));
    out.push_back(
        unmeasurable("video.noise.periodic.level",
                     fmt::format("none found from {:.0f} kHz to {}: less than {:.2g} mV peak to peak",
                                 tone.from_hz * 1e-3, megahertz(tone.to_hz), tone.least_pp_mv),
                     tone.least_pp_mv));
  } else {
    const std::string remark =
        still                    ? "it stands still on the picture: a fine pattern of it would look the same"
        : tone.tone->wanders     ? "its frequency wanders within a field; with its neighbours taken together"
        : tone.tone->of_blanking ? "as it is in field blanking"
                                 : "";
    out.push_back(number_reading("video.noise.periodic.frequency", tone.tone->hz, tone.tone->hz_u, remark));
    out.push_back(number_reading("video.noise.periodic.level", tone.tone->pp_mv,
                                 together(tone.tone->pp_u, 0.005 * tone.tone->pp_mv), remark));
  }
  if (tone.looked) out.push_back(number_reading("video.noise.periodic.from", tone.from_hz, std::nullopt));
}

}  // namespace linebench::measure
