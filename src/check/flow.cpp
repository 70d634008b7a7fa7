#include <cstdlib>
#include <linebench/check/flow.hpp>

#include "feed.hpp"
#include "readings.hpp"
#include "round.hpp"
#include "site.hpp"
#include "station.hpp"

namespace linebench::check {

std::vector<diagnose::Gap> left_open(const Knowledge& k, const job::Capture& c) {
  if (!k.book) return {};
  return beyond_the_look(diagnose::gaps(*k.book, diagnose::gather(*k.book, {{c.label, c.facts, c.readings}})),
                         {c.facts});
}

Route next_step(const Work& work, const Knowledge& k) {
  Script script(work, k.words);
  return script.run([&](Script& s) {
    switch (work.job.kind) {
      case job::JobKind::Site:
        return site_flow(s, k);
      case job::JobKind::Station:
        return station_flow(s, k);
      case job::JobKind::Feed:
        break;
    }
    return feed_flow(s, k);
  });
}

report::Outcome outcome_of(const Work& work, const Knowledge& k) {
  switch (work.job.kind) {
    case job::JobKind::Site:
      return site_outcome(work, k);
    case job::JobKind::Station:
      return station_outcome(work, k);
    case job::JobKind::Feed:
      break;
  }
  return feed_outcome(work, k);
}

std::optional<report::Mark> mark_of_result(const job::Job& job, const Words& words) {
  using report::Mark;
  struct Word {
    const char* key;
    Mark mark;
  };
  static const Word known[] = {
      {"feed-word-connect", Mark::Pass},       {"feed-word-change", Mark::Fail},
      {"feed-word-stop", Mark::Fail},          {"feed-word-open", Mark::Incomplete},
      {"station-word-pass", Mark::Pass},       {"station-word-fail", Mark::Fail},
      {"station-word-repair", Mark::Pass},     {"station-word-no-fault", Mark::Pass},
      {"station-word-open", Mark::Incomplete}, {"station-word-suspect", Mark::Incomplete},
      {"site-word-cured", Mark::Pass},         {"site-word-fault", Mark::Fail},
      {"site-word-nothing", Mark::Pass},       {"site-word-unsafe", Mark::Fail},
      {"site-word-dead", Mark::Fail},          {"site-word-open", Mark::Incomplete}};
  if (!job.done) return Mark::Incomplete;
  for (const Word& w : known) {
    if (std::string_view(w.key).starts_with(to_string(job.kind)) && words.text(w.key) == job.outcome)
      return w.mark;
  }
  return std::nullopt;
}

std::optional<diagnose::Diagnosis> diagnosis_of(const Work& work, const Knowledge& k) {
  if (work.job.kind != job::JobKind::Site) return std::nullopt;
  return site_diagnosis(work, k);
}

std::vector<report::PaperTable> tables_of(const Work& work, const Knowledge& k) {
  if (work.job.kind == job::JobKind::Station) return station_tables(work, k);
  if (work.job.kind == job::JobKind::Site) return site_tables(work, k);
  return {};
}

std::vector<std::string> repeated_in(const Work& work) {
  std::vector<std::string> uids;
  for (const job::Step& a : work.answers) {
    const job::Capture* c = a.key.starts_with("test.") ? work.capture(a.key) : nullptr;
    if (c == nullptr || c->verdict != "pass") continue;
    const std::string test = a.key.substr(0, a.key.find('.', 5));
    const auto dot = a.key.find('.', 5);
    const int round = dot == std::string::npos ? 1 : std::atoi(a.key.c_str() + dot + 1);
    for (int later = round + 1; later <= most_rounds; ++later) {
      if (work.capture(round_key(test, later)) == nullptr) continue;
      uids.push_back(c->uid);
      break;
    }
  }
  return uids;
}

job::NewJob identity_of(const Work& work) {
  const auto answer = [&](const char* key) {
    const std::string* a = work.answer(key);
    return a != nullptr ? *a : std::string();
  };
  job::NewJob n;
  n.kind = work.job.kind;
  n.complaint = answer("complaint");
  n.site = answer("site.name");
  const std::string type = answer("station.type");
  const std::string serial = answer("station.serial");
  if (!type.empty() && !serial.empty()) {
    n.station_type = type;
    n.station_serial = serial;
    n.title = type + " " + serial;
  }
  for (const char* key : {"feed.name", "site.path"}) {
    if (n.title.empty()) n.title = answer(key);
  }
  return n;
}

}  // namespace linebench::check
