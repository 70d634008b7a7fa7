// Small files of the guided jobs, and what is typed into them.
#include <cmath>
#include <linebench/check/checklist.hpp>
#include <linebench/check/plan.hpp>
#include <linebench/check/profile.hpp>
#include <linebench/check/words.hpp>
#include <string>

#include "target.hpp"

using namespace linebench::check;

FUZZ_TARGET(plan) {
  fuzz::reads([&] {
    const StationPlan plan = parse_plan(input, "fuzz", "fuzz.toml");
    fuzz::require(!plan.tests.empty(), "a plan has tests");
    for (const StationTest& t : plan.tests)
      fuzz::require(t.seconds > 0 && t.seconds <= 3600, "a length that can be waited for");
  });
}

FUZZ_TARGET(checklist) {
  fuzz::reads([&] {
    const Checklist list = parse_checklist(input, "fuzz.toml");
    std::string answer;
    for (const ChecklistItem& i : list) answer += (answer.empty() ? "" : " ") + i.key + "=done";
    fuzz::require(marks_of(list, answer).size() == list.size(), "every item can be ticked");
  });
}

FUZZ_TARGET(profile) {
  Profile p;
  if (!fuzz::reads([&] { p = parse_profile(input, "fuzz.toml"); })) return;
  Profile again;
  fuzz::require(fuzz::reads([&] { again = parse_profile(to_toml(p), "again.toml"); }),
                "what was kept can be read");
  fuzz::require(again.mains_hz == p.mains_hz && again.system == p.system && again.paper == p.paper &&
                    again.language == p.language,
                "a profile comes back as it was kept");
}

FUZZ_TARGET(words) {
  fuzz::reads([&] { (void)Words::parse(input, "fuzz.toml"); });
  (void)Words::filled(std::string(input), {{"name", "{name}"}, {"", "x"}});
}

// One character for the kind of step, then what is typed.
FUZZ_TARGET(answer) {
  static const Words words = Words::load("en");
  Step step;
  step.least = -10;
  step.most = 40;
  step.choices = {{"yes", "Yes"}, {"no", "No"}, {"not-needed", "Not needed"}};
  step.wrong = [](const std::string& s) { return s.size() > 5 ? "too long" : ""; };
  const char first = input.empty() ? '0' : input.front();
  step.optional = first >= 'a';
  step.kind = static_cast<StepKind>(static_cast<unsigned char>(first) % 6);
  const std::string typed(input.substr(input.empty() ? 0 : 1));
  const Accepted a = accept(step, typed, words);
  fuzz::require(a.answer || !a.complaint.empty(), "a refusal says what can be typed");
  if (a.answer && step.kind == StepKind::Number && !a.answer->empty()) {
    const double v = std::stod(*a.answer);
    fuzz::require(v >= step.least && v <= step.most, "a number inside its range");
  }
  if (a.answer && step.kind == StepKind::Tick) (void)ticks(*a.answer);
}
