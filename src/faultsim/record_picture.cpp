// A grabber's frames of a simulated installation. Its gain control holds sync, so what is seen is re sync.
#include <algorithm>
#include <linebench/base/decibel.hpp>
#include <linebench/faultsim/captures.hpp>
#include <linebench/signals/video_frame.hpp>
#include <linebench/standards/video_colour.hpp>
#include <numbers>

namespace linebench::faultsim {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;
constexpr double codes_per_mv = 219.0 / 700;
constexpr double pixel_ns = 1e9 / 13.5e6;  // [BT.601]

// A steady tone along a row: a pointer that turns from pixel to pixel.
class RowTone {
 public:
  /// @param codes its amplitude, @param t when the row's first pixel is scanned
  RowTone(double codes, double hz, double t)
      : pointer_(std::polar(codes, two_pi * std::fmod(hz * t, 1.0))),
        step_(std::polar(1.0, two_pi * hz * pixel_ns * 1e-9)) {}
  double next() {
    const double v = pointer_.imag();
    pointer_ *= step_;
    return v;
  }

 private:
  std::complex<double> pointer_, step_;
};

std::uint8_t code(double v) { return static_cast<std::uint8_t>(std::clamp(std::lround(v), 1L, 254L)); }

// No picture: many grabbers show blue.
void blue(std::vector<std::uint8_t>& bytes) {
  for (std::size_t k = 0; k + 3 < bytes.size(); k += 4) {
    bytes[k] = bytes[k + 2] = 41;
    bytes[k + 1] = 240;
    bytes[k + 3] = 110;
  }
}

struct Look {
  double luma, chroma, hold;  // gains of picture, colour, and of what stands on the signal
  double black;               // codes that black stands above code 16
  int echo_px;
  double echo;
  bool rolls;
};

// What becomes of a colour difference pair: its order and signs at the source, then the receiver's hue and
// colour, which turn and scale the subcarrier's two axes [SMPTE 170M].
struct Colour {
  double b_of_b, b_of_r, r_of_b, r_of_r;

  Colour(const VideoPath& v, double gain) {
    constexpr double u_of = standards::u_scale * (1 - standards::luma_blue);
    constexpr double v_of = standards::v_scale * (1 - standards::luma_red);
    const double turn = v.hue_deg * std::numbers::pi / 180;
    b_of_b = r_of_r = gain * std::cos(turn);
    b_of_r = -gain * std::sin(turn) * v_of / u_of;
    r_of_b = gain * std::sin(turn) * u_of / v_of;
    using enum VideoPath::Parts;
    if (v.parts == Exchanged) std::swap(b_of_b, b_of_r), std::swap(r_of_b, r_of_r);
    if (v.parts == BothReversed) b_of_b *= -1, r_of_b *= -1;
    if (v.parts == BothReversed || v.parts == OneReversed) b_of_r *= -1, r_of_r *= -1;
    if (v.parts == OneOpen) b_of_r = r_of_r = 0;
  }
};

// Rows after the field sync that a line oscillator is still out of time by, as a share of what it started
// with: its loop follows as an exponential of some ten lines, and the first 20 are not shown.
double still_off(int row_of_field) {
  constexpr double lines = 10, hidden = 10;  // the field sync's end to the first row shown, at its quickest
  return std::exp(-(hidden + row_of_field) / lines);
}

}  // namespace

