#include "site.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/error.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <linebench/report/findings.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/words.hpp>

#include "readings.hpp"
#include "round.hpp"
#include "site_state.hpp"

namespace linebench::check {
namespace {

using report::Outcome;
using report::Point;
using report::Weight;

constexpr int most_tests = 20;
constexpr int most_cures = 5;

bool of_picture(const std::string& seen) {
  for (const char* s : {"bars", "roll", "no-picture", "ghost", "colour", "snow", "dull"}) {
    if (seen == s) return true;
  }
  return false;
}

std::string signal_for(const std::string& seen) {
  // A tone shows level, distortion and breaks; hum, whistle and bursts are told best with nothing sent.
  for (const char* s : {"harsh", "level", "silent", "crackle"}) {
    if (seen == s) return "tone-1k";
  }
  return {};
}

// What to do before it is taken in, beside the question's own words.
std::vector<std::string> sending(const SiteState& s, const Words& words) {
  if (s.video || s.signal.empty()) return {};
  return {words.text("site-send", {{"signal", s.signal}, {"part", s.path.parts.front().name}})};
}

void measure_at(Script& script, const diagnose::FaultBook& book, SiteState& s, std::size_t part,
                const std::string& path, const Outcome& news) {
  const Words& words = script.words();
  const std::string name = s.path.parts[part].name;
  // By its name: parts that are put in or taken out later do not turn one place's capture into another's.
  Ask ask{.key = "site.at." + name,
          .words = s.video ? "site.at.video" : "site.at.audio",
          .values = {{"part", name}},
          .optional = s.measured(),
          .draw = drawn(s, part, words),
          .numbered = fmt::format("site.at.{}", part + 1)};
  if (!news.headline.empty()) ask.news = news;
  if (s.comes_and_goes) ask.help.push_back(words.text("site-while"));
  for (std::string& line : sending(s, words)) ask.help.push_back(std::move(line));
  CaptureWish wish = wish_at(s, words.text("site-at-label", {{"part", name}}), path);
  wish.place = name;
  const job::Capture* c = script.capture(std::move(ask), std::move(wish));
  if (c == nullptr) {
    s.left_out.insert("measure");
    return;
  }
  // Too little to show a fault is no sound place: the halves would go the wrong way by it.
  const std::vector<diagnose::Capture> alone = {{c->label, c->facts, c->readings}};
  const diagnose::Site site{s.system};
  if (s.measured() && s.out.empty() && !wrong_as_at_end(*c, *s.at_end()) &&
      diagnose::diagnose(book, diagnose::Job{alone, {}, site}).nothing_wrong >= 0.5 &&
      !beyond_the_look(diagnose::gaps(book, diagnose::gather(book, alone, site)), {c->facts}).empty()) {
    s.not_looked.push_back(diagnose::nothing_came_in(alone.front())
                               ? c->label + ": " + words.text("site-nothing-came")
                               : words.text("site-too-little", {{"label", c->label}}));
    s.left_out.insert("measure");
    return;
  }
  keep_capture(s, *c);
  s.at_part[part] = c;
}

void take_other(Script& script, SiteState& s, const diagnose::NextTest& t, const Outcome& news) {
  SiteState as = s;
  as.video = t.id != "capture-audio";
  const std::string key = "site.capture." + t.id;
  Ask ask{.key = key,
          .words = "site.capture",
          .values = {{"test", t.label}, {"how", t.how}},
          .news = news,
          .optional = true};
  if (!t.caution.empty()) ask.cautions.push_back(t.caution);
  const job::Capture* c = script.capture(std::move(ask), wish_at(as, t.label, ""));
  s.left_out.insert(t.id);
  if (c != nullptr) keep_capture(s, *c);
}

void isolate(Script& script, const Knowledge& k, SiteState& s, const std::string& path) {
  measure_at(script, *k.book, s, s.path.parts.size() - 1, path, {});
  look(s, k);
  if (!s.wrong()) look_further(script, k, s, path);
  for (int n = 0; n < most_tests && s.wrong() && !s.stands(); ++n) {
    const auto next = propose(s);
    if (!next) return;
    const Outcome news = news_of(s, k.words);
    if (next->kind == Proposal::Kind::Measure) {
      measure_at(script, *k.book, s, next->part, path, news);
    } else if (next->kind == Proposal::Kind::Trial) {
      make_trial(script, s, next->test, *k.book, news);
    } else {
      take_other(script, s, next->test, news);
    }
    look(s, k);
  }
}

// A capture proves a cure by what it shows: nothing of it fails, nothing asked of it is missing, and what
// failed before is judged in it again.
bool shows_cure(const Readings& before, const job::Capture& after) {
  const auto failed = [](const Reading& r) { return r.verdict == Verdict::Fail; };
  if (!after.missing.empty() || std::any_of(after.readings.begin(), after.readings.end(), failed))
    return false;
  return std::all_of(before.begin(), before.end(), [&](const Reading& was) {
    if (!failed(was)) return true;
    const Reading* now = find_reading(after.readings, was.id);
    if (now == nullptr || now->verdict == Verdict::Pass) return now != nullptr;
    // By the limit of before: what is not found any more need not have been judged.
    Reading bound = *now;
    bound.limit = was.limit;
    return bounded_within(bound);
  });
}

// What was out of limits and is not, what still is, and what has come: the book's comparison knows faults
// only.
void tell_limits(SiteState& s, const job::Capture& after, const Words& words) {
  const auto before = troubles(*s.kept.front());
  const auto now = troubles(after);
  const auto among = [](const std::vector<Trouble>& all, const Trouble& t) {
    return std::any_of(all.begin(), all.end(), [&](const Trouble& x) { return x.id == t.id; });
  };
  std::string right, other;
  for (const Trouble& t : before) {
    if (!among(now, t)) right += (right.empty() ? "" : "; ") + t.text;
  }
  bool still = false;
  for (const Trouble& t : now) {
    still = still || among(before, t);
    other += (other.empty() ? "" : "; ") + t.text;
  }
  s.other_now = !right.empty() && !now.empty() && !still;
  if (now.empty()) {
    // Of what the book knows no fault for, its own comparison would say that there was none.
    if (s.by_limits_alone() && !right.empty())
      s.after->summary = words.text("site-limits-all-right", {{"right", right}});
    return;
  }
  s.after->summary = right.empty() ? words.text("site-limits-out", {{"out", other}})
                                   : words.text("site-limits-right", {{"right", right}, {"out", other}});
}

SiteState::Trace trace_of(const std::string& answer) {
  using Trace = SiteState::Trace;
  return answer == "gone" ? Trace::Gone : answer == "still" ? Trace::Still : Trace::Unknown;
}

// Whether it is cured now; asks for another cure while it is not and one is wanted.
void cure(Script& script, const Knowledge& k, SiteState& s, const std::string& path) {
  for (int round = 1; round <= most_cures && !s.cured; ++round) {
    const auto keyed = [&](const char* what) { return fmt::format("site.{}.{}", what, round); };
    // What was dangerous and is safe now was put right by that.
    const bool done = round == 1 && !s.made_safe.empty();
    if (!done &&
        script.choose({.key = keyed("cure"), .words = "site.cure", .news = outcome_of_state(s, k.words)}) !=
            "yes")
      return;
    if (round == 1) ask_checklist(script, k.checklist, "before");
    const std::string did = done ? s.made_safe : script.text({.key = keyed("did"), .words = "site.did"});
    const std::size_t last = s.path.parts.size() - 1;
    const std::string end = s.path.parts[last].name;
    CaptureWish wish =
        wish_at(s, k.words.text("site-after-label", {{"part", end}, {"n", std::to_string(round)}}), path);
    wish.place = end;
    const job::Capture* after = script.capture({.key = keyed("after"),
                                                .words = s.video ? "site.at.video" : "site.at.audio",
                                                .values = {{"part", end}},
                                                .help = sending(s, k.words),
                                                .draw = drawn(s, last, k.words)},
                                               std::move(wish));
    const diagnose::Site site{s.system};
    const diagnose::Capture now{keyed("after"), after->facts, after->readings};
    s.after = diagnose::compare(*k.book, s.captures.front(), now, did, site);
    s.after->before_name = k.words.text("site-before");
    const bool within = shows_cure(s.captures.front().readings, *after);
    tell_limits(s, *after, k.words);
    const bool clear =
        s.after->nothing_after >= 0.5 &&
        beyond_the_look(diagnose::gaps(*k.book, diagnose::gather(*k.book, {now}, site)), {now.facts}).empty();
    // Within every limit, and not as a good path reads: the ear or eye that complained decides.
    s.trace = !within || s.after->nothing_after >= 0.5
                  ? SiteState::Trace::None
                  : trace_of(script.choose({.key = keyed("left"),
                                            .words = "site.left",
                                            .values = {{"complaint", s.complaint}},
                                            .otherwise = "unknown"}));
    s.cured = within && (clear || s.trace == SiteState::Trace::Gone);
    // A path that carries nothing has no hum either. Where a signal was sent, or a picture looked at, it was
    // seen.
    s.dead = s.cured && !s.video && s.signal.empty() &&
             script.choose({.key = keyed("carries"),
                            .words = "site.carries",
                            .values = {{"part", s.path.parts.front().name}, {"end", end}}}) == "no";
    s.cured = s.cured && !s.dead;
  }
}

}  // namespace

namespace {

// Whether the likeliest fault at the path's end is among those of the segment, which is the first one's.
bool comes_in_there(const diagnose::Segment& segment, const diagnose::Finding& finding) {
  return segment.faults.empty() || segment.faults.contains(finding.fault);
}

std::string words_after(const SiteState& s, const Words& words) {
  if (s.cured) return {};
  if (s.other_now) return words.text("site-other-now");
  if (s.dead) return words.text("site-dead-do");
  switch (s.trace) {
    case SiteState::Trace::Still:
      return words.text("site-trace-still");
    case SiteState::Trace::Unknown:
      return words.text("site-trace-do");
    default:
      return words.text("site-still");
  }
}

// What is read where it comes in; what stands at the end may be another's.
std::string as_it_comes_in(const SiteState& s, const Trouble& at_end, const std::string& part) {
  for (std::size_t i = 0; i < s.path.parts.size(); ++i) {
    if (s.path.parts[i].name != part || s.at_part[i] == nullptr) continue;
    const auto there = troubles(*s.at_part[i]);
    const auto it = std::ranges::find(there, at_end.id, &Trouble::id);
    if (it != there.end()) return it->text;
  }
  return at_end.text;
}

// A reading that comes in elsewhere than the fault that is followed: a second fault.
void add_second(const SiteState& s, const Words& words, std::vector<Point>& points) {
  const auto& own = s.own_segment.between;
  const bool elsewhere = own.size() == 1 && (own != s.segment.between || s.diagnosis.findings.empty() ||
                                             !comes_in_there(s.segment, s.diagnosis.findings.front()));
  for (const Trouble& x : troubles(*s.at_end())) {
    const auto second = std::ranges::find(s.second, x.id, &std::pair<std::string, std::string>::first);
    const bool complaint = elsewhere && std::find(s.own.begin(), s.own.end(), x.id) != s.own.end();
    if (!complaint && second == s.second.end()) continue;
    const std::string& part = complaint ? own.front() : second->second;
    points.push_back({Weight::Change,
                      words.text("site-own", {{"what", as_it_comes_in(s, x, part)}, {"part", part}}), "",
                      std::string(report::words_for(x.id, x.side).next), ""});
  }
}

void add_not_looked(const SiteState& s, const Words& words, std::vector<Point>& points) {
  for (const std::string& x : s.not_looked)
    points.push_back({Weight::Note, words.text("site-not-looked", {{"what", x}}), "", "", ""});
}

}  // namespace

Outcome outcome_of_state(const SiteState& s, const Words& words) {
  Outcome o;
  if (!s.measured()) return o;
  if (s.unsafe()) return unsafe_outcome(s, words);
  const auto& d = s.told_of();
  o.mark = report::Mark::Fail;
  if (s.dead) {
    o.headline = words.text("site-dead", {{"did", s.after->did}});
  } else if (s.cured) {
    o.mark = report::Mark::Pass;
    o.headline = words.text(s.trace == SiteState::Trace::Gone ? "site-cured-trace" : "site-cured",
                            {{"did", s.after->did}});
  } else if (s.trace == SiteState::Trace::Unknown) {
    o.mark = report::Mark::Incomplete;
    o.headline = words.text("site-trace", {{"did", s.after->did}, {"complaint", s.complaint}});
  } else if (!s.wrong() && s.soak != nullptr && s.soak->verdict == "fail") {
    o.headline = words.text("site-soak-shows");
  } else if (s.no_fault_found()) {
    o.mark = report::Mark::Pass;
    o.headline = words.text("site-nothing", {{"complaint", s.complaint}});
  } else if (!s.wrong()) {
    o.mark = report::Mark::Incomplete;
    o.headline = words.text(s.out_of_limits()                               ? "site-out-elsewhere"
                            : diagnose::nothing_came_in(s.captures.front()) ? "site-open-nothing"
                                                                            : "site-open",
                            {{"complaint", s.complaint}});
  } else if (!s.out.empty()) {
    const std::string where = s.segment.between.size() == 1 ? s.segment.between.front() : "";
    o.headline = words.text(where.empty() ? "site-out" : "site-out-in", {{"part", where}});
  } else if (!names_one(d)) {
    // Within every limit, and by no fault of the book: that is no fault found, and no sound path.
    if (!s.out_of_limits()) o.mark = report::Mark::Incomplete;
    o.headline = words.text(s.out_of_limits() ? "site-unlisted" : "site-unlike");
  } else {
    const auto& f = d.findings.front();
    const std::string where =
        comes_in_there(s.segment, f) && s.segment.between.size() == 1 ? s.segment.between.front() : "";
    o.headline = words.text(
        where.empty()                  ? "site-likely"
        : f.probability >= stands_from ? "site-found"
                                       : "site-likely-in",
        {{"fault", f.label}, {"percent", fmt::format("{:.0f}", 100 * f.probability)}, {"part", where}});
  }
  // What a person found says so of a path whose captures are clean.
  if (!s.cured && d.nothing_wrong > report::may_be_sound) {
    for (const std::string& u : d.unsettled) o.points.push_back({Weight::Change, u + ".", "", "", ""});
  }
  if (s.after) {
    o.points.push_back({s.cured ? Weight::Good : Weight::Change,
                        words.text("site-did", {{"did", s.after->did}}), s.after->summary,
                        words_after(s, words), ""});
  }
  const auto add_troubles = [&](const job::Capture& c, Weight weight) {
    for (const Trouble& x : troubles(c)) {
      const bool standing = x.id == "audio.tone.level" && s.signal.empty();
      const report::Words say = standing ? report::words_of_standing_tone() : words_of(x);
      const std::string when = &c == s.soak ? times_of(c, x, words) : "";
      const std::string text =
          when.empty() ? x.text : words.text("soak-at", {{"what", x.text}, {"when", when}});
      o.points.push_back({s.cured ? Weight::Note : weight, c.label + ": " + text, std::string(say.meaning),
                          s.cured ? "" : std::string(say.next), ""});
    }
  };
  if (const std::string foreign = foreign_mains(s, words); s.wrong() && !foreign.empty())
    o.points.push_back({Weight::Note, foreign, "", words.text("site-foreign-do"), ""});
  if (s.wrong()) {
    // What the book names no fault for.
    if (!s.out.empty()) add_troubles(*s.at_end(), Weight::Change);
    double together = 0;
    for (const auto& f : d.findings) {
      if (f.probability < worth_a_point || s.by_limits_alone()) continue;
      together += f.probability;
      o.points.push_back({s.cured ? Weight::Note : Weight::Change,
                          fmt::format("{} \u00b7 {:.0f} %", f.label, 100 * f.probability), f.what,
                          // What is cured is not to be done again.
                          s.cured ? "" : report::cure_of(f), s.cured ? "" : f.caution});
    }
    if (together > 1) o.points.push_back({Weight::Note, words.text("site-percent"), "", "", ""});
    if (!s.cured) add_second(s, words, o.points);
    if (!s.segment.text.empty()) o.points.push_back({Weight::Note, s.segment.text, "", "", ""});
    if (!s.cured) add_not_looked(s, words, o.points);
    // What a fault that is not sure rests on.
    const bool unsure = d.findings.empty() || d.findings.front().probability < stands_from;
    if (s.out.empty() && unsure && !s.cured && s.at_end() != nullptr) add_troubles(*s.at_end(), Weight::Note);
  } else {
    std::vector<const job::Capture*> judged = s.kept;
    if (s.soak != nullptr) judged.push_back(s.soak);
    for (const job::Capture* c : judged) add_troubles(*c, Weight::Change);
    for (const std::string& x : s.looked)
      o.points.push_back({Weight::Good, words.text("site-looked", {{"what", x}}), "", "", ""});
    for (const diagnose::Gap& g : s.gaps()) o.points.push_back({Weight::Note, g.text + ".", "", g.how, ""});
    add_not_looked(s, words, o.points);
    if (s.looked_all && !s.out_of_limits())
      o.points.push_back(
          {Weight::Note, words.text("site-nothing-why"), "", words.text("site-nothing-do"), ""});
    const auto any_of_kind = [&](std::string_view kind) {
      return std::any_of(s.captures.begin(), s.captures.end(),
                         [&](const auto& c) { return c.facts.kind == kind; });
    };
    if (any_of_kind("frames") && !any_of_kind("composite samples"))
      o.points.push_back(
          {Weight::Note, words.text("site-grabber-hides"), "", words.text("site-grabber-hides-do"), ""});
  }
  return o;
}

Step site_steps(Script& script, const Knowledge& k, SiteState& s) {
  (void)script.text({.key = "site.name", .words = "site.site", .longest = longest_name});
  const std::string path = script.text({.key = "site.path", .longest = longest_name});
  s.complaint = script.text({.key = "complaint"});
  s.seen = script.choose({.key = "site.seen"});
  s.video = of_picture(s.seen);
  if (!s.video) s.signal = signal_for(s.seen);
  const std::string where = script.choose({.key = "site.where"});
  if (s.seen == "hum" && where != "unknown") {
    const std::string word = where == "one" ? "one path" : "everywhere";
    s.told.push_back(
        {.sign = "audio.hum.where", .word = word, .shown = word, .from = k.words.text("site-told")});
  }
  s.system =
      s.video ? script.choose({.key = "site.system", .words = "feed.system", .otherwise = k.profile.system})
              : k.profile.system;
  const std::string parts =
      script.meter({.key = "site.parts",
                    .words = s.video ? "site.parts.video" : "site.parts.audio",
                    .otherwise = parts_at_last_visit(k.paths, path)},
                   [&](const std::string& typed) {
                     const auto names = parts_of(typed);
                     for (const std::string& name : names) {
                       if (report::text_width(name) > longest_name)
                         return k.words.text("say-long", {{"n", std::to_string(report::text_width(name))},
                                                          {"most", std::to_string(longest_name)}});
                     }
                     return names.size() >= 2 ? std::string() : k.words.text("site-parts-few");
                   });
  s.path.title = path;
  s.mains_hz = k.profile.mains_hz;
  for (const std::string& name : parts_of(parts))
    s.path.parts.push_back({name, k.words.text("site-at-label", {{"part", name}})});
  s.at_part.resize(s.path.parts.size());
  s.evidence = fmt::format("{}\n{}\n{}\n{}", s.seen, where, s.system, parts);
  isolate(script, k, s, path);
  make_safe(script, k, s);
  if (!s.unsafe() && (s.wrong() || !s.made_safe.empty())) cure(script, k, s, path);
  ask_checklist(script, k.checklist, "after");
  Step last;
  last.news = outcome_of_state(s, k.words);
  last.outcome = s.cured                                 ? k.words.text("site-word-cured")
                 : s.unsafe()                            ? k.words.text("site-word-unsafe")
                 : s.dead                                ? k.words.text("site-word-dead")
                 : last.news->mark == report::Mark::Fail ? k.words.text("site-word-fault")
                 : last.news->mark == report::Mark::Pass ? k.words.text("site-word-nothing")
                                                         : k.words.text("site-word-open");
  return last;
}

namespace {

SiteState state_of(const Work& work, const Knowledge& k) {
  SiteState state;
  Script script(work, k.words);
  (void)script.run([&](Script& s) { return site_steps(s, k, state); });
  return state;
}

}  // namespace

Step site_flow(Script& script, const Knowledge& k) {
  SiteState state;
  return site_steps(script, k, state);
}

Outcome site_outcome(const Work& work, const Knowledge& k) {
  return outcome_of_state(state_of(work, k), k.words);
}

std::optional<diagnose::Diagnosis> site_diagnosis(const Work& work, const Knowledge& k) {
  SiteState state = state_of(work, k);
  if (!state.measured()) return std::nullopt;
  return state.told_of();
}

std::vector<report::PaperTable> site_tables(const Work& work, const Knowledge& k) {
  const SiteState s = state_of(work, k);
  if (!s.measured()) return {};
  std::vector<report::PaperTable> tables;
  report::PaperTable along{.title = k.words.text("site-along"),
                           .text = s.segment.text,
                           .head = {k.words.text("site-along-part"), k.words.text("site-along-found")},
                           .rows = {}};
  for (std::size_t i = 0; i < s.path.parts.size(); ++i) {
    const job::Capture* c = s.at_part[i];
    const bool suspect = std::find(s.segment.between.begin(), s.segment.between.end(),
                                   s.path.parts[i].name) != s.segment.between.end();
    std::string found = c == nullptr ? k.words.text("site-along-none") : c->verdict;
    if (suspect && s.wrong()) found += "; " + k.words.text("site-along-suspect");
    along.rows.push_back({s.path.parts[i].name, found});
  }
  tables.push_back(std::move(along));
  if (s.after) {
    report::PaperTable change{.title = k.words.text("site-change"),
                              .text = s.after->summary,
                              .head = {"", k.words.text("site-before"), k.words.text("site-after")},
                              .rows = {}};
    for (const auto& c : s.after->changes) {
      if (c.change == diagnose::Change::Same || c.certainty == diagnose::Certainty::Unsure) continue;
      change.rows.push_back({c.label, c.before, c.after});
    }
    tables.push_back(std::move(change));
  }
  return tables;
}

}  // namespace linebench::check
