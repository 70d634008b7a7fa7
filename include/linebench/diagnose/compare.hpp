// Before and after: which readings changed, whether that is certain, and which part of a path a fault is in.
#pragma once

#include <linebench/diagnose/diagnose.hpp>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace linebench::diagnose {

enum class Change { Same, Less, More, Other };     ///< Other: a word or a curve that is another now
enum class Certainty { Certain, Likely, Unsure };  ///< beyond 3, beyond 2 standard uncertainties, within

struct ReadingChange {
  std::string id, label, unit;
  std::string before, after;  ///< as shown
  double difference = 0;      ///< after less before, the reading's unit; 0 for words
  double uncertainty = 0;     ///< of the difference, expanded (k=2)
  Change change = Change::Same;
  Certainty certainty = Certainty::Unsure;
  std::string remark;
};

struct ProbabilityChange {
  std::string fault, label;
  double before = 0, after = 0;
};

struct Comparison {
  std::string before_name, after_name, did;
  std::vector<ReadingChange> changes;     ///< surest and largest first, then what stayed
  std::vector<ProbabilityChange> faults;  ///< largest movement first
  double nothing_before = 0, nothing_after = 0;
  std::string summary;  ///< one sentence or two
  std::string caveat;   ///< what stands against comparing the two at all; else empty
};

/// Readings of the same id side by side. The difference counts against both uncertainties together and
/// against how far the reading wanders between two captures of an unchanged path (from the book's estimate of
/// repeatability).
[[nodiscard]] Comparison compare(const FaultBook& book, const Capture& before, const Capture& after,
                                 const std::string& did = {}, const Site& site = {});

/// A signal path in order from source to receiver, from a small TOML:
///   title = "Lane 3"
///   [[part]]
///   name = "camera"
///   capture = "at-camera.raw"     # taken where this part ends; may be left out
struct PathPart {
  std::string name, capture;
};
struct SignalPath {
  std::string title;
  std::vector<PathPart> parts;
};
/// Throws Error(Unusable): file, line, why.
[[nodiscard]] SignalPath parse_signal_path(std::string_view text, const std::string& file);

/// Where along the path the fault comes in.
struct Segment {
  std::string after_part;            ///< sound up to the end of this part; empty: from the start
  std::string up_to_part;            ///< wrong from the end of this one; empty: nothing wrong found
  std::vector<std::string> between;  ///< the parts it may be in, in order
  std::string measure_next;  ///< the part at whose end to measure next; empty: the segment is one part
  std::string text;          ///< one or two sentences
  /// What may be wrong at its end; another fault comes in elsewhere. Empty: not known.
  std::set<std::string> faults{};
};
/// What reaches a segment: nothing of the fault, or much less of it, which may be another's.
enum class Reaches { Good, Less };
/// The segment, from the probability that nothing is wrong at the end of each of the path's parts; nothing
/// where that was not measured.
[[nodiscard]] Segment segment_of(const SignalPath& path,
                                 const std::vector<std::optional<double>>& nothing_wrong_at,
                                 Reaches reaches = Reaches::Good);
/// Where a part further along is sound after one that is not, the text says that they do not fit.
/// @param captures measured captures, named as in the path's `capture`. A part without a capture is passed
/// over.
[[nodiscard]] Segment locate(const FaultBook& book, const SignalPath& path,
                             const std::vector<Capture>& captures, const Site& site = {});

}  // namespace linebench::diagnose
