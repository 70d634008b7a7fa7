// Tops cut for a while, at a level of their own.
#pragma once

#include <array>
#include <cstdint>
#include <linebench/measure/events.hpp>
#include <map>
#include <vector>

namespace linebench::measure {

/// One flat top.
struct FlatTop {
  double level = 0;
  std::uint64_t samples = 0;
  int bulges = 0;         ///< outward 1, inward -1
  bool switched = false;  ///< what lies beside it is no flank that was cut
  bool coarse = false;    ///< as flat as the steps between the channel's values alone make a crest
  double time_s = 0;
};

/// Flat tops of one polarity that were cut at one level.
struct CutLevel {
  double level = 0;   // mean of its runs
  double square = 0;  // sum of squared differences from the mean
  std::uint64_t runs = 0;
  std::uint64_t samples = 0;
  void add(const CutLevel& more);
};

/// Finds ceilings that held for a stretch only: between two blocks that go beyond, nothing did, and what
/// reached it was flat. One polarity; memory independent of length.
class StretchClipSearch {
 public:
  /// A block of samples whose highest is `top`; then its flat tops by `add`.
  void block(double top, double time_s);
  void add(const FlatTop& t);
  void finish();

  [[nodiscard]] const std::map<int, CutLevel>& found() const { return found_; }  ///< by tenths of dB
  struct Cut {
    Event event;
    double level = 0;
  };
  [[nodiscard]] const std::vector<Cut>& times() const { return times_; }

 private:
  struct Ceiling {
    CutLevel cut;
    std::uint64_t flat_blocks = 0;
    std::uint64_t blocks = 0;  // that reached it
    std::int64_t bulges = 0;
    std::uint64_t switched = 0;
    double last_s = 0;
    bool this_block = false;
    std::vector<Event> times;
  };
  void close(Ceiling& c);

  std::vector<Ceiling> open_;
  std::map<int, CutLevel> found_;
  std::vector<Cut> times_;
};

}  // namespace linebench::measure
