// One fault's entry.
#include <linebench/diagnose/fault_book.hpp>
#include <set>

#include "book_readers.hpp"

namespace linebench::diagnose {
namespace {

Effect read_effect(const TomlReader& r, std::string_view id, const toml::node& node, const FaultBook& book) {
  const Sign* sign = book.sign(id);
  if (sign == nullptr)
    throw r.wrong(node.source(), fmt::format("no sign is called \"{}\"; see signals/faults/signs.toml", id));
  const toml::table& t = r.table(node, fmt::format("\"{}\"", id));
  Effect e;
  e.sign = id;
  e.above = r.share(t, "above", 0.0);
  if (sign->scale == Scale::Words) {
    e.word_share = 0;
    for (const auto& [word, share] : t) {
      if (word.str() == "above") continue;
      const bool known = std::any_of(sign->words.begin(), sign->words.end(),
                                     [&, w = word.str()](const auto& p) { return p.first == w; });
      if (!known) throw r.wrong(word.source(), fmt::format("\"{}\" is no word of {}", word.str(), id));
      e.words.emplace_back(std::string(word.str()), r.number(share, word.str()));
      if (!(e.words.back().second >= 0)) throw r.wrong(word.source(), "a share must be 0 or more");
      e.word_share += e.words.back().second;
    }
    if (e.words.empty() || e.word_share > 1.0001)
      throw r.wrong(node.source(), "the words' shares must be there and sum to 1 at most");
    return e;
  }
  r.only(t, {"from", "to", "spread", "above"});
  const double from = r.number(t, "from", std::nullopt);
  const double to = r.number(t, "to", from);
  if (sign->scale == Scale::Amount && !(from > 0 && to > 0))
    throw r.wrong(node.source(), fmt::format("{} is a size: \"from\" and \"to\" must be above 0", id));
  // What a fault adds to a count is itself a count, so nought means that it adds none.
  const auto working = [&](double v) {
    return sign->scale == Scale::Count ? 10 * std::log10(std::max(v, 1e-3)) : to_working(sign->scale, v);
  };
  e.from = working(from);
  e.to = working(to);
  // A departure may go as far as the span is wide, from wherever the usual lies.
  const double width = sign->high - sign->low;
  const bool shift = sign->scale == Scale::Shift;
  const double least = shift ? -width : sign->scale == Scale::Count ? working(0) : sign->low;
  const double most = shift ? width : sign->high;
  for (const auto& [name, value] : {std::pair{"from", e.from}, {"to", e.to}}) {
    if (!(value >= least && value <= most))
      throw r.wrong(node.source(),
                    fmt::format("\"{}\" of {} lies outside what it can be ({:g} to {:g}{}{})", name, id,
                                shift ? -width : from_working(sign->scale, sign->low),
                                shift ? width : from_working(sign->scale, sign->high),
                                sign->unit.empty() ? "" : " ", sign->unit));
  }
  e.spread = r.number(t, "spread", std::nullopt);
  // Narrower or wider than this it is a slip, and no density could be worked out.
  if (!(e.spread >= 1e-4 * width && e.spread <= width))
    throw r.wrong(node.source(), fmt::format("\"spread\" of {} must be above 0 and {:g} at most", id, width));
  return e;
}

std::vector<Effect> read_effects(const TomlReader& r, const toml::table& owner, const FaultBook& book) {
  std::vector<Effect> out;
  const toml::node* node = owner.get("effects");
  if (node == nullptr) return out;
  for (const auto& [id, effect] : r.table(*node, "\"effects\""))
    out.push_back(read_effect(r, id.str(), effect, book));
  return out;
}

// How often a fault that a person finds on the wire leaves no trace in what was captured: of another line, at
// another time, or while nothing leaned on what is broken. The project's estimate.
constexpr double traceless_share = 0.05;

// One more way for every fault: a person who looks or meters finds it, and the captures do not. What captures
// show goes from the whole fault to its other ways.
void add_traceless(Fault& f, double share, const FaultBook& book) {
  const auto by_person = [&](const Effect& e) { return book.sign(e.sign)->trial.has_value(); };
  const auto has = [](const std::vector<Effect>& list, const std::string& sign) {
    return std::ranges::any_of(list, [&](const Effect& e) { return e.sign == sign; });
  };
  Variant traceless{"found by a person, and no trace of it captured", share, {}, true};
  std::vector<Effect> common;
  for (Effect& e : f.effects) {
    if (by_person(e)) {
      common.push_back(std::move(e));
      continue;
    }
    for (Variant& v : f.variants) {
      if (!has(v.effects, e.sign)) v.effects.push_back(e);
    }
  }
  f.effects = std::move(common);
  for (Variant& v : f.variants) {
    v.share *= 1 - share;
    for (const Effect& e : v.effects) {
      if (by_person(e) && !has(f.effects, e.sign) && !has(traceless.effects, e.sign))
        traceless.effects.push_back(e);
    }
  }
  f.variants.push_back(std::move(traceless));
}

const std::set<std::string, std::less<>> known_views = {"audio",   "waveform", "lowband",
                                                        "picture", "meter",    "eye"};

}  // namespace

Fault parse_fault(std::string_view text, const std::string& id, const std::string& file,
                  const FaultBook& book) {
  const TomlReader r(file);
  const toml::table t = r.parse(text);
  r.only(t, {"label", "what", "group", "prior", "views", "test", "tell_apart", "remedy", "caution", "source",
             "detection", "detection_text", "dangerous", "excludes", "traceless", "place", "effects",
             "variant"});
  Fault f;
  f.id = id;
  f.label = r.text(t, "label");
  f.what = r.text(t, "what");
  f.group = r.text(t, "group");
  f.place = r.text(t, "place", false);
  static constexpr std::string_view places[] = {"source", "source or unit", "cable", "unit", "recorder"};
  if (!f.place.empty() && std::ranges::find(places, f.place) == std::end(places))
    throw r.wrong(
        t.get("place")->source(),
        "\"place\" is \"source\", \"source or unit\", \"cable\", \"unit\" or \"recorder\", or left out");
  f.prior = r.share(t, "prior", std::nullopt);
  if (!(f.prior > 0 && f.prior < 0.5))
    throw r.wrong(t.get("prior")->source(), "\"prior\" must lie between 0 and 0.5");
  f.views = r.words(t, "views");
  for (const auto& v : f.views) {
    if (!known_views.contains(v))
      throw r.wrong(t.get("views")->source(),
                    fmt::format("\"{}\" is no view; known: {}", v, fmt::join(known_views, ", ")));
  }
  if (t.contains("excludes")) f.excludes = r.words(t, "excludes");
  f.test = r.text(t, "test");
  const Sign* test = book.sign(f.test);
  if (test == nullptr || !test->trial)
    throw r.wrong(t.get("test")->source(), fmt::format("\"{}\" is no trial of signs.toml", f.test));
  f.tell_apart = r.text(t, "tell_apart");
  f.remedy = r.text(t, "remedy");
  f.caution = r.text(t, "caution", false);
  if (const toml::node* n = t.get("dangerous")) f.dangerous = n->value_or(false);
  f.source = r.text(t, "source");
  f.detection = r.share(t, "detection", 0.3);
  f.detection_text = r.text(t, "detection_text", false);
  f.effects = read_effects(r, t, book);
  if (const toml::node* node = t.get("variant")) {
    const auto* list = node->as_array();
    if (list == nullptr) throw r.wrong(node->source(), "write [[variant]] above each variant");
    double sum = 0;
    for (const auto& item : *list) {
      const toml::table& v = r.table(item, "[[variant]]");
      r.only(v, {"name", "share", "effects"});
      f.variants.push_back({r.text(v, "name"), r.share(v, "share", std::nullopt), read_effects(r, v, book)});
      sum += f.variants.back().share;
    }
    if (!(sum > 0)) throw r.wrong(node->source(), "the variants' shares must be above 0");
    for (Variant& v : f.variants) v.share /= sum;
  } else {
    f.variants.push_back({"", 1.0, {}});
  }
  if (f.effects.empty() &&
      std::all_of(f.variants.begin(), f.variants.end(), [](const Variant& v) { return v.effects.empty(); }))
    throw r.wrong(t.source(), "the fault has no effects, so nothing could ever show it; add [effects]");
  const double traceless = r.share(t, "traceless", traceless_share);
  if (!(traceless < 1)) throw r.wrong(t.get("traceless")->source(), "\"traceless\" must lie below 1");
  add_traceless(f, traceless, book);
  return f;
}

}  // namespace linebench::diagnose
