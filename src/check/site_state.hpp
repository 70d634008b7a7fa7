// What a site job knows at a point of its route: only what was answered up to there, so that the same answers
// always lead the same way.
#pragma once

#include <linebench/check/flow.hpp>
#include <linebench/diagnose/compare.hpp>
#include <set>

namespace linebench::check {

/// A fault as likely as this is followed no further.
inline constexpr double stands_from = 0.9;
/// One that is likelier than this is named in the result.
inline constexpr double worth_a_point = 0.1;

struct SiteState {
  std::string seen, system, complaint{};
  std::string signal{};    ///< that is sent along a path of sound; empty: none
  std::string video_as{};  ///< how its picture is taken in: "waveform", "frames"; empty: as it comes
  bool video = false;
  diagnose::SignalPath path;  ///< its parts' captures are named by their labels
  std::vector<diagnose::Capture> captures{};
  std::vector<diagnose::Evidence> told{};  ///< as seen or metered
  std::string danger{};                    ///< what of it has to be made safe before anything else
  std::string made_safe{};  ///< that it was, with the value metered since; empty: nothing was to be
  std::optional<diagnose::Diagnosis> as_found{};  ///< before it was made safe
  std::string evidence{};                         ///< names all of the above that a diagnosis rests on
  std::set<std::string> left_out{};               ///< tests that could not be made
  diagnose::Diagnosis diagnosis{};                ///< of the faults that can come in at the segment
  diagnose::Segment segment{};
  double nothing_wrong = 1;                     ///< before the segment ruled out any
  std::vector<const job::Capture*> at_part{};   ///< one a part; nullptr where nothing was measured
  std::optional<diagnose::Comparison> after{};  ///< before against after the last cure
  bool cured = false;
  bool dead = false;       ///< after the cure nothing arrives any more
  bool other_now = false;  ///< after the cure all is right that was wrong, and something else is not
  /// After the cure it is within its limits, and a trace of it is left: who listened or looked says...
  enum class Trace { None, Gone, Still, Unknown } trace = Trace::None;
  int mains_hz = 0;  ///< of the site, by the profile
  /// Readings out of their limits at the end of the path where the fault book names no fault for them: they
  /// are followed by halves as well.
  std::vector<std::string> out{};
  /// What was complained of, where it is out of its limits and the book's fault is another: it is followed
  /// too.
  std::vector<std::string> own{};
  diagnose::Segment own_segment{};
  /// Other readings at the end of the path that come in elsewhere than the fault: reading, the parts it may
  /// be.
  std::vector<std::pair<std::string, std::string>> second{};
  /// What was looked at beside the end of the path because nothing was wrong there, and what was not.
  std::vector<std::string> looked{}, not_looked{};
  bool looked_all = false;      ///< nothing is left to look at
  bool comes_and_goes = false;  ///< it was not there at first
  const job::Capture* soak = nullptr;
  std::vector<const job::Capture*> kept{};  ///< those of `captures`, as they were judged

