// Further looks at a path whose end shows nothing wrong. Somebody saw or heard something: that is evidence
// too, and one clean capture does not undo it.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/diagnose/evidence.hpp>

#include "site_state.hpp"

namespace linebench::check {
namespace {

constexpr int most_again = 3;

const char* medium(const SiteState& s) { return s.video ? "video" : "audio"; }

// The capture takes the place of the one at the end of the path, which did not show the fault.
void stands_at_end(SiteState& s, const Knowledge& k, const job::Capture& c) {
  s.captures.front() = {s.captures.front().name, c.facts, c.readings};
  s.at_part.back() = &c;
  s.kept.front() = &c;
  s.evidence += "\nat the end " + c.uid;
  look(s, k);
}

diagnose::Gap gap_at_end(const SiteState& s, const Words& words) {
  diagnose::Gap gap = s.gaps().front();
  if (diagnose::nothing_came_in(s.captures.front())) {
    gap.text = words.text("site-nothing-came");
    gap.how = words.text("site-nothing-came-do");
  }
  return gap;
}

// What was taken in cannot show the fault: too short, or too much else over it.
void close_gaps(Script& script, const Knowledge& k, SiteState& s, const std::string& path) {
  const std::string end = s.path.parts.back().name;
  for (int n = 1; n <= most_again && !s.wrong() && !s.gaps().empty(); ++n) {
    const diagnose::Gap gap = gap_at_end(s, k.words);
    const std::string label = k.words.text("site-again-label", {{"part", end}, {"n", std::to_string(n + 1)}});
    CaptureWish wish = wish_at(s, label, path);
    wish.place = end;
    const job::Capture* c = script.capture({.key = fmt::format("site.again.{}", n),
                                            .words = "site.again",
                                            .values = {{"part", end}, {"why", gap.text}, {"how", gap.how}},
                                            .news = news_of(s, k.words),
                                            .optional = true,
                                            .draw = drawn(s, s.path.parts.size() - 1, k.words)},
                                           std::move(wish));
    if (c == nullptr) return;
    stands_at_end(s, k, *c);
  }
}

// What a clean capture does not show, in the order of what it costs to look.
enum class View { While, Other, Beyond, Soak };
constexpr View views[] = {View::While, View::Other, View::Beyond, View::Soak};

const char* word(View v) {
  switch (v) {
    case View::While:
      return "while";
    case View::Other:
      return "other";
    case View::Beyond:
      return "beyond";
    case View::Soak:
      break;
  }
  return "soak";
}

// Of sound the other signal, of a picture the other way to take it in.
std::string other_for(const SiteState& s) {
  if (s.video) return s.captures.front().facts.kind == "frames" ? "waveform" : "frames";
  return s.signal.empty() ? "tone-1k" : "sweep-speech";
}

std::string words_of(const SiteState& s, View v) {
  const std::string key = fmt::format("site.view.{}.{}", word(v), medium(s));
  return s.video && v == View::Other ? key + "." + other_for(s) : key;
}

void look_at(Script& script, const Knowledge& k, SiteState& s, const std::string& path, View v) {
  const Words& words = k.words;
  const std::string end = s.path.parts.back().name;
  const std::string key = std::string("site.view.") + word(v);
  const std::string title = Words::filled(words.question(words_of(s, v)).title, {{"part", end}});
  SiteState as = s;
  if (v == View::Other) (s.video ? as.video_as : as.signal) = other_for(s);
  if (v == View::Beyond) {
    const std::string label =
        words.text("site-at-label", {{"part", words.text("site-beyond", {{"part", end}})}});
    as.path.parts.push_back({words.text("site-beyond", {{"part", end}}), label});
  }
  CaptureWish wish = wish_at(as, v == View::Beyond ? as.path.parts.back().capture : title, path);
  wish.place = as.path.parts.back().name;
  if (v == View::Soak) {
    const auto hours = script.number({.key = "site.soak-hours", .optional = true}, 0.001, 168);
    if (!hours) return s.not_looked.push_back(title);
    wish.soak = true;
    wish.seconds = 3600 * *hours;
    wish.signal = s.video ? "" : "tone-1k";
    wish.idle = false;
    wish.limits = s.video ? "picture-soak" : "soak";
    wish.video_as = s.video ? "frames" : "";
  }
  Ask ask{.key = key,
          .words = words_of(s, v),
          .values = {{"part", end}, {"complaint", s.complaint}},
          .news = news_of(s, words),
          .optional = true,
          .draw = drawn(as, as.path.parts.size() - 1, words)};
  // There the path stays as it is used.
  if (v == View::Beyond) ask.draw[ask.draw.size() - 2] = words.text("site-tap");
  if (!wish.signal.empty())
    ask.help.push_back(
        words.text("site-send", {{"signal", wish.signal}, {"part", s.path.parts.front().name}}));
  const double asked_s = wish.seconds;
  const job::Capture* c = script.capture(std::move(ask), std::move(wish));
  if (c == nullptr) {
    const std::string why = skip_reason(*script.work().answer(key));
    return s.not_looked.push_back(title + (why.empty() ? "" : ": " + why));
  }
  if (v == View::Soak) {
    s.soak = c;
    const bool whole = !c->facts.interrupted && c->facts.duration_s() >= 0.98 * asked_s;
    if (!whole) s.not_looked.push_back(words.text("site-soak-short", {{"label", title}}));
    if (whole && c->verdict == "pass") s.looked.push_back(title);
    return;
  }
  if (c->verdict != "fail") s.looked.push_back(title);
  if (v == View::Beyond) {
    s.path = as.path;
    s.at_part.push_back(c);
  }
  keep_capture(s, *c);
  look(s, k);
  if (!s.wrong() && c->verdict != "fail") return;
  std::erase(s.looked, title);
  s.comes_and_goes = v == View::While;
  s.signal = as.signal;
  s.video_as = as.video_as;
  if (v == View::Beyond) return;
  s.captures.pop_back();
  s.kept.pop_back();
  stands_at_end(s, k, *c);
}

}  // namespace

void look_further(Script& script, const Knowledge& k, SiteState& s, const std::string& path) {
  close_gaps(script, k, s, path);
  for (const View v : views) {
    if (s.wrong()) return;
    look_at(script, k, s, path, v);
  }
  s.looked_all = true;
}

}  // namespace linebench::check
