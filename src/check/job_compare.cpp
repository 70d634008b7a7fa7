#include <algorithm>
#include <linebench/check/job_compare.hpp>
#include <linebench/job/store.hpp>

namespace linebench::check {
namespace {

struct Place {
  std::string key, label;
  const job::Capture* first = nullptr;
  const job::Capture* last = nullptr;
};

bool all_digits(const std::string& s) {
  return !s.empty() && s.find_first_not_of("0123456789") == std::string::npos;
}

// "test.talk.2" was measured at the same place as "test.talk".
std::string without_round(const std::string& key) {
  const auto dot = key.rfind('.');
  return dot != std::string::npos && all_digits(key.substr(dot + 1)) ? key.substr(0, dot) : key;
}

// The point at the end of the path is measured first, and again after each cure.
const job::Capture* end_of_path(const Work& w) {
  for (const job::Step& s : w.answers) {
    if (s.key.starts_with("site.at.")) return w.capture(s.key);
  }
  return nullptr;
}

std::string place_of(const Work& w, const std::string& step, const job::Capture& c) {
  if (step.starts_with("test.") || step.starts_with("feed.") || step.starts_with("station."))
    return without_round(step);
  if (const job::Capture* end = end_of_path(w); end != nullptr && step.starts_with("site.after."))
    return end->label;
  return c.label.empty() ? c.file.filename().string() : c.label;
}

std::vector<Place> places_of(const Work& w) {
  std::vector<Place> places;
  const auto keep = [&](const std::string& step, const job::Capture& c) {
    const std::string key = place_of(w, step, c);
    const auto known =
        std::find_if(places.begin(), places.end(), [&](const Place& p) { return p.key == key; });
    if (known == places.end()) {
      places.push_back({key, c.label.empty() ? c.file.filename().string() : c.label, &c, &c});
    } else {
      known->last = &c;
    }
  };
  for (const job::Capture& c : w.captures) {
    const auto step = std::find_if(w.answers.begin(), w.answers.end(),
                                   [&](const job::Step& s) { return s.answer == c.uid; });
    // A capture that another took the place of is in the store but names no answer; one that was added by
    // hand has no step at all.
    if (step != w.answers.end()) {
      keep(step->key, c);
    } else if (w.answers.empty()) {
      keep("", c);
    }
  }
  return places;
}

}  // namespace

JobsCompared compare_jobs(const diagnose::FaultBook& book, const Work& before, const Work& after,
                          const diagnose::Site& site) {
  const bool same = before.job.uid == after.job.uid;
  const std::vector<Place> then = places_of(before);
  JobsCompared out;
  for (const Place& p : places_of(after)) {
    const auto was = std::find_if(then.begin(), then.end(), [&](const Place& x) { return x.key == p.key; });
    if (was == then.end()) {
      out.only_after.push_back(p.label);
      continue;
    }
    const job::Capture& b = same ? *p.first : *was->last;
    const job::Capture& a = *p.last;
    if (same && p.first == p.last) continue;
    PlaceCompared place{p.label, b.verdict, a.verdict, {}};
    place.comparison =
        diagnose::compare(book, {b.label, b.facts, b.readings}, {a.label, a.facts, a.readings}, {}, site);
    out.places.push_back(std::move(place));
  }
  const std::vector<Place> now = places_of(after);
  for (const Place& p : then) {
    if (std::none_of(now.begin(), now.end(), [&](const Place& x) { return x.key == p.key; }))
      out.only_before.push_back(p.label);
  }
  return out;
}

}  // namespace linebench::check