PictureTake record_picture(const Installation& s, std::uint64_t seed, double seconds) {
  Dice d(seed + 404);
  const VideoPath& v = s.video;
  const bool is_625 = s.system == "625";
  PictureTake take;
  take.lines = is_625 ? 625 : 525;
  take.height = is_625 ? 576 : 480;
  take.frame_rate_hz = is_625 ? 25 : 30000.0 / 1001;
  const auto count = static_cast<std::size_t>(std::max(2.0, seconds * take.frame_rate_hz));
  const bool seen = v.present && !v.inverted;
  const bool other = v.system.substr(0, 3) != s.system.substr(0, 3);

  signals::PictureSpec spec;
  spec.picture = "bars";
  spec.form = "100";
  const standards::VideoStandard& standard = *standards::find_video_standard(is_625 ? "625" : "525-no-setup");
  const signals::YuyvFrame clean =
      signals::make_frame(signals::describe(spec, standard), standard, 0, take.height);

  Look look;
  look.hold = amplitude_from_db(-v.sync_db);
  look.luma = amplitude_from_db(v.white_db - v.sync_db);
  const double loss_fsc = v.loss_db * std::sqrt((is_625 ? 4.43 : 3.58) / 5);
  // The chroma gain control follows the burst, some way, and gives up where it is nearly gone: a burst that
  // is weak by itself makes colours strong.
  const double lifted = std::clamp(v.cable_burst_db - v.burst_db, -6.0, 8.0);
  look.chroma = !v.colour || v.burst_db < -16 || (other && d.chance(0.8))
                    ? 0
                    : amplitude_from_db(std::min(0.0, 6 - loss_fsc) * 0.5 + lifted + v.colour_db);
  const Colour colour(v, look.chroma);
  // White stays where it is, and black stands between there and blanking; the receiver takes off what its
  // system has.
  const double range = 1 - s.expected_setup_mv() / 714.3;
  const double lift = (v.setup_mv - s.expected_setup_mv()) / 714.3 / range;
  look.luma *= (1 - lift) * amplitude_from_db(v.contrast_db);
  look.black = 219 * (lift + v.brightness / 100);
  look.echo = v.echo;
  look.echo_px = static_cast<int>(std::lround(1e9 * v.echo_s / pixel_ns));
  look.rolls = other || v.sync_db < -7 || v.missing > 150;
  double roll = 0;
  std::vector<std::pair<double, double>> comb;
  for (int n = 1; n <= 12; ++n)
    comb.emplace_back(std::numbers::sqrt2 * v.hum_mv[static_cast<std::size_t>(n)], d.uniform(0, 1));
  const double line_s = 1 / (standard.line_rate_hz.value());
  // Frames arrive at the camera's rate; the grabber's clock is taken as nominal by whoever reads them.
  const double field_s = 1 / standard.field_rate_hz();
  const double beat = s.field_hz / standard.field_rate_hz();
  std::vector<double> row(static_cast<std::size_t>(take.width));
  for (std::size_t f = 0; f < count; ++f) {
    if (d.chance(v.lost_frames / 1000)) {
      const std::uint64_t place = take.frames.size();
      if (take.lost.empty() || take.lost.back().first != place) take.lost.emplace_back(place, 0);
      ++take.lost.back().second;
      continue;
    }
    std::vector<std::uint8_t> bytes = clean.bytes;
    if (!seen) {
      blue(bytes);
      take.frames.push_back(std::move(bytes));
      continue;
    }
    // A gain control that hunts: 0.6 s at the one level, 0.3 s at the other.
    const double hold =
        look.hold *
        amplitude_from_db(std::fmod(static_cast<double>(f) * field_s * 2, 0.9) > 0.6 ? -v.hunting_db : 0);
    const double held = hold / look.hold;
    if (look.rolls) roll += d.uniform(4, 9);
    for (int y = 0; y < take.height; ++y) {
      // Between two pictures the field blanking passes, black.
      const int passing = look.rolls ? (y + static_cast<int>(roll)) % take.lines : y;
      const bool between = passing >= take.height;
      const int from = between ? 0 : passing;
      const std::size_t source = static_cast<std::size_t>(from) * 2 * static_cast<std::size_t>(take.width);
      const std::size_t target = static_cast<std::size_t>(y) * 2 * static_cast<std::size_t>(take.width);
      const bool second = (y % 2 == 1) == clean.top_field_first;
      const double t = (2 * static_cast<double>(f) + (second ? 1 : 0)) * field_s + (y / 2 + 20) * line_s;
      double hum = 0;
      for (std::size_t n = 0; n < comb.size(); ++n)
        hum += comb[n].first *
               std::sin(two_pi * (static_cast<double>(n + 1) * s.mains_hz * t / beat + comb[n].second));
      hum *= codes_per_mv * hold;
      // A missing sync throws the rows about it sideways.
      double shift = d.normal(0, v.jitter_ns / pixel_ns);
      if (v.missing > 0 && d.chance(v.missing / 1000)) shift += d.uniform(2, 25);
      shift -= 1e3 * v.flagging_us / pixel_ns * still_off(y / 2);
      for (int x = 0; x < take.width; ++x)
        row[static_cast<std::size_t>(x)] =
            between ? 16 : clean.bytes[source + 2 * static_cast<std::size_t>(x)];
      RowTone tone(0.5 * codes_per_mv * v.tone_mv * hold, v.tone_hz, t / beat);
      for (int x = 0; x < take.width; ++x) {
        const double place = std::clamp(x + shift, 0.0, take.width - 1.001);
        const auto i = static_cast<std::size_t>(place);
        const double at = row[i] + (place - static_cast<double>(i)) * (row[i + 1] - row[i]) - 16;
        const double late = x >= look.echo_px ? row[static_cast<std::size_t>(x - look.echo_px)] - 16 : 0;
        const double bend = 1 - 0.5 * v.nonlinearity / 100 * (at / 219 - 1);
        bytes[target + 2 * static_cast<std::size_t>(x)] =
            code(16 + held * look.black + held * look.luma * bend * (at + look.echo * late) + hum +
                 tone.next() + std::hypot(0.6, codes_per_mv * v.noise_mv * hold) * d.quick_normal());
      }
      for (std::size_t x = 1; x + 2 < 2 * static_cast<std::size_t>(take.width); x += 4) {
        const double b = between ? 0 : clean.bytes[source + x] - 128.0;
        const double r = between ? 0 : clean.bytes[source + x + 2] - 128.0;
        bytes[target + x] =
            code(128 + held * (colour.b_of_b * b + colour.b_of_r * r) + 0.5 * d.quick_normal());
        bytes[target + x + 2] =
            code(128 + held * (colour.r_of_b * b + colour.r_of_r * r) + 0.5 * d.quick_normal());
      }
    }
    take.frames.push_back(std::move(bytes));
  }
  return take;
}

}  // namespace linebench::faultsim
