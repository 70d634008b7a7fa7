// Finding line sync in unknown samples: polarity, line period, sync depth, and where the first edges are.
#pragma once

#include <optional>
#include <span>
#include <string>

namespace linebench::measure {

struct FoundSync {
  bool found = false;
  bool inverted = false;
  double period_samples = 0;  ///< line period, good to some 1e-5
  double edge = 0;            ///< position of a leading edge near the start of the samples, +-0.2 us
  bool first = false;  ///< `edge` is the first line to use, exactly (set once the tracker has been over it)
  double sync_v = 0;   ///< blanking minus tip, volts
  double share = 0;    ///< of the time that is covered by regular line syncs
  double like = 0;     ///< 0 to 0.6: how far width, porches and vertical sync are those of line sync
  std::string reason;  ///< when not found: what was seen, in one sentence
};

/// Fewer samples than this hold too few lines to find a period in.
inline constexpr double least_to_find_s = 800e-6;

/// @param allow_inverted try positive sync too.
/// Looks for pulses 3 to 6.5 us wide that repeat at 63 to 65 us on the most negative (or positive) level,
/// that level followed through hum. Needs about 1 ms.
[[nodiscard]] FoundSync find_sync(std::span<const float> volts, double rate_hz, bool allow_inverted = true);

/// 0.15 for the width of line sync and as much for like levels on both sides of it.
inline constexpr double width_and_porches_like = 0.3;

/// The rate, a quarter to four times the one given, at which nearly every line has a pulse like line sync, to
/// 1 %; nothing where there is none, where it is the one given, or where `as_given`, what find_sync() says by
/// the rate given, is like sync as well.
[[nodiscard]] std::optional<double> rate_that_fits(std::span<const float> volts, double rate_hz,
                                                   const FoundSync& as_given);

}  // namespace linebench::measure