  [[nodiscard]] bool measured() const { return !captures.empty(); }
  /// What a result names: of a path that was cured, what was wrong with it.
  [[nodiscard]] const diagnose::Diagnosis& told_of() const {
    return cured && as_found ? *as_found : diagnosis;
  }
  /// What was told has to be made safe first: no test is put before it.
  [[nodiscard]] bool unsafe() const { return !diagnosis.first_step.empty(); }
  /// Something is wrong with what was measured.
  [[nodiscard]] const std::string& measure_next() const {
    return segment.measure_next.empty() ? own_segment.measure_next : segment.measure_next;
  }
  [[nodiscard]] bool wrong() const { return measured() && (nothing_wrong < 0.5 || !out.empty()); }
  /// It is, by its limits; the book finds nothing.
  [[nodiscard]] bool by_limits_alone() const { return nothing_wrong >= 0.5 && !out.empty(); }
  /// What was measured last along the path.
  [[nodiscard]] const job::Capture* at_end() const;
  /// What the captures leave open.
  [[nodiscard]] std::vector<diagnose::Gap> gaps() const;
  /// One that is out of its limits, whatever the fault book makes of it.
  [[nodiscard]] bool out_of_limits() const;
  /// The complaint is not explained, and everything was looked at by what would have shown it.
  [[nodiscard]] bool no_fault_found() const;
  /// One fault stands, in one part of the path or as near as it can be measured.
  [[nodiscard]] bool stands() const;
};

/// Where no fault of the segment can come in: of the source where what reaches the segment is good, of a
/// cable where it is made of units alone.
[[nodiscard]] std::set<std::string> barred_places(const diagnose::SignalPath& path,
                                                  const diagnose::Segment& segment, const Words& words);
/// Whether all that is out of limits at the path's end is so here too; false: all of it is clearly less here,
/// and nothing else is out. Nothing where it is neither.
[[nodiscard]] std::optional<bool> wrong_as_at_end(const job::Capture& here, const job::Capture& end);
/// The segment by that alone; nothing where a place is in doubt. A trace within limits that the book takes
/// for a fault does not stop the halves before what was complained of.
[[nodiscard]] std::optional<diagnose::Segment> segment_by_contrast(const SiteState& state);
/// One fault of the book is likelier than nothing wrong and than what the book does not list.
[[nodiscard]] bool names_one(const diagnose::Diagnosis& diagnosis);
/// Hum of another frequency than the site's mains: a line for a person; empty: none.
[[nodiscard]] std::string foreign_mains(const SiteState& state, const Words& words);

/// Diagnosis and segment from the captures and what was told.
void look(SiteState& state, const Knowledge& knowledge);

/// The path's parts from a line of text, separated by commas; empty ones are dropped, and of a name that
/// comes again each has its number: "cable", "cable 2".
[[nodiscard]] std::vector<std::string> parts_of(const std::string& text);
/// The parts of the path of this name, in whatever case, as a person would type them; empty: it is not known.
[[nodiscard]] std::string parts_at_last_visit(const std::vector<job::Path>& paths, const std::string& name);

/// What to do next, or nothing when no test is left that would tell more.
struct Proposal {
  enum class Kind { Measure, Trial, Capture } kind = Kind::Measure;
  std::size_t part = 0;       ///< Measure: at the end of this one
  diagnose::NextTest test{};  ///< Trial, Capture
};
/// By expected information a minute: a measurement halfway along the path tells one bit, the tests of the
/// book what the diagnosis says.
[[nodiscard]] std::optional<Proposal> propose(const SiteState& state);

/// What a test is known by among those made or left out; once more it is another.
[[nodiscard]] std::string key_of(const diagnose::NextTest& test);

/// A trial of the book: asked, and what was found added to what is known.
void make_trial(Script& script, SiteState& state, const diagnose::NextTest& test,
                const diagnose::FaultBook& book, const report::Outcome& news);
/// Where what was found is dangerous: asks for nothing but the value metered once it was made safe.
void make_safe(Script& script, const Knowledge& knowledge, SiteState& state);
[[nodiscard]] report::Outcome unsafe_outcome(const SiteState& state, const Words& words);

/// What to take in at a place of the path.
[[nodiscard]] CaptureWish wish_at(const SiteState& state, const std::string& label, const std::string& path);
/// The path from its source to where the plug is pulled and the recorder put in.
[[nodiscard]] std::vector<std::string> drawn(const SiteState& state, std::size_t part, const Words& words);
void keep_capture(SiteState& state, const job::Capture& capture);
/// What is known by now without what to do about it: that is the next step's.
[[nodiscard]] report::Outcome news_of(const SiteState& state, const Words& words);

/// Something was complained of and the end of the path shows nothing wrong: looks while it happens, with
/// another signal or view, beyond the end, and over hours, until something is wrong or nothing is left.
void look_further(Script& script, const Knowledge& knowledge, SiteState& state, const std::string& path);

/// The steps; `state` is what was known where they stopped.
[[nodiscard]] Step site_steps(Script& script, const Knowledge& knowledge, SiteState& state);

[[nodiscard]] report::Outcome outcome_of_state(const SiteState& state, const Words& words);

}  // namespace linebench::check
