// From what a person typed to what is stored.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <linebench/base/text.hpp>
#include <linebench/check/step.hpp>
#include <linebench/report/format.hpp>
#include <sstream>

namespace linebench::check {
namespace {

constexpr std::string_view skipped = "skipped";

// "skip", "skip REASON", or the stored form of either: the reason. Nothing for any other line.
std::optional<std::string> skip_typed(const std::string& text) {
  const std::string first = lower_case(text.substr(0, text.find_first_of(" :")));
  if (first != "skip" && first != skipped) return std::nullopt;
  const auto reason = text.find_first_not_of(" :", first.size());
  return reason == std::string::npos ? std::string() : text.substr(reason);
}

Accepted skip(const Step& step, const std::string& reason, const Words& words) {
  if (!step.optional && !step.reasoned) return {std::nullopt, words.text("say-needed")};
  if (!step.optional && reason.empty()) return {std::nullopt, words.text("say-skip-why")};
  return {std::string(skipped) + (reason.empty() ? "" : ": " + reason), {}};
}

// A comma may stand for the decimal point.
std::optional<double> number_of(std::string text) {
  std::replace(text.begin(), text.end(), ',', '.');
  double v = 0;
  const auto end = std::from_chars(text.data(), text.data() + text.size(), v);
  if (end.ec != std::errc() || end.ptr != text.data() + text.size()) return std::nullopt;
  return v;
}

// As its text is; else the only one whose text starts so, or in which a word does.
const Choice* by_text(const std::vector<Choice>& choices, const std::string& text) {
  constexpr std::size_t least = 3;
  if (text.size() < least) return nullptr;
  std::vector<const Choice*> starts, holds;
  for (const Choice& c : choices) {
    const std::string said = " " + lower_case(c.text);
    const auto at = said.find(" " + text);
    if (said.substr(1) == text) return &c;
    if (at == 0) starts.push_back(&c);
    if (at != std::string::npos) holds.push_back(&c);
  }
  const auto& fit = starts.empty() ? holds : starts;
  return fit.size() == 1 ? fit.front() : nullptr;
}

// By its place, its word, the start of the word where only one starts so, or what stands beside it.
const Choice* pick(const std::vector<Choice>& choices, const std::string& typed) {
  const std::string text = lower_case(typed);
  for (const Choice& c : choices) {
    if (lower_case(c.word) == text) return &c;
  }
  std::size_t place = 0;
  const auto end = std::from_chars(text.data(), text.data() + text.size(), place);
  if (end.ec == std::errc() && end.ptr == text.data() + text.size()) {
    return place >= 1 && place <= choices.size() ? &choices[place - 1] : nullptr;
  }
  const Choice* found = nullptr;
  for (const Choice& c : choices) {
    if (!text.empty() && lower_case(c.word).starts_with(text)) {
      if (found != nullptr) return nullptr;
      found = &c;
    }
  }
  return found != nullptr ? found : by_text(choices, text);
}

Accepted ticked(const Step& step, const std::string& typed, const Words& words) {
  std::vector<std::string> states(step.choices.size(), "open");
  std::string spaced = typed;
  std::replace(spaced.begin(), spaced.end(), ',', ' ');
  std::istringstream in(spaced);
  for (std::string word; in >> word;) {
    // "word=done" is the stored form, so that an answer read back from a file is taken as well.
    std::string state = "done";
    if (const auto eq = word.find('='); eq != std::string::npos) {
      state = word.substr(eq + 1) == "not-needed" ? "not needed" : word.substr(eq + 1);
      word.resize(eq);
    } else if (word.size() > 1 && word.front() == '-') {
      state = "not needed";
      word.erase(0, 1);
    }
    if (lower_case(word) == "all") {
      std::fill(states.begin(), states.end(), "done");
      continue;
    }
    if (lower_case(word) == "none") continue;
    const Choice* c = pick(step.choices, word);
    if (c == nullptr || (state != "done" && state != "not needed" && state != "open"))
      return {std::nullopt, words.text("say-ticks", {{"typed", word}})};
    states[static_cast<std::size_t>(c - step.choices.data())] = state;
  }
  std::string answer;
  for (std::size_t i = 0; i < states.size(); ++i) {
    answer += fmt::format("{}{}={}", i == 0 ? "" : " ", step.choices[i].word,
                          states[i] == "not needed" ? "not-needed" : states[i]);
  }
  return {answer, {}};
}

}  // namespace

Accepted accept(const Step& step, const std::string& typed, const Words& words) {
  const std::string text = trimmed(typed);
  const std::string& given = text.empty() ? step.otherwise : text;
  if (given.empty()) {
    if (step.kind == StepKind::Capture && step.optional) return {std::string(skipped), {}};
    if (step.optional) return {std::string(), {}};
    return {std::nullopt, words.text(step.kind == StepKind::Capture  ? "say-file"
                                     : step.kind == StepKind::Choose ? "say-pick"
                                     : step.kind == StepKind::Tick   ? "say-tick"
                                                                     : "say-something",
                                     {{"most", std::to_string(step.choices.size())}})};
  }
  switch (step.kind) {
    case StepKind::Choose: {
      const Choice* c = pick(step.choices, given);
      if (c != nullptr) return {c->word, {}};
      std::vector<std::string> known;
      for (const Choice& x : step.choices) known.push_back(x.word);
      return {std::nullopt, words.text("say-choice", {{"typed", given},
                                                      {"most", std::to_string(step.choices.size())},
                                                      {"words", fmt::format("{}", fmt::join(known, ", "))}})};
    }
    case StepKind::Number: {
      const auto v = number_of(given);
      if (v && *v >= step.least && *v <= step.most) return {fmt::format("{}", *v), {}};
      return {std::nullopt, words.text("say-number", {{"typed", given},
                                                      {"least", fmt::format("{:g}", step.least)},
                                                      {"most", fmt::format("{:g}", step.most)}})};
    }
    case StepKind::Meter:
      if (std::string complaint = step.wrong ? step.wrong(given) : std::string(); !complaint.empty())
        return {std::nullopt, std::move(complaint)};
      return {given, {}};
    case StepKind::Tick:
      return ticked(step, given, words);
    case StepKind::Capture:
      if (const auto reason = skip_typed(given)) return skip(step, *reason, words);
      return {given, {}};
    case StepKind::Text:
      if (const std::size_t n = report::text_width(given); n > step.longest)
        return {std::nullopt,
                words.text("say-long", {{"n", std::to_string(n)}, {"most", std::to_string(step.longest)}})};
      break;
    case StepKind::Finish:
      break;
  }
  return {given, {}};
}

bool is_skipped(const std::string& answer) {
  return answer == skipped || answer.starts_with(std::string(skipped) + ": ");
}

std::string skip_reason(const std::string& answer) {
  return is_skipped(answer) ? skip_typed(answer).value_or("") : std::string();
}

std::vector<std::pair<std::string, std::string>> ticks(const std::string& answer) {
  std::vector<std::pair<std::string, std::string>> out;
  std::istringstream in(answer);
  for (std::string word; in >> word;) {
    const auto eq = word.find('=');
    if (eq == std::string::npos) continue;
    const std::string state = word.substr(eq + 1);
    out.emplace_back(word.substr(0, eq), state == "not-needed" ? "not needed" : state);
  }
  return out;
}

}  // namespace linebench::check
