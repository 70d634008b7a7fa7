#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/pair.hpp>
#include <linebench/measure/statistics.hpp>
#include <numeric>
#include <optional>
#include <stdexcept>
#include <vector>

#include "pair_shared.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 4.0;          // stretch in which the delay is looked for
constexpr double full_use_s = 12.0;      // all of this much is used, of the rest a part
constexpr std::size_t later_stride = 4;  // one segment in so many, after that
constexpr double silence_dbfs = -75.0;   // a side below this carries no signal (common practice)
constexpr double one_sided_db =
    40.0;  // a side so far below the other carries only what leaks (common practice)
constexpr double dominant_db = 15.0;  // a segment with such a difference is one side's
constexpr double alike_db = -50.0;    // difference of the sides re their sum: one signal twice
// What no gain and delay makes alike, re all: less than paths' own noise and hum leave of a mono programme,
// and less than ambience or panning makes of any stereo one (the project's estimate).
constexpr double mono_db = -30.0;
constexpr double least_share = 1e-3;  // of the power: below, "shared" is only hum or leakage
constexpr std::size_t fewest_segments = 8;

struct Powers {
  double left = 0, right = 0, difference = 0, sum = 0;
};

LINEBENCH_VECTORISED Powers powers(std::span<const float> l, std::span<const float> r) {
  double left[4] = {}, right[4] = {}, cross[4] = {};
  const std::size_t n = l.size();
  for (std::size_t i = 0; i + 4 <= n; i += 4) {
    for (std::size_t k = 0; k < 4; ++k) {
      const double a = static_cast<double>(l[i + k]);
      const double b = static_cast<double>(r[i + k]);
      left[k] += a * a;
      right[k] += b * b;
      cross[k] += a * b;
    }
  }
  for (std::size_t i = n - n % 4; i < n; ++i) {
    const double a = static_cast<double>(l[i]);
    const double b = static_cast<double>(r[i]);
    left[0] += a * a;
    right[0] += b * b;
    cross[0] += a * b;
  }
  Powers p;
  p.left = left[0] + left[1] + left[2] + left[3];
  p.right = right[0] + right[1] + right[2] + right[3];
  const double c = cross[0] + cross[1] + cross[2] + cross[3];
  p.difference = std::max(0.0, p.left + p.right - 2 * c);
  p.sum = p.left + p.right + 2 * c;
  return p;
}

std::size_t power_of_two_at_least(double n) {
  std::size_t p = 256;
  while (static_cast<double>(p) < n) p *= 2;
  return p;
}

// One direction of crosstalk: from the side that was sent to the other.
struct Leak {
  std::optional<double> db;
  double uncertainty_db = 0;
  double at_most_db = 0;
};

// Mains hum stands on both lines at once and is coherent between them without leaking: only what rises where
// this side sends, over what it carries while the other one does or neither, is followed.
std::optional<Leak> leak(const std::optional<pair::CrossSpectra>& spectra,
                         const std::optional<pair::CrossSpectra>& turned,
                         const std::optional<pair::CrossSpectra>& pauses, bool from_left) {
  if (!spectra || spectra->count() < fewest_segments) return std::nullopt;
  constexpr double sends = 10.0;        // power over that of the side's own rest
  constexpr double least_sent = 1e-6;   // of the strongest
  constexpr double least_alone = 1e-3;  // the same where no rest is known
  const auto sent = from_left ? spectra->left() : spectra->right();
  const auto other = from_left ? spectra->right() : spectra->left();
  const double strongest = *std::max_element(sent.begin(), sent.end());
  const auto n = static_cast<double>(spectra->count());
  const auto usable = [&](const std::optional<pair::CrossSpectra>& s) {
    return s && s->segment() == spectra->segment() && s->count() >= fewest_segments;
  };
  const auto& rest = usable(turned) ? turned : pauses;
  const bool known = usable(rest);
  const auto rests = known ? (from_left ? rest->left() : rest->right()) : sent;
  const double rest_scale = known ? sends * n / static_cast<double>(rest->count()) : 0.0;
  double through = 0, variance = 0, total = 0;
  for (std::size_t k = 2; k < sent.size(); ++k) {
    if (!(sent[k] > (known ? least_sent : least_alone) * strongest) || sent[k] < rest_scale * rests[k])
      continue;
    total += sent[k];
    const double coherent = std::norm(spectra->cross()[k]) / sent[k];
    const double noise = std::max(0.0, other[k] - coherent) / (n - 1);  // what chance adds to `coherent`
    through += coherent - noise;
    variance += 1.944 * (noise * noise + 2 * noise * std::max(0.0, coherent - noise));
  }
  Leak r;
  const double sigma = std::sqrt(variance);
  // Converters themselves leak and round; a claim below their numbers would be false.
  r.at_most_db = db_from_power((std::max(0.0, through) + 3 * sigma) / total + 1e-15);
  if (through > 5 * sigma && through > 0) {
    r.db = db_from_power(through / total);
    r.uncertainty_db = expanded_u_db(through, sigma) + 0.02;
  }
  return r;
}

}  // namespace

