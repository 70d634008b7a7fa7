// Steady tones in the noise: a switching supply, a radio transmitter.
#pragma once

#include <complex>
#include <cstdint>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <span>
#include <vector>

#include "video_flat_spectrum.hpp"

namespace linebench::measure {

/// Collects what is left on flat stretches during a few fields spread over the capture, each on its own time
/// axis with nothing in between, so that a tone adds up over a whole field; memory is that of those fields.
class ToneSearch {
 public:
  /// Which parts of the capture are looked at, each by itself.
  struct Plan {
    std::size_t most;          // of them
    double seconds;            // of each
    std::uint64_t first_line;  // of the first
    double apart;              // the next begins this many times as far on, in lines,
    std::uint64_t least_apart;
  };
  static constexpr Plan whole_fields{6, 0.02, 150, 1.5,
                                     350};  // by line 150 it is known what noise alone looks like
  /// The lines of field blanking, which are all that wants() is then asked for.
  static constexpr Plan blankings{16, 1.3e-3, 0, 1.25, 50};
  explicit ToneSearch(const VideoSetup& setup, const Plan& plan = whole_fields);
  /// True while a field is being collected; opens the next one when it is due.
  bool wants(const LineView& v);
  /// @param at sample index of residual[0] from the start of the capture.
  void add(const FlatSpectrum& shape, std::int64_t at, std::span<const float> residual);

  struct Found {
    double hz = 0;
    double hz_u = 0;  ///< expanded
    double pp_mv = 0;
    double pp_u = 0;           ///< expanded
    double rest_mv = 0;        ///< rms of what it leaves of the fields
    double samples = 0;        ///< that is told by
    bool line_locked = false;  ///< at a multiple of the line rate
    bool wanders = false;      ///< does not keep its frequency over a field
    bool of_blanking = false;  ///< found there alone: the flat parts were those that show less of it
  };
  struct Result {
    bool looked = false;
    std::optional<Found> tone;
    double least_pp_mv = 0;  ///< a tone above this would have been found
    double from_hz = 0;      ///< range looked through
    double to_hz = 0;
    double floor_mv = 0;  ///< rms of what the spectrum holds between tones, however many there are
  };
  /// To be called once, at the end. @param noise_alone lengths whose stretches are to be looked at.
  /// @param lines_alike a test picture is there: fine picture stands at multiples of the line rate alone.
  [[nodiscard]] Result result(std::span<const FlatSpectrum* const> noise_alone, bool lines_alike);

  /// Samples of each stretch.
  struct Part {
    std::size_t from, to;
  };
  struct Rest {
    double variance = 0, samples = 0;
    double of_means = 0;  // what it is more than about the mean of each part
  };
  /// What a tone leaves on these parts of all stretches, found anew in each field. After result().
  [[nodiscard]] Rest rest_on(std::span<const Part> parts, double hz) const;

 private:
  static constexpr std::size_t background_bins = 256;
  struct Stretch {
    const FlatSpectrum* shape;
    std::size_t at;  // in the field's samples
  };
  struct Field {
    std::int64_t begin = 0;
    std::vector<float> samples;
    std::vector<Stretch> stretches;
  };
  /// A field turned back by a frequency and summed over short pieces: fits near that frequency then cost
  /// little.
  struct Turned {
    double hz = 0;
    std::vector<std::complex<double>> sums;
    std::vector<double> at;  // middle of each piece, samples
    double power = 0;        // sum of squares
    double samples = 0;
  };
  struct Fit {
    std::complex<double> amplitude;  // mV peak
    double variance = 0;             // of either part
    double explained = 0;            // sum of squares
  };
  [[nodiscard]] Field without_tone(const Field& f, double hz) const;
  [[nodiscard]] bool is_colour(double hz) const;
  void sort_out(std::span<const FlatSpectrum* const> noise_alone);
  [[nodiscard]] double lowest_hz() const;
  [[nodiscard]] std::vector<double> spectrum(const Field& f, dsp::RealFft& fft) const;
  [[nodiscard]] Turned turned(const Field& f, double hz) const;
  [[nodiscard]] Fit fit(const Field& f, const Turned& t, double hz) const;
  [[nodiscard]] double refine(const Field& f, const Turned& t) const;
  [[nodiscard]] double unfold(double hz, double least_hz) const;
  [[nodiscard]] bool is_tone(double hz, const std::vector<double>& before, dsp::RealFft& fft) const;
  [[nodiscard]] Found line_by_line(double hz, int lines_away, double least_hz);
  [[nodiscard]] double window(std::size_t i) const;  // Hann's, over a field
  [[nodiscard]] double median_of_mean() const;
  [[nodiscard]] double floor_of(const std::vector<double>& sum_of_fields) const;
  [[nodiscard]] double power_about(const std::vector<double>& sum_of_fields, std::size_t bin) const;
  [[nodiscard]] double spread_s(const Turned& t) const;
  [[nodiscard]] Found measured(double hz) const;

  Plan plan_;
  double rate_hz_;
  double line_hz_;
  double subcarrier_hz_;
  std::size_t length_;
  std::uint64_t next_ = 0;  // line at which the next field is begun
  std::vector<Field> fields_;
  bool open_ = false;
};

}  // namespace linebench::measure
