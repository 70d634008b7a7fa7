// What a person metered or saw along the path; where it is dangerous by itself, it is made safe before
// anything else is measured or tried.
#include <fmt/format.h>

#include <algorithm>

#include "round.hpp"
#include "site_state.hpp"

namespace linebench::check {
namespace {

std::string notation_alone(const diagnose::Sign& sign) {
  const std::string notation = diagnose::notation_of(sign);
  return notation.substr(notation.find('=') + 1);
}

void tell(SiteState& s, const diagnose::Sign& sign, const std::string& answer,
          const diagnose::FaultBook& book) {
  diagnose::Evidence e = diagnose::parse_observed(sign.id + "=" + answer, book);
  // The same once more is twice as sure; something else takes its place.
  const auto before = std::ranges::find(s.told, sign.id, &diagnose::Evidence::sign);
  if (before != s.told.end() && before->word == e.word && before->value == e.value)
    e = diagnose::parse_observed(sign.id + "=" + answer + " again", book);
  std::erase_if(s.told, [&](const auto& x) { return x.sign == sign.id; });
  if (!e.first.empty()) s.danger = fmt::format("{}: {}", sign.label, e.shown);
  s.evidence += fmt::format("\n{}={}", sign.id, answer);
  s.told.push_back(std::move(e));
}

// Empty: not metered now. What an earlier version took and this one refuses counts for nothing.
std::string metered(Script& script, SiteState& s, const diagnose::Sign& sign, Ask ask) {
  const std::string notation = notation_alone(sign);
  ask.values.emplace_back("notation", notation);
  // It outlives this call: it goes along with the step.
  std::string answer =
      script.meter(std::move(ask), [&sign, &words = script.words(), notation](const std::string& typed) {
        const std::string why = diagnose::wrong_value(sign, typed);
        return why.empty()
                   ? why
                   : words.text("say-trial", {{"typed", typed}, {"why", why}, {"notation", notation}});
      });
  if (answer.empty() || diagnose::wrong_value(sign, answer).empty()) return answer;
  s.not_looked.push_back(script.words().text("site-refused", {{"test", sign.label}, {"typed", answer}}));
  return {};
}

}  // namespace

void make_trial(Script& script, SiteState& s, const diagnose::NextTest& t, const diagnose::FaultBook& book,
                const report::Outcome& news) {
  const diagnose::Sign& sign = *book.sign(t.id);
  Ask ask{.key = "site.trial." + key_of(t),
          .words = t.again ? "site.trial.again" : "site.trial",
          .values = {{"test", t.label}, {"how", t.how}},
          .news = news,
          .optional = true};
  if (!t.caution.empty()) ask.cautions.push_back(t.caution);
  std::string answer;
  if (sign.scale == diagnose::Scale::Words) {
    ask.words += ".words";
    ask.optional = false;
    ask.otherwise = "skip";
    for (const auto& [word, share] : sign.words) ask.choices.push_back({word, word});
    ask.choices.push_back({"skip", script.words().text("site-skip")});
    answer = script.choose(std::move(ask));
    if (answer == "skip") answer.clear();
  } else {
    answer = metered(script, s, sign, std::move(ask));
  }
  s.left_out.insert(key_of(t));
  if (!answer.empty()) tell(s, sign, answer, book);
}

void make_safe(Script& script, const Knowledge& k, SiteState& s) {
  for (int n = 1; n <= most_rounds && s.unsafe(); ++n) {
    const auto found = std::ranges::find_if(s.told, [](const auto& e) { return !e.first.empty(); });
    if (found == s.told.end()) return;
    const diagnose::Sign& sign = *k.book->sign(found->sign);
    const std::string answer = metered(script, s, sign,
                                       {.key = fmt::format("site.safe.{}.{}", sign.id, n),
                                        .words = "site.safe",
                                        .values = {{"test", sign.label}, {"how", sign.trial->how}},
                                        .news = news_of(s, k.words),
                                        .optional = true,
                                        .cautions = {sign.trial->caution}});
    if (answer.empty()) return;
    if (!s.as_found) s.as_found = s.diagnosis;
    tell(s, sign, answer, *k.book);
    s.made_safe = k.words.text("site-made-safe", {{"test", sign.label}, {"value", s.told.back().shown}});
    look(s, k);
  }
}

report::Outcome unsafe_outcome(const SiteState& s, const Words& words) {
  report::Outcome o{report::Mark::Fail, words.text("site-unsafe"), {}};
  o.points.push_back({report::Weight::Stop, s.danger, "", s.diagnosis.first_step,
                      fmt::format("{}", fmt::join(s.diagnosis.cautions, " "))});
  for (const auto& f : s.diagnosis.findings) {
    if (f.probability >= worth_a_point)
      o.points.push_back(
          {report::Weight::Note, fmt::format("{} \u00b7 {:.0f} %", f.label, 100 * f.probability), f.what});
  }
  return o;
}

}  // namespace linebench::check