struct PairAnalyser::Impl {
  double rate_hz;
  std::size_t longest;
  std::size_t coarse_size;
  std::size_t fine_size;
  std::size_t block;
  std::vector<float> left, right;
  Powers sums;
  std::uint64_t frames = 0;
  std::optional<pair::CrossSpectra> coarse, fine, from_left, from_right, pauses;
  double loudest = 0;  // power of a segment's louder side
  std::optional<std::ptrdiff_t> alignment;

  explicit Impl(double rate)
      : rate_hz(rate),
        longest(static_cast<std::size_t>(std::ceil(pair_longest_delay_s * rate))),
        coarse_size(power_of_two_at_least(4.0 * pair_longest_delay_s * rate)),
        fine_size(coarse_size / 2),
        block(static_cast<std::size_t>(block_s * rate)) {
    left.reserve(block);
    right.reserve(block);
  }

  // Sorts a segment by which side speaks; silence is neither's.
  enum class Kind { Silent, Both, Left, Right };
  [[nodiscard]] static Kind kind_of(std::span<const float> l, std::span<const float> r) {
    const Powers p = powers(l, r);
    const double floor = std::pow(rms_from_dbfs(silence_dbfs), 2) * static_cast<double>(l.size());
    if (p.left < floor && p.right < floor) return Kind::Silent;
    const double ratio = power_from_db(dominant_db);
    if (p.left > ratio * p.right) return Kind::Left;
    if (p.right > ratio * p.left) return Kind::Right;
    return Kind::Both;
  }

  // Neither side alone, and far below the loudest: what stands there stands there always.
  bool pause(std::span<const float> l, std::span<const float> r, Kind kind) {
    const Powers p = powers(l, r);
    const double power = std::max(p.left, p.right) / static_cast<double>(l.size());
    loudest = std::max(loudest, power);
    return kind != Kind::Left && kind != Kind::Right && power < power_from_db(-dominant_db) * loudest;
  }

  void add_coarse(std::size_t size, std::size_t stride) {
    if (!coarse || coarse->segment() != size) coarse.emplace(size);
    for (std::size_t at = 0; at + size <= left.size(); at += size * stride) {
      const auto l = std::span<const float>(left).subspan(at, size);
      const auto r = std::span<const float>(right).subspan(at, size);
      if (kind_of(l, r) == Kind::Both) coarse->add(l, r);
    }
    const auto found = pair::shared_part(*coarse, rate_hz, static_cast<double>(std::min(longest, size / 2)));
    if (found && found->share >= least_share)
      alignment = std::lround(found->unique ? found->delay_samples : 0.0);
  }

  void add_fine(std::size_t size, std::size_t stride) {
    const std::ptrdiff_t shift = alignment.value_or(0);
    const auto left_at = static_cast<std::size_t>(shift < 0 ? -shift : 0);
    const auto right_at = static_cast<std::size_t>(shift > 0 ? shift : 0);
    const std::size_t reach = size + std::max(left_at, right_at);
    for (std::size_t at = 0; at + reach <= left.size(); at += size * stride) {
      const auto l = std::span<const float>(left).subspan(at + left_at, size);
      const auto r = std::span<const float>(right).subspan(at + right_at, size);
      const Kind kind = kind_of(l, r);
      if (pause(l, r, kind)) {
        if (!pauses || pauses->segment() != size) pauses.emplace(size);
        pauses->add(l, r);
      }
      auto& into = kind == Kind::Left ? from_left : kind == Kind::Right ? from_right : fine;
      if (kind == Kind::Silent || (kind == Kind::Both && !alignment)) continue;
      if (!into || into->segment() != size) into.emplace(size);
      into->add(l, r);
    }
  }

