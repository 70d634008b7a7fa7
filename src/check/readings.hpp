// What stored readings say to the guided jobs: what is out of limits, by how much, and what is missing.
#pragma once

#include <linebench/check/words.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/job/records.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/report/words.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::check {

/// The id without its channel: "audio.hum.level" of "audio.hum.level.left".
[[nodiscard]] std::string_view base_id(std::string_view id);

/// One reading out of its limit; the channels of a pair that fail on the same side together.
struct Trouble {
  std::string id;  ///< without channel
  std::string
      direction;  ///< "high", "low", "other"; of a sync that is off by itself "low-alone", "high-alone"
  judge::Side side = judge::Side::Other;
  std::string text;      ///< "Hum, left: -52.1 dBFS (limit max -80)"
  std::string value;     ///< "-52.1 dBFS", or the word found
  double beyond = 0;     ///< distance to the limit in the reading's unit, the worst channel's
  double to_middle = 0;  ///< distance to the middle of its limits where it has two, else `beyond`
  double severity = 0;   ///< judge::severity()
  bool side_left = false, side_right = false;
  bool all_levels = false;  ///< of a sync amplitude: other levels are out with it, on the same side
  bool doubtful = false;    ///< within its uncertainty of the limit, on every side of a pair
};

/// Looked for and not found, with a bound that lies within the limit.
[[nodiscard]] bool bounded_within(const Reading& reading);

/// Worst first, without what only follows from another of them.
[[nodiscard]] std::vector<Trouble> troubles(const job::Capture& capture);

/// Whether a picture came without colour: composite samples without burst, or frames without chroma (which a
/// scene without colour gives as well). Empty: it has colour, or no picture came; else "waveform", "frames".
[[nodiscard]] std::string colourless(const job::Capture& capture);

/// Words for it; a level that is off with all the others has its own.
[[nodiscard]] report::Words words_of(const Trouble& trouble);

/// How long a grabber's frames are taken in: hum bars move through the picture within it (mains and a camera
/// that is not locked to it differ by more). Bars that stand longer no scene can be told from.
inline constexpr double picture_look_s = 20;
/// Without what a look of that length settles as far as frames can.
[[nodiscard]] std::vector<diagnose::Gap> beyond_the_look(std::vector<diagnose::Gap> gaps,
                                                         const std::vector<CaptureFacts>& captures);

/// When it happened in a long run: "00:12:30.0", the first three where it happened often; empty: not known.
[[nodiscard]] std::string times_of(const job::Capture& run, const Trouble& trouble, const Words& words);

/// Whether a comb's fundamental is, beyond its uncertainty, further from the mains than this share of it.
[[nodiscard]] bool off_mains(const Reading& frequency, int mains_hz, double share);

/// Something wanted that could not be measured.
struct Gap {
  std::string id, label, reason;
};
/// Those of one reason in one line, so that it is not read eight times: their labels with commas between
/// them.
[[nodiscard]] std::vector<Gap> folded(const std::vector<Gap>& gaps);
[[nodiscard]] std::vector<Gap> gaps(const job::Capture& capture);

}  // namespace linebench::check
