// The inner loop of the encoder: adds shapes of one line after another into a running stretch of samples.
#pragma once

#include <algorithm>
#include <complex>
#include <cstdint>
#include <deque>
#include <linebench/signals/video_shapes.hpp>
#include <span>
#include <vector>

namespace linebench::signals {

/// An event ready for a sample rate.
struct PlacedEvent {
  const ShapeTable* table = nullptr;
  ShapeKind shape = ShapeKind::Step;
  double at = 0;                     ///< samples from 0H
  std::complex<double> amplitude{};  ///< V; Slope: V per sample
  int carrier = -1;                  ///< index from LineSum::carrier, -1: none
  bool subcarrier = false;           ///< phase runs on from line to line; else it is 0 at `origin`
  double origin = 0;                 ///< samples from 0H
};

class LineSum {
 public:
  /// @param margin samples that shapes may reach beyond a line's ends
  LineSum(const ShapeBank& bank, std::int64_t margin, std::int64_t longest_line);

  /// Index of a carrier's rotation table, made when first asked for.
  int carrier(double hz);

  void start_at(std::int64_t sample) { begin_ = sample; }
  [[nodiscard]] std::int64_t begin() const { return begin_; }

  /// Adds a line whose 0H lies `fraction` of a sample after sample `whole`, with the subcarrier's phase
  /// there.
  void add_line(std::span<const PlacedEvent> events, std::int64_t whole, double fraction,
                double subcarrier_turns);

  /// Moves the oldest samples to `out`; they must be final.
  void take(std::span<float> out);
  void drop_before(std::int64_t sample);

 private:
  struct Rotation {
    double turns_per_sample;
    std::vector<float> re, im;  ///< e^(j 2 pi turns n), n = 0 ..
  };
  /// A level that holds from its place on.
  struct Level {
    std::int64_t from;
    int carrier;
    std::complex<float> rise;  ///< carrier: turned to the line's rotation table
    float slope;               ///< V per sample, with `rise` the value at `from`
  };

  void make_room(std::int64_t to);
  void add_real(const PlacedEvent& e, double at);
  void add_carried(const PlacedEvent& e, double at, std::complex<double> turned);
  void fill_levels();
  void fill_real(std::int64_t from, std::int64_t to, float value, float slope);
  void fill_carried(int carrier, std::int64_t from, std::int64_t to, std::complex<float> value);

  double rate_;
  std::int64_t margin_;
  std::int64_t table_from_ = 0;  ///< sample that entry 0 of the rotation tables stands for, in this line
  std::size_t table_length_;
  std::vector<Rotation> rotations_;
  std::vector<float> samples_;  ///< from begin_ on
  std::size_t head_ = 0;        ///< taken already
  std::int64_t begin_ = 0;      ///< sample at samples_[head_]
  std::vector<Level> levels_;   ///< of the line in work
};

}  // namespace linebench::signals