  void take_block() {
    const Powers p = powers(left, right);
    sums.left += p.left;
    sums.right += p.right;
    sums.difference += p.difference;
    sums.sum += p.sum;
    const double before_s = static_cast<double>(frames) / rate_hz;
    frames += left.size();
    const std::size_t stride = before_s < full_use_s ? 1 : later_stride;
    // A short capture gets shorter segments, so that there are enough of them to tell chance from coherence.
    std::size_t size = fine_size;
    while (size > 256 && frames < 16 * size) size /= 2;
    if (!alignment) add_coarse(std::min(coarse_size, 2 * size), stride);
    add_fine(size, stride);
    left.clear();
    right.clear();
  }

  // Passages of one side alone are no mono.
  [[nodiscard]] bool one_sided_passages() const {
    const auto power = [](const std::optional<pair::CrossSpectra>& s) {
      if (!s) return 0.0;
      return std::accumulate(s->left().begin(), s->left().end(), 0.0) +
             std::accumulate(s->right().begin(), s->right().end(), 0.0);
    };
    return power(from_left) + power(from_right) > power_from_db(mono_db) * power(fine);
  }

  [[nodiscard]] Reading sides(const std::optional<pair::Shared>& shared) const {
    const char* id = "audio.pair.sides";
    const std::string word = sides();
    const bool compared = shared && shared->unique && word != "none" && !word.ends_with("only") &&
                          fine->count() >= fewest_segments;
    if (!compared) return text_reading(id, word);
    const double most = shared->unshared + shared->unshared_u;
    const bool mono =
        word == "mono" || (shared->polarity > 0 && most < power_from_db(mono_db) && !one_sided_passages());
    return text_reading(id, mono ? "mono" : word,
                        fmt::format("what differs beyond level and delay is at most {:.0f} dB of all",
                                    db_from_power(std::max(most, 1e-9))));
  }

  [[nodiscard]] std::string sides() const {
    const double n = std::max<double>(1, static_cast<double>(frames));
    const double l = dbfs_from_power(sums.left / n);
    const double r = dbfs_from_power(sums.right / n);
    if (l < silence_dbfs && r < silence_dbfs) return "none";
    if (r < silence_dbfs || l - r > one_sided_db) return "left only";
    if (l < silence_dbfs || r - l > one_sided_db) return "right only";
    if (sums.difference <= power_from_db(alike_db) * sums.sum) return "mono";
    return "both";
  }

  void add_crosstalk(Readings& out) const;
};

void PairAnalyser::Impl::add_crosstalk(Readings& out) const {
  const auto to_right = leak(from_left, from_right, pauses, true);
  const auto to_left = leak(from_right, from_left, pauses, false);
  const char* id = "audio.pair.crosstalk";
  if (!to_right && !to_left) {
    out.push_back(
        unmeasurable(id,
                     "both sides carry signal at once; send the left/right identification, or a tone on "
                     "one side only"));
    return;
  }
  const auto word = [](const std::optional<Leak>& l) {
    if (!l) return std::string("not shown");
    return l->db ? fmt::format("{:.1f} dB", *l->db) : fmt::format("below {:.0f} dB", l->at_most_db);
  };
  const std::string remark =
      fmt::format("left into right {}, right into left {}", word(to_right), word(to_left));
  const Leak* worst = nullptr;
  double at_most = -300;
  for (const auto* l : {&to_right, &to_left}) {
    if (!*l) continue;
    at_most = std::max(at_most, (*l)->at_most_db);
    if ((*l)->db && (worst == nullptr || *(*l)->db > *worst->db)) worst = &**l;
  }
  if (worst != nullptr) {
    out.push_back(number_reading(id, *worst->db, worst->uncertainty_db, remark));
  } else {
    out.push_back(unmeasurable(id, "none found above the noise; " + remark, at_most));
  }
}

