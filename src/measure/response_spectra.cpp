// Spectra of sent and returned signal, in narrow bands and as third-octave points.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/standards/third_octave.hpp>
#include <numbers>

#include "response_path.hpp"

namespace linebench::measure::response {
namespace {

constexpr double narrow_octaves = 1.0 / 48.0;
constexpr double lowest_hz = 15.0;
constexpr double fewest_bins = 4.0;  // independent bins in a narrow band, to tell noise from signal
constexpr double least_snr = 16.0;   // power of what is coherent over its chance, in a whole third octave
constexpr double group_snr = 12.0;   // the same in a group of narrow bands that gets a level of its own
// Less of what was sent than this in a third octave is a window's skirt or the sender's rounding. Both come
// back beside the recorder's own rounding, which for a steady tone is coherent with them, and no path is that
// quiet.
constexpr double least_share = 1e-8;
constexpr double db_of_neper = 8.685889638;

void transform(dsp::RealFft& fft, std::span<const float> x, std::vector<Complex>& out) {
  std::copy(x.begin(), x.end(), fft.input().begin());
  std::fill(fft.input().begin() + static_cast<std::ptrdiff_t>(x.size()), fft.input().end(), 0.0);
  fft.forward();
  out.assign(fft.output().begin(), fft.output().end());
}

SubBand sum(std::span<const SubBand> part) {
  SubBand s;
  for (const SubBand& b : part) {
    s.sent += b.sent;
    s.returned += b.returned;
    s.cross += b.cross;
    s.bins += b.bins;
    s.hz += b.hz * b.sent;
    s.emitted_s += b.emitted_s * b.sent;
  }
  if (s.sent > 0) {
    s.hz /= s.sent;
    s.emitted_s /= s.sent;
  }
  return s;
}

double coherent(const SubBand& b) { return b.sent > 0 ? std::norm(b.cross) / b.sent : 0; }

// Power per independent bin that the sent signal does not explain.
double noise_per_bin(std::span<const SubBand> part) {
  double rest = 0;
  double freedom = 0;
  for (const SubBand& b : part) {
    rest += std::max(0.0, b.returned - coherent(b));
    freedom += b.bins - 1;
  }
  return freedom > 0 ? rest / freedom : 0;
}

}  // namespace

PathSpectra::PathSpectra(std::span<const float> sent, std::span<const float> returned, std::size_t before,
                         double rate_hz)
    : rate_hz_(rate_hz),
      before_(before),
      size_(dsp::next_fast_size(std::max(sent.size() + before, returned.size()))) {
  size_ += size_ % 2;
  independent_ = static_cast<double>(returned.size()) / static_cast<double>(size_);
  dsp::RealFft fft(size_);
  transform(fft, sent, sent_spectrum_);
  transform(fft, returned, returned_spectrum_);
}

std::vector<SubBand> PathSpectra::sub_bands(double late) const {
  std::vector<SubBand> bands;
  const double bin_hz = rate_hz_ / static_cast<double>(size_);
  const double top_hz = std::min(22500.0, 0.49 * rate_hz_);
  const double ratio = std::exp2(narrow_octaves);
  const double turn =
      2 * std::numbers::pi * (static_cast<double>(before_) + late) / static_cast<double>(size_);
  const Complex twist = std::polar(1.0, turn);
  auto k = static_cast<std::size_t>(std::ceil(lowest_hz / bin_hz));
  double edge = lowest_hz * ratio;
  Complex phase;
  Complex advance;
  SubBand b;
  const auto start = [&](std::size_t at) {
    b = SubBand{};
    advance = Complex{};
    phase = std::polar(1.0, std::fmod(turn * static_cast<double>(at), 2 * std::numbers::pi));
  };
  start(k);
  for (; static_cast<double>(k) * bin_hz < top_hz; ++k) {
    const double hz = static_cast<double>(k) * bin_hz;
    if (hz >= edge && b.bins >= fewest_bins) {
      b.hz = b.sent > 0 ? b.hz / b.sent : hz;
      // Phase step from bin to bin is minus the time at which the band was sent.
      b.emitted_s = -std::arg(advance) / (2 * std::numbers::pi * bin_hz);
      if (b.emitted_s < 0) b.emitted_s += 1 / bin_hz;
      bands.push_back(b);
      start(k);
    }
    while (hz >= edge) edge *= ratio;
    const Complex x = sent_spectrum_[k];
    const Complex y = returned_spectrum_[k];
    const double power = std::norm(x);
    b.sent += power;
    b.returned += std::norm(y);
    b.cross += std::conj(x) * y * phase;
    b.hz += hz * power;
    b.bins += independent_;
    advance += std::conj(sent_spectrum_[k - 1]) * x;
    phase *= twist;
  }
  return bands;
}

std::vector<double> PathSpectra::impulse(std::size_t count, std::span<const Complex> factor,
                                         std::span<const double> floor) const {
  dsp::RealFft fft(size_);
  for (std::size_t k = 0; k < factor.size(); ++k) {
    const double power = std::norm(sent_spectrum_[k]) + floor[k];
    fft.output()[k] = factor[k] != 0.0 && power > 0
                          ? returned_spectrum_[k] * std::conj(sent_spectrum_[k]) * factor[k] / power
                          : 0.0;
  }
  fft.inverse();
  std::vector<double> h(fft.input().begin(), fft.input().begin() + static_cast<std::ptrdiff_t>(count));
  for (double& v : h) v /= static_cast<double>(size_);
  return h;
}

std::vector<Point> third_octave_points(const std::vector<SubBand>& bands, double rate_hz) {
  std::vector<Point> points;
  double sent_in_all = 0;
  for (const SubBand& b : bands) sent_in_all += b.sent;
  for (const standards::ThirdOctave& octave : standards::third_octaves()) {
    if (octave.upper_hz() > 0.485 * rate_hz) break;
    Point p;
    p.hz = octave.midband_hz;
    const auto first = std::lower_bound(bands.begin(), bands.end(), octave.lower_hz(),
                                        [](const SubBand& b, double hz) { return b.hz < hz; });
    const auto last = std::lower_bound(first, bands.end(), octave.upper_hz(),
                                       [](const SubBand& b, double hz) { return b.hz < hz; });
    const std::span<const SubBand> part(first, last);
    points.push_back(p);
    if (part.empty()) continue;
    Point& q = points.back();
    const double noise = noise_per_bin(part);
    double signal = 0;
    double bins = 0;
    double sent = 0;
    for (const SubBand& b : part) {
      sent += b.sent;
      signal += coherent(b) - noise;
      bins += b.bins;
    }
    signal = std::max(signal, 0.0);
    q.coherence = signal > 0 ? signal / (signal + noise * bins) : 0;
    const double snr = noise > 0 ? signal / noise : (signal > 0 ? 1e12 : 0);
    if (snr < least_snr || sent < least_share * sent_in_all) continue;

    // As many groups as the noise lets have a level of their own, so that a slope within the band is seen.
    const auto groups = static_cast<std::size_t>(
        std::clamp(std::floor(snr / group_snr), 1.0, static_cast<double>(part.size())));
    std::vector<double> x, y, w;
    for (std::size_t g = 0; g < groups; ++g) {
      const std::size_t lo = g * part.size() / groups;
      const std::size_t hi = (g + 1) * part.size() / groups;
      const SubBand s = sum(part.subspan(lo, hi - lo));
      const double c = coherent(s);
      if (!(c > 6 * noise) || !(s.sent > 0)) continue;  // a tone's neighbours hold nothing
      x.push_back(std::log(s.hz / octave.midband_hz) / std::log(octave.upper_hz() / octave.midband_hz));
      y.push_back(10 * std::log10(std::norm(s.cross) / (s.sent * s.sent)));
      w.push_back(2 * std::min(c / std::max(noise, 1e-30), 1e8) / (db_of_neper * db_of_neper));
    }
    if (x.empty()) continue;
    const auto [low, high] = std::minmax_element(x.begin(), x.end());
    const bool spread = *low < -0.4 && *high > 0.4;
    const int order = !spread ? 0 : x.size() >= 6 ? 2 : x.size() >= 3 ? 1 : 0;
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(order + 1, order + 1);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(order + 1);
    for (std::size_t i = 0; i < x.size(); ++i) {
      Eigen::VectorXd row(order + 1);
      for (int j = 0; j <= order; ++j) row[j] = std::pow(x[i], j);
      normal += w[i] * row * row.transpose();
      right += w[i] * y[i] * row;
    }
    const Eigen::MatrixXd covariance = normal.inverse();
    const Eigen::VectorXd fit = covariance * right;
    double chi2 = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
      double model = 0;
      for (int j = 0; j <= order; ++j) model += fit[j] * std::pow(x[i], j);
      chi2 += w[i] * (y[i] - model) * (y[i] - model);
    }
    const double freedom = static_cast<double>(x.size()) - order - 1;
    q.db = fit[0];
    q.sigma_db = std::sqrt(covariance(0, 0) * (freedom > 0 ? std::max(1.0, chi2 / freedom) : 1.0));
    q.good = true;
  }
  return points;
}

