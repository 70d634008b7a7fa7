#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdlib>
#include <linebench/base/error.hpp>
#include <linebench/signals/video_encoder.hpp>
#include <linebench/standards/video_lines.hpp>
#include <map>
#include <numbers>
#include <numeric>
#include <optional>
#include <tuple>
#include <vector>

#include "video_events.hpp"
#include "video_line_sum.hpp"

namespace linebench::signals {
namespace {

using standards::LineStructure;
using standards::Rational;
using standards::VideoStandard;
using Complex = std::complex<double>;

constexpr double lowest_rate_hz = 8e3;
constexpr double highest_rate_hz = 2e9;

// Where lines begin, in samples, exactly: whole part and remainder over a fixed denominator.
class LineClock {
 public:
  LineClock(Rational rate, Rational line_rate) {
    // samples per line = (rate.num line_rate.den) / (rate.den line_rate.num), reduced before multiplying
    const std::int64_t g1 = std::gcd(rate.num, line_rate.num);
    const std::int64_t g2 = std::gcd(line_rate.den, rate.den);
    const std::int64_t num = (rate.num / g1) * (line_rate.den / g2);
    den_ = (rate.den / g2) * (line_rate.num / g1);
    step_ = num / den_;
    rest_step_ = num % den_;
  }
  void next() {
    whole_ += step_;
    rest_ += rest_step_;
    if (rest_ >= den_) {
      rest_ -= den_;
      ++whole_;
    }
  }
  void previous() {
    whole_ -= step_;
    rest_ -= rest_step_;
    if (rest_ < 0) {
      rest_ += den_;
      --whole_;
    }
  }
  [[nodiscard]] std::int64_t whole() const { return whole_; }
  [[nodiscard]] double fraction() const { return static_cast<double>(rest_) / static_cast<double>(den_); }
  [[nodiscard]] std::int64_t longest() const { return step_ + 1; }

 private:
  std::int64_t den_ = 1;
  std::int64_t step_ = 0;
  std::int64_t rest_step_ = 0;
  std::int64_t whole_ = 0;
  std::int64_t rest_ = 0;
};

}  // namespace

Rational exact_sample_rate(double hz, const VideoStandard& standard) {
  if (!(hz >= lowest_rate_hz && hz <= highest_rate_hz)) {
    throw bad_usage(fmt::format("sample rate {} Hz is out of range; use 8e3 to 2e9 Hz", hz));
  }
  const Rational fsc = standard.subcarrier_hz;
  const Rational four{4 * fsc.num, fsc.den};
  if (std::abs(hz - four.value()) < 1) {
    const std::int64_t g = std::gcd(four.num, four.den);
    return {four.num / g, four.den / g};
  }
  const std::int64_t milli = std::llround(hz * 1000);
  const std::int64_t g = std::gcd(milli, std::int64_t{1000});
  return {milli / g, 1000 / g};
}

struct CompositeEncoder::Impl {
  Impl(TestPicture p, const EncoderOptions& o)
      : picture(std::move(p)),
        standard(standards::video_standard(o.system)),
        options(o),
        rate_hz(o.sample_rate_hz.value()),
        bank(checked_rate(o), band_limit_for(rate_hz, o.bandwidth_hz)),
        clock(o.sample_rate_hz, standard.line_rate_hz),
        sequence_lines(static_cast<std::int64_t>(standard.lines_per_frame) * (standard.colour_fields / 2)) {
    // How far shapes reach over the line's ends: as far as the longest of them.
    margin = static_cast<std::int64_t>(std::ceil(bank.half_width(standard.modulated_pulse_had_ns))) + 2;
    sum.emplace(bank, margin, clock.longest());
    // Lines before time 0 whose shapes reach into it.
    for (std::int64_t back = 0; back < margin; back += std::max<std::int64_t>(1, clock.longest() - 1)) {
      clock.previous();
      --line;
    }
    sum->start_at(clock.whole() - margin);
    ready_to = sum->begin();
    skip_to(0);
  }

  static double checked_rate(const EncoderOptions& o) {
    const double hz = o.sample_rate_hz.value();
    if (!(hz >= lowest_rate_hz && hz <= highest_rate_hz)) {
      throw bad_usage(fmt::format("sample rate {} Hz is out of range; use 8e3 to 2e9 Hz", hz));
    }
    if (o.colour && hz < lowest_composite_rate_hz) {
      throw bad_usage(
          fmt::format("{:.6g} MHz cannot carry the subcarrier; use 10 MHz or more, or no colour", hz / 1e6));
    }
    return hz;
  }

