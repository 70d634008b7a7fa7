// The three searches behind EventsAnalyser. Each looks at a stretch of samples with its surroundings at hand.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <linebench/measure/events.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// A window on the channel: samples [from, to) are to be searched, the rest of `x` is their surroundings.
struct EventView {
  std::span<const float> x;
  std::size_t from = 0;
  std::size_t to = 0;
  double rate_hz = 0;
  std::uint64_t first = 0;  ///< index of x[0] in the channel

  [[nodiscard]] double time_s(std::size_t i) const {
    return (static_cast<double>(first) + static_cast<double>(i)) / rate_hz;
  }
};

void keep_event(std::vector<Event>& list, const Event& e);

class ClipSearch {
 public:
  /// @param step_samples that a step from flat to flat takes.
  explicit ClipSearch(std::ptrdiff_t step_samples = 1) : step_samples_(step_samples) {}
  void search(const EventView& v);
  void finish(EventsResult& r) const;

 private:
  struct Slot {
    double level = 0;   // mean of its runs
    double square = 0;  // sum of squared differences from the mean
    std::uint64_t runs = 0;
    std::uint64_t blocks = 0;
    std::uint64_t samples = 0;
    std::int64_t bulges = 0;  // runs that bulge outward less those that bulge inward
    std::vector<Event> times;
  };
  struct Side {
    std::vector<Slot> slots;
    std::array<std::uint64_t, 800> block_peaks{};  // histogram, 0.1 dB from -60 dB up
  };
  float find_tops(std::span<const float> x, float sign);
  void search_block(const EventView& v, std::size_t from, std::size_t to, float sign, Side& side);
  static void note(Side& side, double level, std::uint64_t samples, int bulges, double time_s,
                   bool new_block);

  std::ptrdiff_t step_samples_;
  std::array<Side, 2> sides_;
  std::vector<float> tops_;  // of the block in hand
};

/// Tops cut before a coupling capacitor: the same search, with the capacitor's high pass undone.
class CoupledClipSearch {
 public:
  void search(const EventView& v);
  /// For where the channel as it stands holds none.
  void finish(EventsResult& r) const;

 private:
  static constexpr std::size_t rows = 12;
  static double corner_hz(std::size_t row);
  void undo(const EventView& v, std::size_t from);

  std::array<ClipSearch, rows> clips_;
  std::array<std::vector<float>, rows> undone_;  // of the view's samples
  std::array<float, rows> state_{};
  float last_ = 0;
  std::uint64_t first_ = 0;
};

class ClickSearch {
 public:
  void search(const EventView& v);
  /// The edges of a dropout are not clicks.
  void forget_near(double time_s);
  void finish(EventsResult& r) const;

 private:
  void examine(const EventView& v, std::size_t from, std::size_t to);

  std::uint64_t count_ = 0;
  std::vector<Event> times_;
  std::uint64_t last_ = 0;
  bool any_ = false;
  std::vector<float> means_;
  std::vector<float> tops_;
  std::vector<double> error_, sorted_;
};

/// A silence that a sound broke off into, and, up to two seconds later, came back from.
struct Pause {
  double from_s = 0;
  double length_s = 0;
  double sounded_s = 0;  ///< how long it had sounded before
  bool steady = false;   ///< and held its level
  bool ended = false;    ///< false: nothing came back within two seconds
};

class DropoutSearch {
 public:
  /// Pauses completed in this stretch are appended to `done`.
  void search(const EventView& v, std::vector<Pause>& done);

 private:
  enum class State { Steady, Low, Returned };
  [[nodiscard]] float recent_peak(std::size_t from_back, std::size_t count) const;
  [[nodiscard]] float recent_body(std::size_t count) const;
  [[nodiscard]] bool lasted() const;
  [[nodiscard]] bool in_sound(float just) const;
  [[nodiscard]] std::size_t habit(float whole) const;
  [[nodiscard]] std::size_t first_gone(const EventView& v, std::size_t at, std::size_t size) const;
  void start(const EventView& v, std::size_t from);
  void set_in(double time_s);
  void note_silence();

  static constexpr std::size_t history = 40;  // half-milliseconds
  std::array<float, history> peaks_{};
  std::size_t seen_ = 0;
  State state_ = State::Steady;
  float before_ = 0;
  float limit_ = 0;           // what is gone lies below
  bool was_steady_ = false;   // before
  bool broke_off_ = false;    // with an edge, in the midst of sound
  std::size_t habit_ = 0;     // steps it was weak in a stretch before
  double set_in_s_ = 0;       // when what sounds began to
  bool silent_ = true;        // nothing sounds
  float set_in_limit_ = 1;    // what is above it sets in
  float loudest_ = 0;         // since it did
  std::size_t frozen_ = 0;    // steps of one value, up to now
  bool left_frozen_ = false;  // and then it moved again
  double start_s_ = 0;
  double end_s_ = 0;
  std::size_t low_ = 0;
  std::size_t after_ = 0;
  float after_peak_ = 0, after_first_ = 0;
  static constexpr std::size_t settle_steps = 20;  // looked at after the return
  std::array<float, settle_steps> after_tops_{};
  static constexpr std::size_t stretches = 8;  // largest sample of each stretch of `history` steps
  std::array<float, stretches> stretch_peaks_{};
  float stretch_peak_ = 0;
  std::size_t stretch_count_ = 0;
};

}  // namespace linebench::measure
