// The silence between the marker bursts of a marked-silence signal, found in the return as it streams by.
#pragma once

#include <complex>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure {

/// Lets through what lies between the first marker burst and the two that end the silence.
///
/// A burst is a stretch of marker_s in which the marker's frequency, seen through a Hann window of an eighth
/// of a burst, stands steady (within 4 dB) and at least 7.8 dB above what is there before it, and falls after
/// it. The pair is two bursts whose starts are 2 marker_s apart; a burst alone after the first is something
/// the path did, and stays in. Memory: five bursts' worth of samples, whatever the length.
class MarkedSilence {
 public:
  using Sink = std::function<void(std::span<const float> interleaved)>;

  /// @param marker_hz,marker_s as in the recipe: marker_s holds 40 periods of marker_hz or more, which lies
  /// below half the rate.
  /// @param sink takes the silence, whole frames at a time.
  MarkedSilence(double rate_hz, int channels, double marker_hz, double marker_s, Sink sink);

  /// Any number of whole frames.
  void push(std::span<const float> interleaved);

  struct Marker {
    double level_dbfs = 0;  ///< rms re a full-scale sine [AES17]
    double u_db = 0;        ///< k = 2
  };
  struct Result {
    bool found = false;  ///< the first burst came, and silence after it; from_s counts
    bool ended = false;  ///< the pair came too, else the silence runs to the end
    double from_s = 0;
    double to_s = 0;
    std::vector<std::optional<Marker>> markers{};  ///< of the first burst, per channel
  };
  /// Lets the rest through. Call once.
  Result finish();

 private:
  void close_hop();
  void judge_hop(std::int64_t hop);
  [[nodiscard]] bool burst_at(std::int64_t hop) const;
  [[nodiscard]] bool pair_at(std::int64_t hop) const;
  [[nodiscard]] bool stands_out(std::int64_t hop, std::size_t channel) const;
  [[nodiscard]] std::optional<double> power(std::int64_t window, std::size_t channel) const;
  [[nodiscard]] std::optional<Marker> marker(std::int64_t hop, std::size_t channel) const;
  void begin_silence(std::int64_t hop);
  void let_through(std::int64_t to_hop);
  [[nodiscard]] std::int64_t hops_in(double seconds) const;

  double rate_hz_;
  std::size_t channels_;
  Sink sink_;
  std::size_t hop_;                            // frames
  std::vector<std::complex<double>> rising_;   // first half of the Hann window times the marker
  std::vector<std::complex<double>> falling_;  // and its second half
  std::complex<double> turn_;                  // of the marker over one hop
  std::vector<std::complex<double>> opened_;   // first half of the window that the next hop closes
  std::vector<float> filling_;
  std::deque<std::vector<float>> held_;  // whole hops from held_from_ on
  std::int64_t held_from_ = 0;
  std::deque<std::vector<double>> powers_;  // per window and channel; window w covers hops w and w + 1
  std::int64_t powers_from_ = 0;
  std::int64_t hops_ = 0;     // closed so far
  std::int64_t judged_ = 0;   // hops asked whether a burst begins there
  std::int64_t skip_to_ = 0;  // a burst was found: none begins before
  std::optional<std::int64_t> from_;
  std::optional<std::int64_t> to_;
  std::vector<std::optional<Marker>> markers_;
};

}  // namespace linebench::measure
