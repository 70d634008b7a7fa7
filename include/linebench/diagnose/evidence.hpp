// Evidence: what is known about the signs of the fault book, from the captures of one job and from what a
// person saw or metered.
#pragma once

#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/diagnose/fault_book.hpp>
#include <string>
#include <vector>

namespace linebench::diagnose {

/// One measured capture of the job.
struct Capture {
  std::string name;  ///< for a person
  CaptureFacts facts;
  Readings readings;
  int along_path = 0;  ///< place along the one line that others so marked show too, 1 at its source; 0: none
};

/// What the technician knows of the site.
struct Site {
  std::string system{};  ///< "525", "525-no-setup", "625"; empty: not told
  std::string sides{};   ///< what the programme is meant to carry: "one" or "two"; empty: not told
};

/// A sign as it was found.
struct Evidence {
  std::string sign;
  double value = 0;       ///< working units of the sign
  double sd = 0;          ///< standard uncertainty (k=1), working units
  bool at_most = false;   ///< nothing was found: whatever is there is below `value`
  double among = 1;       ///< the extreme of this many like readings
  std::string word;       ///< scale Words
  std::string shown;      ///< as a person reads it: "-41.2 dBFS", "below 2.1 mV", "11.2 V of 12 V"
  std::string from;       ///< the capture, or "as observed"
  std::string caution{};  ///< what the value itself warns of
  std::string first{};    ///< what has to be done before any other step, because of the value
  int times = 1;          ///< found so this often, each time anew
  bool at_least = false;  ///< what is there is `value` or above: a rail cut off the rest
};

/// The job's evidence in the book's order of signs, one a sign. A reading that could not be measured gives
/// none, unless it says that what is there lies below a bound. Of several captures the one furthest from
/// sound speaks for a sign (hum's multiples all from the path with most hum).
[[nodiscard]] std::vector<Evidence> gather(const FaultBook& book, const std::vector<Capture>& captures,
                                           const Site& site = {});

/// True for a sound capture by which nothing came in: on every channel all samples are equal. It tells
/// nothing of a fault's absence, and gather() leaves it out.
[[nodiscard]] bool nothing_came_in(const Capture& capture);

/// What of a capture may be right or wrong by what was meant, a sentence each: one silent side, where nobody
/// told whether two sides should carry.
[[nodiscard]] std::vector<std::string> questions(const std::vector<Capture>& captures, const Site& site);

/// What of the evidence is no fault but may be taken for one, a sentence each: a hum bar that rolls because
/// the camera is not locked to the mains.
[[nodiscard]] std::vector<std::string> remarks(const std::vector<Evidence>& evidence);

/// What a person typed: "SIGN=WORD" or "SIGN=VALUE UNIT", where needed "SIGN=VALUE UNIT of RATED", and if
/// known
/// "+- UNCERTAINTY" (k=2, same unit): "supply-loaded=11.2 V of 12", "earth-ohms=0.4 ohm +- 0.1",
/// "port-light=dark"; with " again" behind it where it was found twice. Throws Error(Usage) saying what can
/// be typed.
[[nodiscard]] Evidence parse_observed(const std::string& text, const FaultBook& book);

/// All that was typed. The same twice is taken once; two that differ on one sign throw Error(Usage).
[[nodiscard]] std::vector<Evidence> parse_observed(const std::vector<std::string>& texts,
                                                   const FaultBook& book);

/// What is wrong with a value as typed for this sign, without the command line's notation; empty: nothing.
[[nodiscard]] std::string wrong_value(const Sign& sign, const std::string& typed);
/// The notation for one trial, for help texts: "supply-loaded=V of RATED", "port-light=on|dark".
[[nodiscard]] std::string notation_of(const Sign& sign);

/// Readings of a document written by --json ("linebench/1"); its input's facts too. Several captures where
/// the document holds several ("captures"). Throws Error(Unusable): file and what is wrong.
[[nodiscard]] std::vector<Capture> captures_from_json(const std::string& text, const std::string& file);

/// What a person told a diagnosis that was kept as a document: what was observed, as typed, and the site.
struct Told {
  std::vector<std::string> observed;
  Site site;
};
/// Empty for other documents. Throws as captures_from_json().
[[nodiscard]] Told told_from_json(const std::string& text, const std::string& file);

}  // namespace linebench::diagnose