  const std::vector<PlacedEvent>& events_for(const LineStructure& l, std::int64_t frame) {
    const TestLine* content = l.has_picture() ? &picture.line_at(frame, l.picture_row) : nullptr;
    const Key key{l.at_start,           l.at_middle,           l.burst, l.v_sign,
                  l.picture_first_half, l.picture_second_half, content};
    auto [slot, fresh] = cache.try_emplace(key);
    if (fresh) slot->second = place_events(l, content);
    return slot->second;
  }

  std::vector<PlacedEvent> place_events(const LineStructure& l, const TestLine* content) {
    std::vector<LineEvent> events;
    add_structure_events(events, standard, l, options.colour && !picture.sync_only);
    if (content != nullptr) add_picture_events(events, standard, *content, picture_window(standard, l));
    if (!options.colour) {
      std::erase_if(events, [](const LineEvent& e) { return e.carrier == Carrier::Subcarrier; });
    }
    std::vector<PlacedEvent> placed;
    placed.reserve(events.size());
    for (const LineEvent& e : events) {
      const double hz = e.carrier == Carrier::Subcarrier ? standard.subcarrier_hz.value() : e.frequency_hz;
      Complex amplitude = e.amplitude * 1e-3;  // V
      if (e.carrier == Carrier::Subcarrier && l.v_sign < 0) amplitude = std::conj(amplitude);
      if (e.shape == ShapeKind::Slope) amplitude *= 1e6 / rate_hz;  // per us -> per sample
      placed.push_back({&bank.get(e.shape, e.had_ns, hz), e.shape, e.at_us * 1e-6 * rate_hz, amplitude,
                        e.carrier == Carrier::None ? -1 : sum->carrier(hz), e.carrier == Carrier::Subcarrier,
                        e.origin_us * 1e-6 * rate_hz});
    }
    return placed;
  }

  // Renders the next line into the sum; afterwards everything `margin` before its end is final.
  void render() {
    const std::int64_t counted =
        line < 0 ? line + sequence_lines : line;  // before time 0: the sequence's end
    const std::int64_t frame = counted / standard.lines_per_frame;
    const LineStructure l = standards::line_structure_in_frame(
        standard, frame, static_cast<int>(counted % standard.lines_per_frame) + 1);
    const double turns = standards::subcarrier_turns_at_line(standard, counted) + options.sc_h_deg / 360;
    sum->add_line(events_for(l, line < 0 ? 0 : frame), clock.whole(), clock.fraction(), turns);
    clock.next();
    ++line;
    ready_to = clock.whole() - margin;
  }

  void skip_to(std::int64_t sample) {
    while (ready_to <= sample) render();
    sum->drop_before(sample);
  }

  void read(std::span<float> out) {
    while (!out.empty()) {
      if (ready_to <= next) render();
      const auto n = static_cast<std::size_t>(
          std::clamp<std::int64_t>(ready_to - next, 0, static_cast<std::int64_t>(out.size())));
      sum->take(out.first(n));
      next += static_cast<std::int64_t>(n);
      out = out.subspan(n);
    }
  }

  using Key = std::tuple<standards::LinePulse, standards::LinePulse, bool, int, bool, bool, const TestLine*>;

  TestPicture picture;
  const VideoStandard& standard;
  EncoderOptions options;
  double rate_hz;
  ShapeBank bank;
  LineClock clock;  ///< of the next line to render
  std::int64_t sequence_lines;
  std::int64_t line = 0;  ///< next to render, counted from colour field 1
  std::int64_t margin = 0;
  std::int64_t ready_to = 0;
  std::int64_t next = 0;  ///< next sample to hand out
  std::map<Key, std::vector<PlacedEvent>> cache;
  std::optional<LineSum> sum;
};

CompositeEncoder::CompositeEncoder(TestPicture picture, const EncoderOptions& options)
    : impl_(std::make_unique<Impl>(std::move(picture), options)) {}
CompositeEncoder::~CompositeEncoder() = default;
CompositeEncoder::CompositeEncoder(CompositeEncoder&&) noexcept = default;
CompositeEncoder& CompositeEncoder::operator=(CompositeEncoder&&) noexcept = default;

void CompositeEncoder::read(std::span<float> out) { impl_->read(out); }
std::uint64_t CompositeEncoder::position() const { return static_cast<std::uint64_t>(impl_->next); }
double CompositeEncoder::sample_rate_hz() const { return impl_->rate_hz; }
const BandLimit& CompositeEncoder::band_limit() const { return impl_->bank.limit(); }
const VideoStandard& CompositeEncoder::standard() const { return impl_->standard; }
const TestPicture& CompositeEncoder::picture() const { return impl_->picture; }

}  // namespace linebench::signals
