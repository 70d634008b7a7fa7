// What the job store keeps, as plain records. Every record has a uid (UUID) that stays the same on every
// laptop, so that two stores can be merged without doubles. Times are ISO 8601 UTC with milliseconds.
#pragma once

#include <cstdint>
#include <filesystem>
#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::job {

/// A place with one installation.
struct Site {
  std::string uid;
  std::string name;  ///< unique, upper and lower case alike
  std::string address;
};

/// One signal path of a site: from a counter's station to the hub, a camera to a monitor.
struct Path {
  std::string uid;
  std::string name;   ///< unique within its site
  std::string from;   ///< its first part
  std::string to;     ///< its last part
  std::string cable;  ///< what lies between, in the order of the signal, with commas; a cable's type where
                      ///< that is all
  std::optional<double> length_m;
};

/// A station as its type plate says.
struct Station {
  std::string uid;
  std::string type;
  std::string serial;
};

enum class JobKind { Site, Station, Feed };
/// "site", "station", "feed".
[[nodiscard]] std::string_view to_string(JobKind kind);
/// The reverse. Throws Error(Usage) for another word.
[[nodiscard]] JobKind job_kind(std::string_view word);

/// One piece of work, from the complaint to the paper.
struct Job {
  std::string uid;
  std::string ref;  ///< what a person calls it: "20261125-7f3a", unique in a store
  JobKind kind = JobKind::Site;
  std::string title;
  std::string complaint;  ///< as reported
  std::optional<Site> site;
  std::optional<Station> station;
  bool done = false;
  std::string outcome;     ///< "pass", "fail", "repair", "connect", ...; empty while open
  bool reference = false;  ///< a good unit that others of its type are compared with
  std::string opened_at;
  std::string changed_at;
  std::string program;  ///< version that opened it
};

/// A capture with its readings as they were judged then.
struct Capture {
  std::string uid;
  std::string label;                ///< what it was taken for: "counter 2, nobody speaking"
  std::optional<std::string> path;  ///< name of the site's path it was taken on
  std::filesystem::path file;
  std::string sha256;  ///< of the file when it was measured
  std::uint64_t bytes = 0;
  std::string view;  ///< "audio", "waveform", "lowband", "picture"
  CaptureFacts facts;
  std::string verdict;
  std::string limit_set;
  std::vector<std::string> missing;
  std::string added_at;
  /// How it was to be taken (place, signal) and judged (limits, full scale, system); empty: not kept then.
  /// What was taken or judged otherwise than is wanted now does not count.
  std::string taken_as{}, judged_as{};
  Readings readings;  ///< empty in lists
};

/// A fault the diagnosis named, as the JSON document gives it.
struct Finding {
  std::string fault;
  std::string label;
  double probability = 0;
  std::string body;  ///< the finding's JSON text
};

/// One answer in a guided job. An answer that was changed leaves the earlier one on record.
struct Step {
  std::string key;
  std::string answer;
  std::string at;
};

struct Note {
  std::string text;
  std::string at;
};

/// A line of the checklist before and after the work.
struct Mark {
  std::string item;
  std::string state;  ///< "done", "not needed", "open"
  std::string note;
  std::string at;
};

}  // namespace linebench::job
