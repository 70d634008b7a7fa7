// What all views of a live measurement show: the newest readings, how they went, hold, marks and the
// comparison with them. Thread-safe: sources publish, views look.
#pragma once

#include <cstdint>
#include <functional>
#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/live/audio_meter.hpp>
#include <linebench/live/picture_meter.hpp>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace linebench::live {

/// A moment somebody gave a name: "pulled shield at counter 2".
struct Mark {
  int number = 0;  ///< from 1
  std::string text;
  double time_s = 0;  ///< of the stream
  std::string at;     ///< ISO 8601 UTC
  Readings readings;
  std::string stored;  ///< what became of it in the job store; empty: no job was named
};

/// A reading now against the same one at a mark. Repeatability of the path itself is not in it: it is one
/// path, seconds apart, and both uncertainties are taken together.
struct Difference {
  std::string id, label, unit;
  double before = 0, now = 0;
  double difference = 0;
  double uncertainty = 0;  ///< of the difference, expanded (k=2)
  bool certain = false;    ///< larger than its uncertainty and than the last digit shown; never of peaks and
                           ///< counts, which differ from one moment to the next by themselves
  std::string words;       ///< for words, and what could be measured only once: "present -> none"; else empty
};
/// Number readings of both, and text readings that are another now, in the order of `now`.
[[nodiscard]] std::vector<Difference> differences(const Readings& before, const Readings& now);

/// How a reading went: one value each history_step_s, NaN where it was not measured.
struct Track {
  std::string id;
  std::vector<double> values;  ///< oldest first; the newest belongs to Snapshot::history_end_s
};
inline constexpr double history_step_s = 0.5;
inline constexpr std::size_t history_points = 600;  ///< five minutes

/// Lowest and highest value of a reading since the start or the last mark.
struct Span {
  std::string id;
  double lowest = 0, highest = 0;
};

/// All that is shown at a moment. Cheap to copy: large parts are shared and never change.
struct Snapshot {
  std::uint64_t number = 0;  ///< grows with every change of anything here
  double time_s = 0;
  bool held = false;
  std::string state = "starting";  ///< "starting", "running", "ended"
  std::string note;                ///< the last thing that happened, a sentence
  CaptureFacts input;              ///< of the audio, or of the frames where there is no audio
  Readings readings;
  std::shared_ptr<const std::vector<Curve>> spectra;  ///< one a channel
  std::shared_ptr<const Thumbnail> picture;
  std::vector<std::shared_ptr<const Mark>> marks;
  std::vector<Difference> differences;  ///< against the last mark; empty without one
};

/// At most so many marks, of at most so many bytes of text.
inline constexpr std::size_t most_marks = 200;
inline constexpr std::size_t longest_mark = 200;

class Board {
 public:
  /// Stores a mark and says what became of it. Called with the board locked, by one thread at a time.
  using MarkKeeper = std::function<std::string(const Mark&, const CaptureFacts&)>;

  explicit Board(MarkKeeper keeper = {});
  ~Board();
  Board(const Board&) = delete;
  Board& operator=(const Board&) = delete;

  void begin(const CaptureFacts& input);
  void publish(const AudioView& view);
  void publish(const PictureView& view);
  void say(const std::string& note);
  void end(const std::string& note);

  /// What is shown: the newest, or while held what was newest then.
  [[nodiscard]] Snapshot look() const;
  /// The newest, held or not.
  [[nodiscard]] Snapshot newest() const;
  [[nodiscard]] std::vector<Track> history() const;
  [[nodiscard]] std::vector<Span> spans() const;

  void hold(bool on);
  /// Marks what is shown. Control characters are taken out, long text is cut. Throws Error(Usage) for the
  /// 201st mark; a store that fails is said in Mark::stored, and the mark stays.
  Mark mark(const std::string& text);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// A snapshot as it stands in the program's JSON (schema linebench/1, command "watch"). Each reading also
/// has "shown": {"value", "uncertainty", "unit"}, rounded for a person.
[[nodiscard]] nlohmann::json snapshot_to_json(const Snapshot& s);
/// What a page draws: spectra, picture, history.
[[nodiscard]] nlohmann::json traces_to_json(const Snapshot& s, const std::vector<Track>& history);

}  // namespace linebench::live