Profile profile(const std::vector<SubBand>& bands, const std::vector<Point>& points) {
  Profile p;
  for (const Point& point : points) {
    if (!point.good) continue;
    const double lower = point.hz * std::pow(10.0, -0.05);
    const double upper = point.hz * std::pow(10.0, 0.05);
    const auto first = std::lower_bound(bands.begin(), bands.end(), lower,
                                        [](const SubBand& b, double hz) { return b.hz < hz; });
    const auto last =
        std::lower_bound(first, bands.end(), upper, [](const SubBand& b, double hz) { return b.hz < hz; });
    const std::span<const SubBand> part(first, last);
    const double noise = std::max(noise_per_bin(part), 1e-30);
    double snr = 0;
    for (const SubBand& b : part) snr += coherent(b) / noise;
    const auto groups = static_cast<std::size_t>(
        std::clamp(std::floor(snr / group_snr), 1.0, static_cast<double>(part.size())));
    for (std::size_t g = 0; g < groups; ++g) {
      const std::size_t lo = g * part.size() / groups;
      const std::size_t hi = (g + 1) * part.size() / groups;
      const SubBand s = sum(part.subspan(lo, hi - lo));
      if (!(coherent(s) > 6 * noise)) continue;
      p.hz.push_back(s.hz);
      p.transfer.push_back(s.cross / s.sent);
      p.db.push_back(20 * std::log10(std::abs(p.transfer.back())));
      p.snr.push_back(std::min(coherent(s) / noise, 1e8));
      p.emitted_s.push_back(s.emitted_s);
    }
  }
  return p;
}

}  // namespace linebench::measure::response
