#include <algorithm>
#include <array>
#include <linebench/base/json_text.hpp>
#include <linebench/check/finished.hpp>
#include <nlohmann/json.hpp>

namespace linebench::check {
namespace {

using nlohmann::json;
using report::Mark;
using report::Weight;

template <typename Value>
struct Word {
  Value value;
  const char* word;
};
constexpr std::array<Word<Weight>, 4> weights = {
    {{Weight::Stop, "stop"}, {Weight::Change, "change"}, {Weight::Note, "note"}, {Weight::Good, "good"}}};
// What is neither passed nor failed is not decided.
constexpr std::array<Word<Mark>, 3> marks = {
    {{Mark::Incomplete, "incomplete"}, {Mark::Pass, "pass"}, {Mark::Fail, "fail"}}};

template <typename Value, std::size_t N>
const char* word_of(const std::array<Word<Value>, N>& words, Value value) {
  for (const auto& w : words) {
    if (w.value == value) return w.word;
  }
  return words.front().word;
}

template <typename Value, std::size_t N>
Value value_of(const std::array<Word<Value>, N>& words, const std::string& word) {
  for (const auto& w : words) {
    if (word == w.word) return w.value;
  }
  return words.front().value;
}

const std::string& kept_key() {
  static const std::string key = "outcome" + std::string(kept_text);
  return key;
}

}  // namespace

json outcome_to_json(const report::Outcome& o) {
  json points = json::array();
  for (const report::Point& p : o.points) {
    points.push_back({{"weight", word_of(weights, p.weight)},
                      {"what", p.what},
                      {"why", p.why},
                      {"do", p.action},
                      {"caution", p.caution}});
  }
  return {{"verdict", word_of(marks, o.mark)}, {"headline", o.headline}, {"points", std::move(points)}};
}

void finish(job::Store& store, const job::Job& job, const std::string& result, const report::Outcome& o) {
  json kept = outcome_to_json(o);
  kept["result"] = result;
  store.answer(job, kept_key(), json_text(kept));
  store.finish(job, result);
}

std::optional<report::Outcome> finished_with(const Work& work) {
  const std::string* text = work.answer(kept_key());
  if (!work.job.done || text == nullptr) return std::nullopt;
  try {
    const json j = json::parse(*text);
    if (j.at("result") != work.job.outcome) return std::nullopt;
    report::Outcome o{value_of(marks, j.at("verdict")), j.at("headline"), {}};
    for (const json& p : j.at("points"))
      o.points.push_back(
          {value_of(weights, p.at("weight")), p.at("what"), p.at("why"), p.at("do"), p.at("caution")});
    return o;
  } catch (const json::exception&) {
    return std::nullopt;
  }
}

}  // namespace linebench::check
