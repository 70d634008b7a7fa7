#include "check_paper.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/capture/audio_file.hpp>
#include <linebench/check/finished.hpp>

#include "say.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

// A job that is finished stands as it was finished. Where today's plans, fault book or words lead elsewhere,
// or nowhere, all that was kept is shown.
void stands_as_finished(const job::Store& store, const check::Work& work, const check::Route& route,
                        const check::Words& words, report::JobPaper& p) {
  if (!p.job.done) return;
  const bool leads_there = route.next.kind == check::StepKind::Finish && route.next.outcome == p.job.outcome;
  if (const auto kept = check::finished_with(work)) {
    p.outcome = *kept;
  } else if (p.outcome.headline.empty()) {
    // Of an earlier version, and its plan is gone: its result is all that is left to say.
    p.outcome = {check::mark_of_result(p.job, words).value_or(report::Mark::Measured),
                 words.text("finished-as", {{"outcome", p.job.outcome}}),
                 {}};
  } else {
    return;
  }
  if (leads_there) return;
  p.replaced.clear();
  for (const job::Step& s : store.steps(p.job)) p.replaced.insert(s.answer);
  for (const job::Step& s : work.answers) {
    p.replaced.erase(s.answer);
    const bool known = s.key.ends_with(check::kept_text) || work.capture(s.key) != nullptr ||
                       std::any_of(route.answered.begin(), route.answered.end(),
                                   [&](const check::Answered& a) { return a.key == s.key; });
    if (!known) p.answers.emplace_back(s.key, s.answer);
  }
}

// Captures an answer named once and that no longer count: another took their place, or an answer that was
// changed asks for something else.
std::set<std::string> replaced_in(const job::Store& store, const job::Job& j, const check::Route& route) {
  std::set<std::string> uids;
  for (const job::Step& s : store.steps(j)) uids.insert(s.answer);
  for (const check::Answered& a : route.answered) uids.erase(a.answer);
  return uids;
}

// One drawing for all that was connected alike; what was measured again after a repair was so too.
std::vector<report::Drawing> drawings_of(const std::vector<check::Answered>& answered) {
  std::vector<report::Drawing> drawings;
  std::vector<std::vector<std::string>> titles;
  for (const check::Answered& a : answered) {
    if (!a.drawing) continue;
    const auto same =
        std::ranges::find_if(drawings, [&](const auto& d) { return d.parts == a.drawing->parts; });
    const auto at = static_cast<std::size_t>(same - drawings.begin());
    if (same == drawings.end()) {
      drawings.push_back(*a.drawing);
      titles.emplace_back();
    }
    const std::string& title = a.drawing->title;
    if (std::ranges::none_of(titles[at],
                             [&](const auto& t) { return title == t || title.starts_with(t + ", "); }))
      titles[at].push_back(title);
  }
  for (std::size_t i = 0; i < drawings.size(); ++i)
    drawings[i].title = fmt::format("{}", fmt::join(titles[i], "; "));
  return drawings;
}

void add_flow(const job::Store& store, report::JobPaper& p) {
  check::Knowledge k = knowledge_for(p.job.kind, true);
  add_history(k, store, p.job);
  const check::Work work = check::load_work(store, p.job);
  const check::Route route = check::next_step(work, k);
  p.replaced = replaced_in(store, p.job, route);
  for (const std::string& uid : check::repeated_in(check::reached(work, route.answered)))
    p.replaced.insert(uid);
  p.answers.clear();
  for (const check::Answered& a : route.answered) {
    p.answers.emplace_back(a.title, a.shown);
    for (const std::string& c : a.cautions) {
      if (std::find(p.cautions.begin(), p.cautions.end(), c) == p.cautions.end()) p.cautions.push_back(c);
    }
  }
  p.drawings = drawings_of(route.answered);
  p.outcome = check::outcome_of(work, k);
  p.tables = check::tables_of(work, k);
  stands_as_finished(store, work, route, k.words, p);
  p.paper_size = k.profile.paper;
}

}  // namespace

check::Knowledge knowledge_for(job::JobKind kind, bool to_look) {
  check::Knowledge k;
  k.profile = check::load_profile().value_or(check::Profile{});
  k.words = check::Words::load(k.profile.language);
  std::vector<std::string> wrong;
  k.checklist = check::load_checklist(kind, to_look ? &wrong : nullptr);
  if (kind == job::JobKind::Station) k.plans = check::load_plans(to_look ? &wrong : nullptr);
  for (const std::string& w : wrong) say("{}\n", k.words.text("left-out", {{"what", w}}));
  k.book = std::make_shared<const diagnose::FaultBook>(diagnose::load_fault_book());
  k.looks = std::make_shared<std::map<std::string, check::Look>>();
  return k;
}

void add_history(check::Knowledge& k, const job::Store& store, const job::Job& job) {
  k.history.clear();
  if (!job.station) return;
  job::Query query;
  query.kind = job::JobKind::Station;
  auto jobs = store.jobs(query);
  std::reverse(jobs.begin(), jobs.end());
  for (const job::Job& j : jobs) {
    if (j.station && j.station->type == job.station->type &&
        (j.reference || j.station->uid == job.station->uid))
      k.history.push_back(check::past_station(check::load_work(store, j)));
  }
}

report::JobPaper paper_of(const job::Store& store, const job::Job& j) {
  report::JobPaper p;
  p.job = j;
  p.captures = store.captures(j);
  p.findings = store.findings(j);
  p.notes = store.notes(j);
  p.marks = store.marks(j);
  p.made_at = now_utc();
  for (const auto& c : p.captures) p.file_states.push_back(job::file_state(c));
  for (const job::Step& a : store.answers(j)) p.answers.emplace_back(a.key, a.answer);
  if (!p.answers.empty()) add_flow(store, p);
  return p;
}

void add_traces(report::JobPaper& p, const Context& context) {
  for (std::size_t i = 0; i < p.captures.size(); ++i) {
    const job::Capture& c = p.captures[i];
    // A mark of a watched signal has readings and no file.
    if (c.view != "audio" || c.file.empty() || !p.file_states[i].empty() || p.replaced.contains(c.uid) ||
        c.file.extension() == ".json")
      continue;
    const auto source = capture::open_audio_file(c.file);
    measure::TraceAnalyser analyser(source->facts().sample_rate_hz, source->facts().channels);
    measure::TracingSource traced(*source, analyser);
    std::vector<float> block(static_cast<std::size_t>(4096 * source->facts().channels));
    while (!context.stop && traced.read(block) > 0) {
    }
    p.traces.emplace(c.uid, analyser.finish());
  }
}

}  // namespace linebench::app
