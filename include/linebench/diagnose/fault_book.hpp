// The fault book: what can be wrong, what each fault does to which sign, which test splits it from its
// look-alikes, and what a sound installation reads. TOML files in signals/faults, one a fault; a technician's
// own stand in store_dir()/faults and take the place of shipped ones of the same name.
//
// A sign is what the book speaks of: a reading (or what is derived from readings), or something a person sees
// or meters. Its distribution is kept in working units:
//   scale = "decibel"  levels in dB; what several causes add is summed as power
//   scale = "amount"   a size in its own unit, worked on as 20 lg(size); causes sum as power
//   scale = "count"    a number of events, worked on as 10 lg(1 + n); causes sum
//   scale = "shift"    a departure in its own unit; causes sum
//   scale = "words"    one of a few words
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace linebench::diagnose {

enum class Scale { Decibel, Amount, Count, Shift, Words };

/// Words and their probabilities, in the book's order; they sum to 1.
using Shares = std::vector<std::pair<std::string, double>>;

/// What a found value itself warns of, whatever made it.
struct Warning {
  double above = 0;  ///< from this value on, working units
  std::string text;
  std::string first;  ///< what is done before any other step; may be empty
};

/// How a person gets a sign that no capture holds: a look, a meter reading, a trial.
struct Trial {
  double minutes = 0;   ///< what it costs, the project's estimate
  std::string how;      ///< what to do, one or two sentences
  std::string caution;  ///< stands beside the step; may be empty
  std::string medium;   ///< "sound" or "picture" where it is nothing to do on a path of the other
  std::optional<Warning> warning;
  bool needs_expected = false;  ///< its value means something only beside the rated one ("11.2 V of 12")
  std::string typed_unit;       ///< the unit it is typed in; empty for words
  double uncertainty = 0;  ///< expanded (k=2) of a typed value, working units, where the person gives none
};

/// A sign, and how it reads where nothing is wrong.
struct Sign {
  std::string id;
  std::string label;
  std::string unit;    ///< of values shown
  std::string family;  ///< signs that move together when something the book does not know is wrong
  Scale scale = Scale::Shift;
  double usual = 0;                    ///< working units: mean where nothing is wrong
  double spread = 1;                   ///< working units: standard deviation round it
  double low = 0, high = 0;            ///< working units: what it can be at all
  double fine_low = 0, fine_high = 0;  ///< working units: between these it says no more than the usual
  Shares words;                        ///< scale Words: shares where nothing is wrong
  std::vector<std::string> of{};       ///< scale Words: signs whose size they are about
  std::vector<std::string> reads{};    ///< readings it is made of, beside the one of its own id
  bool carried = false;                ///< shown by what is sent: an idle line leaves it open
  bool asked = false;  ///< every capture of its view should show it: sound is nothing that leaves it open
  std::map<std::string, std::string>
      open{};                          ///< words that leave a job open, with the capture that settles it
  std::optional<double> told_below{};  ///< working units: a bound above this leaves a job open
  bool certain = false;  ///< cannot be misread: what a fault does not make of it rules the fault out
  std::string alone{};   ///< the word by which all that was found is of the fault that gives it
  std::optional<Trial> trial;
};

/// What a fault does to a sign, as severity goes from 0 (barely there) to 1 (gross).
struct Effect {
  std::string sign;
  double from = 0, to = 0;  ///< working units: level added, or shift, at severity 0 and 1
  double spread = 1;        ///< working units, standard deviation
  double above = 0;         ///< acts only from this severity on
  Shares words;             ///< scale Words: shares while it acts; what is left goes to the healthy words
  double word_share = 1;    ///< sum of `words` as written
};

/// One of the ways a fault shows itself.
struct Variant {
  std::string name;
  double share = 1;
  std::vector<Effect> effects;
  bool traceless = false;  ///< a person finds it, and captures do not show it; every fault's last way
};

struct Fault {
  std::string id;  ///< the file's name without .toml
  std::string label, what, group;
  std::string place;  ///< where alone it comes in: "source" (the path's first part), "source or unit",
                      ///< "cable", "unit", "recorder"; empty: anywhere
  double prior = 0;   ///< share of jobs that have it: the project's estimate
  std::vector<std::string> views;       ///< "audio", "waveform", "lowband", "picture", "meter", "eye"
  std::string test;                     ///< sign of the trial that splits it from its look-alikes
  std::vector<std::string> excludes{};  ///< ids of faults that cannot be there beside it
  bool dangerous = false;               ///< its caution stands beside every next step while it may be there
  std::string tell_apart;               ///< how that trial comes out for this fault and its look-alikes
  std::string remedy, caution, source;
  double detection = 0;           ///< severity from which it should be told from nothing wrong
  std::string detection_text;     ///< the same in the field's figures
  std::vector<Effect> effects;    ///< of every variant: what a person finds
  std::vector<Variant> variants;  ///< at least two, the traceless one last
};

/// A capture that can be taken next.
struct CaptureTest {
  std::string id, label, how, caution, prefix;  ///< prefix of the signs it gives, e.g. "video."
  double minutes = 0;
};

struct FaultBook {
  std::vector<Sign> signs;
  std::vector<Fault> faults;
  std::vector<CaptureTest> captures;
  std::vector<std::string> problems;  ///< entries left out, one line each: file, line, why

  [[nodiscard]] const Sign* sign(std::string_view id) const;
  [[nodiscard]] const Fault* fault(std::string_view id) const;
  [[nodiscard]] int sign_index(std::string_view id) const;  ///< -1: unknown

  std::map<std::string, int, std::less<>> index;  ///< sign id -> place in `signs`
};

/// The shipped book with the user's entries. A fault's file that is not right is left out and named in
/// `problems`. Throws Error(Unusable) only when the shipped signs cannot be read.
[[nodiscard]] FaultBook load_fault_book();

/// A book from these folders, later ones over earlier ones; `signs.toml` of the first is required.
[[nodiscard]] FaultBook load_fault_book(const std::vector<std::filesystem::path>& folders);

/// One fault from a text. @param file named in errors. Throws Error(Unusable): file, line, what is wrong.
[[nodiscard]] Fault parse_fault(std::string_view text, const std::string& id, const std::string& file,
                                const FaultBook& book);

/// Working units from a value in the sign's own unit, and back.
[[nodiscard]] double to_working(Scale scale, double value);
[[nodiscard]] double from_working(Scale scale, double working);

}  // namespace linebench::diagnose
