// One step of a guided job, as data: what is asked, shown, drawn and warned of. Whoever asks (a terminal, a
// pipe, a folder of files) sees the same.
#pragma once

#include <functional>
#include <linebench/check/words.hpp>
#include <linebench/job/records.hpp>
#include <linebench/report/outcome.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace linebench::check {

enum class StepKind {
  Choose,   ///< one of `choices`
  Text,     ///< any line of text
  Number,   ///< a number from `least` to `most`
  Meter,    ///< a line of text that `wrong` finds nothing wrong with
  Tick,     ///< which of `choices` are done
  Capture,  ///< a capture as `wish` says
  Finish    ///< nothing is asked: the job is through
};

/// What to take in.
struct CaptureWish {
  enum class View { Audio, Video } view = View::Audio;  ///< Video: composite samples or a grabber's frames
  std::string label;                                    ///< what it is taken for
  std::string path{};                                   ///< the site's path it is taken on
  std::string signal{};                                 ///< test signal that is sent meanwhile; empty: none
  bool idle = false;                                    ///< Audio: nothing is sent, as the job asks for
  double seconds = 10;
  std::vector<std::string> only{};  ///< ids of readings (and those below) it is for; empty: all
  std::string limits{};             ///< limit set; empty: by what is found (video), else not judged
  std::optional<double> full_scale_v{};
  std::optional<double> programme_dbfs{};  ///< of the programme that this take belongs to
  bool soak = false;                       ///< a long run: only its events are kept
  std::string system{};                    ///< "525", "525-no-setup", "625": what the video should be
  std::string video_as{};                  ///< Video: "waveform" or "frames" where only one of them shows it
  std::string place{};                     ///< what is plugged in, where one job has several places
};
/// What a capture must have been taken with to answer this wish: view, place, signal.
[[nodiscard]] std::string taken_as(const CaptureWish& wish);
/// What it is measured and judged by: limits, volts at full scale, television system.
[[nodiscard]] std::string judged_as(const CaptureWish& wish);

struct Step {
  StepKind kind = StepKind::Finish;
  std::string key;  ///< of the answer in the store
  std::string ask, title;
  std::optional<report::Outcome> news{};  ///< what is known by now, shown first
  std::vector<std::string> help{}, cautions{};
  std::optional<report::Drawing> drawing{};
  std::vector<Choice> choices{};
  std::string otherwise{};  ///< the answer of a bare Enter; empty: an answer is needed unless `optional`
  bool optional = false;    ///< may be left empty, or skipped
  bool reasoned = false;    ///< Capture: may be skipped where a reason is given
  /// Capture: what it had before, for a person; empty: nothing. (Other kinds have it in `otherwise`.)
  std::string was{};
  double least = 0, most = 0;
  std::size_t longest = 2000;  ///< Text: characters
  CaptureWish wish{};
  std::string numbered{};  ///< Capture: its key by number, which files are named by; empty: as `key`
  /// Capture: what was judged by an answer that was changed since; its file is to be measured anew.
  std::optional<job::Capture> outdated{};
  /// Meter: what is wrong with what was typed; empty: nothing.
  std::function<std::string(const std::string&)> wrong{};
  std::string outcome{};            ///< Finish: the job's result in a word or two
  std::optional<bool> reference{};  ///< Finish: whether the station is one that others are compared with
};

/// A step that has its answer.
struct Answered {
  std::string key, title, answer;
  std::string shown;                         ///< the answer for a person: a choice's text, a capture's file
  std::optional<report::Drawing> drawing{};  ///< as it was connected
  std::vector<std::string> cautions{};
};

/// Where a job stands: all answers that count, in order, and what comes next.
struct Route {
  std::vector<Answered> answered;
  Step next;
};

/// What became of something typed.
struct Accepted {
  std::optional<std::string> answer{};
  std::string complaint{};  ///< without an answer: what can be typed
};

/// The stored form of what was typed: a choice by its number, its word or the start of it; a number; the
/// ticks as "word=done word=not-needed"; "" where that is allowed.
[[nodiscard]] Accepted accept(const Step& step, const std::string& typed, const Words& words);

/// Ticks as stored, taken apart: word and "done", "not needed" or "open".
[[nodiscard]] std::vector<std::pair<std::string, std::string>> ticks(const std::string& answer);

/// Whether this is the answer to a Capture step that is left out: "skipped", or "skipped: REASON".
[[nodiscard]] bool is_skipped(const std::string& answer);
/// Its reason; empty where none was given.
[[nodiscard]] std::string skip_reason(const std::string& answer);

}  // namespace linebench::check
