// Signs, trials and captures of the book: signals/faults/signs.toml.
#include <algorithm>
#include <linebench/diagnose/fault_book.hpp>

#include "book_readers.hpp"

namespace linebench::diagnose {
namespace {

Scale scale_of(const TomlReader& r, const toml::table& t) {
  const std::string name = r.text(t, "scale");
  if (name == "decibel") return Scale::Decibel;
  if (name == "amount") return Scale::Amount;
  if (name == "count") return Scale::Count;
  if (name == "shift") return Scale::Shift;
  if (name == "words") return Scale::Words;
  throw r.wrong(t.get("scale")->source(), "\"scale\" must be decibel, amount, count, shift or words");
}

Trial read_trial(const TomlReader& r, const toml::table& t) {
  Trial trial;
  trial.minutes = r.number(t, "minutes", std::nullopt);
  if (!(trial.minutes > 0)) throw r.wrong(t.source(), "\"minutes\" must be above 0");
  trial.how = r.text(t, "how");
  trial.caution = r.text(t, "caution", false);
  trial.medium = r.text(t, "medium", false);
  if (!trial.medium.empty() && trial.medium != "sound" && trial.medium != "picture")
    throw r.wrong(t.get("medium")->source(), "\"medium\" must be sound or picture");
  trial.typed_unit = r.text(t, "typed", false);
  trial.uncertainty = r.number(t, "uncertainty", 0.0);
  if (const toml::node* n = t.get("expected")) trial.needs_expected = n->value_or(false);
  return trial;
}

Sign read_sign(const TomlReader& r, const toml::table& t) {
  r.only(t, {"id",       "label", "unit",       "family",  "scale",   "usual", "spread",
             "span",     "words", "minutes",    "how",     "caution", "typed", "uncertainty",
             "expected", "asked", "carried",    "certain", "warning", "fine",  "open",
             "of",       "reads", "told_below", "alone",   "medium"});
  Sign s;
  s.id = r.text(t, "id");
  s.label = r.text(t, "label");
  s.unit = r.text(t, "unit", false);
  s.family = r.text(t, "family");
  s.scale = scale_of(r, t);
  if (s.scale == Scale::Words) {
    const toml::node* words = t.get("words");
    if (words == nullptr) throw r.wrong(t.source(), "\"words\" is missing; e.g. {same = 0.95, gone = 0.05}");
    double sum = 0;
    for (const auto& [word, share] : r.table(*words, "\"words\"")) {
      s.words.emplace_back(std::string(word.str()), r.number(share, word.str()));
      sum += s.words.back().second;
    }
    if (!(sum > 0)) throw r.wrong(words->source(), "the shares must be above 0");
    if (const toml::node* open = t.get("open")) {
      for (const auto& [word, how] : r.table(*open, "\"open\"")) {
        if (std::ranges::none_of(s.words, [&, w = word.str()](const auto& p) { return p.first == w; }))
          throw r.wrong(word.source(), fmt::format("\"{}\" is no word of {}", word.str(), s.id));
        s.open[std::string(word.str())] = how.value_or(std::string{});
      }
    }
    for (auto& [word, share] : s.words) share /= sum;
    if (t.contains("of")) s.of = r.words(t, "of");
    s.alone = r.text(t, "alone", false);
    if (!s.alone.empty() && std::ranges::none_of(s.words, [&](const auto& p) { return p.first == s.alone; }))
      throw r.wrong(t.get("alone")->source(), fmt::format("\"{}\" is no word of {}", s.alone, s.id));
  } else {
    s.usual = to_working(s.scale, r.number(t, "usual", std::nullopt));
    s.spread = r.number(t, "spread", std::nullopt);
    const toml::node* span = t.get("span");
    const auto* ends = span != nullptr ? span->as_array() : nullptr;
    if (ends == nullptr || ends->size() != 2) throw r.wrong(t.source(), "\"span\" must be [least, most]");
    s.low = to_working(s.scale, r.number(*ends->get(0), "span"));
    s.high = to_working(s.scale, r.number(*ends->get(1), "span"));
    if (!(s.low < s.high)) throw r.wrong(span->source(), "\"span\" must go upwards");
    if (!(s.usual >= s.low && s.usual <= s.high))
      throw r.wrong(t.source(), "\"usual\" must lie within \"span\"");
    const double width = s.high - s.low;
    if (!(s.spread >= 1e-4 * width && s.spread <= width))
      throw r.wrong(t.source(), fmt::format("\"spread\" must be above 0 and {:g} at most", width));
    s.fine_low = s.fine_high = s.usual;
    if (t.contains("told_below")) s.told_below = to_working(s.scale, r.number(t, "told_below", std::nullopt));
    if (const toml::node* fine = t.get("fine")) {
      const auto* range = fine->as_array();
      if (range == nullptr || range->size() != 2)
        throw r.wrong(fine->source(), "\"fine\" must be [least, most]");
      s.fine_low = to_working(s.scale, r.number(*range->get(0), "fine"));
      s.fine_high = to_working(s.scale, r.number(*range->get(1), "fine"));
      if (!(s.fine_low <= s.usual && s.usual <= s.fine_high))
        throw r.wrong(fine->source(), "\"usual\" must lie within \"fine\"");
    }
  }
  if (t.contains("reads")) s.reads = r.words(t, "reads");
  if (const toml::node* n = t.get("asked")) s.asked = n->value_or(false);
  if (const toml::node* n = t.get("certain")) s.certain = n->value_or(false);
  if (const toml::node* n = t.get("carried")) s.carried = n->value_or(false);
  if (t.contains("minutes")) s.trial = read_trial(r, t);
  if (const toml::node* n = t.get("warning")) {
    if (!s.trial || s.scale == Scale::Words)
      throw r.wrong(n->source(), "\"warning\" goes with a value that a person meters");
    const toml::table& w = r.table(*n, "\"warning\"");
    r.only(w, {"above", "text", "first"});
    s.trial->warning = Warning{to_working(s.scale, r.number(w, "above", std::nullopt)), r.text(w, "text"),
                               r.text(w, "first", false)};
  }
  return s;
}

}  // namespace

void read_signs(const TomlReader& r, std::string_view text, FaultBook& book) {
  const toml::table root = r.parse(text);
  r.only(root, {"sign", "capture"});
  const auto* signs = root.get("sign") != nullptr ? root.get("sign")->as_array() : nullptr;
  if (signs == nullptr) throw r.wrong(root.source(), "there is no [[sign]]");
  for (const auto& node : *signs) {
    Sign s = read_sign(r, r.table(node, "[[sign]]"));
    if (book.index.contains(s.id)) {
      book.signs[static_cast<std::size_t>(book.index.at(s.id))] = std::move(s);
      continue;
    }
    book.index[s.id] = static_cast<int>(book.signs.size());
    book.signs.push_back(std::move(s));
  }
  const auto* captures = root.get("capture") != nullptr ? root.get("capture")->as_array() : nullptr;
  if (captures == nullptr) return;
  for (const auto& node : *captures) {
    const toml::table& t = r.table(node, "[[capture]]");
    r.only(t, {"id", "label", "how", "caution", "prefix", "minutes"});
    book.captures.push_back({r.text(t, "id"), r.text(t, "label"), r.text(t, "how"),
                             r.text(t, "caution", false), r.text(t, "prefix"),
                             r.number(t, "minutes", std::nullopt)});
  }
}

}  // namespace linebench::diagnose