PairAnalyser::PairAnalyser(double rate_hz) {
  if (!(rate_hz >= 1000)) throw std::invalid_argument("PairAnalyser: sample rate must be 1 kHz or more");
  impl_ = std::make_unique<Impl>(rate_hz);
}
PairAnalyser::~PairAnalyser() = default;
PairAnalyser::PairAnalyser(PairAnalyser&&) noexcept = default;
PairAnalyser& PairAnalyser::operator=(PairAnalyser&&) noexcept = default;

void PairAnalyser::push(std::span<const float> left, std::span<const float> right) {
  if (left.size() != right.size())
    throw std::invalid_argument("PairAnalyser: both sides must be equally long");
  Impl& m = *impl_;
  for (std::size_t at = 0; at < left.size();) {
    const std::size_t part = std::min(left.size() - at, m.block - m.left.size());
    m.left.insert(m.left.end(), left.begin() + at, left.begin() + at + part);
    m.right.insert(m.right.end(), right.begin() + at, right.begin() + at + part);
    at += part;
    if (m.left.size() == m.block) m.take_block();
  }
}

Readings PairAnalyser::finish() {
  Impl& m = *impl_;
  // A last piece too short to add anything is only counted.
  if (!m.left.empty()) m.take_block();
  const std::string sides = m.sides();
  std::string why;
  std::optional<pair::Shared> shared;
  if (sides == "none") {
    why = "neither side carries a signal; check source and cable";
  } else if (sides == "left only" || sides == "right only") {
    why = fmt::format("signal on the {} side only; send the same signal to both",
                      sides.substr(0, sides.find(' ')));
  } else if (m.fine) {
    shared = pair::shared_part(*m.fine, m.rate_hz,
                               static_cast<double>(std::min(m.longest, m.fine->segment() / 2)));
    if (shared && shared->share < least_share) shared.reset();
  }
  Readings out;
  out.push_back(m.sides(shared));
  if (!shared && why.empty()) {
    why =
        m.frames < static_cast<std::uint64_t>(fewest_segments * 256)
            ? fmt::format("capture is too short; {:.2f} s are needed", 16.0 * 256.0 / m.rate_hz)
            : fmt::format(
                  "the sides do not carry one signal within {:.0f} ms of each other: what they share is too "
                  "little, or too unsteady, to go by; send the same signal to both",
                  1e3 * pair_longest_delay_s);
  }
  if (!shared) {
    for (const char* id : {"audio.pair.polarity", "audio.pair.delay", "audio.pair.gain"}) {
      out.push_back(unmeasurable(id, why));
    }
  } else if (shared->unique) {
    const double shift = static_cast<double>(m.alignment.value_or(0));
    out.push_back(number_reading("audio.pair.polarity", shared->polarity, std::nullopt));
    out.push_back(number_reading("audio.pair.delay", (shift + shared->delay_samples) / m.rate_hz,
                                 shared->delay_uncertainty / m.rate_hz));
    out.push_back(number_reading("audio.pair.gain", shared->gain_db, shared->gain_uncertainty_db));
  } else {
    const double shift = static_cast<double>(m.alignment.value_or(0));
    const double phase = shared->tone_phase - 2 * std::numbers::pi * shared->tone_hz * shift / m.rate_hz;
    out.push_back(number_reading(
        "audio.pair.polarity", std::cos(phase) < 0 ? -1 : 1, std::nullopt,
        fmt::format(
            "from tones alone ({:.0f} Hz): reversed polarity and half a period of delay look the same; "
            "confirm with noise, a sweep or programme",
            shared->tone_hz)));
    out.push_back(unmeasurable(
        "audio.pair.delay",
        fmt::format(
            "the sides share only tones (strongest near {:.0f} Hz), which fit any whole number of periods; "
            "send noise, a sweep or programme",
            shared->tone_hz)));
    out.push_back(number_reading("audio.pair.gain", shared->gain_db, shared->gain_uncertainty_db));
  }
  m.add_crosstalk(out);
  return out;
}

}  // namespace linebench::measure
