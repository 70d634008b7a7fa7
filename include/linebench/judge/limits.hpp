// Limits: what each reading is judged by, read from TOML with the source of each, and the judging itself.
//
// A set is one file, NAME.toml:
//   title = "one line for a person"
//   [[limit]]
//   id = "audio.hum.level"         # reading id without channel suffix
//   max = -58.0                    # min, max (numbers); allowed = ["none"] (words); mask (curves):
//   # mask = [{hz = 300, min = -3, max = 3}, {hz = 3400, min = -3, max = 3}]
//   under_programme = true         # min and max are re the programme: in decibels re its level, else as
//                                  # multiples of the amplitude of a sine of its level
//   unless = "audio.true_peak.voltage"  # not judged where this reading is there and measured
//   required = true                # default: unmeasured leaves the verdict "incomplete"
//   source = "common practice"     # who says so: a standard's tag, or "common practice"
#pragma once

#include <filesystem>
#include <linebench/base/reading.hpp>
#include <linebench/judge/asked.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::judge {

struct LimitEntry {
  std::string id;  ///< reading id without channel suffix; applies to every channel of it
  Limit limit;
  bool required = true;          ///< an unmeasurable reading leaves the verdict "incomplete"
  bool under_programme = false;  ///< min and max count from the level of the programme
  std::string unless{};          ///< reading id without channel suffix that, measured, stands in for this one
};

struct LimitSet {
  std::string name;   ///< e.g. "speech-path"
  std::string title;  ///< one line for a person
  std::vector<LimitEntry> entries;
};

/// Sets and verdicts of a whole capture.
enum class Overall { Pass, Fail, Incomplete };
/// "pass", "fail", "incomplete": the words of the JSON contract.
[[nodiscard]] std::string_view to_string(Overall v);

/// The set with this name among the user's (store_dir()/limits) and the shipped ones, or the file at this
/// path (a name with a slash or ending in ".toml"). A user's set of a shipped name takes its place. Throws
/// Error(Usage) for an unknown name (listing those there are), Error(Unusable) for a file that is not right
/// (file, line and key named). A reading id the catalogue does not know and a key the format does not know
/// are errors, so that a slip of the pen cannot switch a limit off.
[[nodiscard]] LimitSet load_limit_set(const std::string& name_or_path);

/// The set written in this text. @param name of the set, @param file named in errors. Errors as above.
[[nodiscard]] LimitSet parse_limit_set(std::string_view text, const std::string& name,
                                       const std::string& file);

/// Names of the shipped and the user's sets, sorted, each once.
[[nodiscard]] std::vector<std::string> limit_set_names();

struct LimitSetList {
  std::vector<LimitSet> sets;  ///< sorted by name; a user's own stands in for a shipped one of its name
  std::vector<std::string> problems;  ///< one line for each file that is no good set
};
[[nodiscard]] LimitSetList list_limit_sets();  ///< shipped and the user's

/// Sets limit and verdict of every reading the set speaks of. A value within its uncertainty of a limit is
/// judged by the value, and a remark says that it could be either. A curve is judged at its points inside the
/// mask's span; the remark names the worst. A required id of which no reading exists is added as
/// unmeasurable, so that it is seen. Throws Error(Unusable) when the set gives words for a number or numbers
/// for a text.
///
/// A limit under the programme counts from `asked.programme_dbfs`, without it from the capture's own
/// audio.programme.level; without either what it speaks of is not judged, and missing() says so.
///
/// @param asked what the capture can show. A required id that it cannot show is not added, and the reason of
/// one that is there and could not be measured says "not asked of ...". Where the level sent is known and the
/// set limits audio.tone.gain, audio.tone.level is not judged: it would judge the sender. audio.signal is
/// judged by every set: "none" fails where a signal was sent to that channel.
void judge(Readings& readings, const LimitSet& set, const Asked& asked = {});

/// Ids of the readings (after judge()) that leave the verdict open: required and not measured, unless
/// `at_most` already lies inside the limit; or a curve that does not span its mask; or a channel without a
/// signal that is not known to be without one on purpose.
[[nodiscard]] std::vector<std::string> missing(const Readings& readings, const LimitSet& set,
                                               const Asked& asked = {});

/// Fail when any reading fails; Incomplete when something is missing(); else Pass. Readings as left by
/// judge().
[[nodiscard]] Overall overall(const Readings& readings, const LimitSet& set, const Asked& asked = {});

/// Which side of its limit a reading fell over.
enum class Side { Inside, Low, High, Other };
[[nodiscard]] Side side(const Reading& reading);

/// How far a failed reading lies beyond its limit, in steps a person would call "a notch worse": 3 dB, or a
/// doubling of a percentage, a count or a time. A wrong word or a reversed polarity counts 4. 0 for readings
/// that did not fail.
[[nodiscard]] double severity(const Reading& reading);

/// True for a number within its limit by less than its uncertainty (k = 2): a pass that could be a fail.
[[nodiscard]] bool near_its_limit(const Reading& r);
/// True for a number out of its limit by more than its uncertainty (k = 2): a fail that can be no pass.
[[nodiscard]] bool fails_beyond_doubt(const Reading& r);
/// True for a number, or the worst point of a curve, out of its limit by no more than its
/// uncertainty (k = 2).
[[nodiscard]] bool fails_in_doubt(const Reading& r);

}  // namespace linebench::judge
