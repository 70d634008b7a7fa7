#include "gather.hpp"

#include <algorithm>
#include <linebench/base/decibel.hpp>
#include <set>

namespace linebench::diagnose {
namespace {

std::string shown_number(const Sign& s, double value) {
  const double size = std::abs(value);
  const int decimals = s.scale == Scale::Count ? (size < 10 ? 1 : 0) : size >= 100 ? 0 : size >= 10 ? 1 : 2;
  return fmt::format("{:.{}f}{}{}", value, decimals, s.unit.empty() ? "" : " ", s.unit);
}

// A sign further from sound than this many standard deviations is odd.
constexpr double odd_from = 1.5;

// How far from sound, in standard deviations; what both sides mean the same for levels and counts is only
// upwards.
double oddness(const Sign& s, const Evidence& e) {
  if (s.scale == Scale::Words) {
    for (const auto& [word, share] : s.words) {
      if (word == e.word) return -std::log(std::max(share, 1e-6));
    }
    return 0;
  }
  const double d = (e.value - s.usual) / s.spread;
  return s.scale == Scale::Shift ? std::abs(d) : d;
}

}  // namespace

void Gatherer::offer(const Sign& sign, Evidence e, Support support) {
  offers_[sign.id].push_back({std::move(e), signal_, support});
}

void Gatherer::chosen_of(std::string_view sign, std::size_t places) { places_[std::string(sign)] = places; }

Evidence Gatherer::spokesman(const Sign& sign, const std::vector<Offer>& offers) const {
  const bool levels = sign.scale != Scale::Words && sign.scale != Scale::Shift;
  const bool good = std::ranges::any_of(offers, [](const Offer& o) { return o.support == Support::Good; });
  const Offer* best = nullptr;
  for (const Offer& o : offers) {
    if (good && o.support == Support::Weak) continue;
    if (best == nullptr) {
      best = &o;
      continue;
    }
    const Evidence& e = o.evidence;
    const Evidence& kept = best->evidence;
    // What is furthest from sound speaks. A bound says of a level how much may be there, of a shift how far
    // off it is at least. What was found and is odd is not hidden by a path where less could be seen.
    bool takes = levels ? e.value > kept.value : oddness(sign, e) > oddness(sign, kept);
    if (levels && e.at_most && kept.at_most && o.signal != best->signal) takes = e.value < kept.value;
    if (levels && e.at_most != kept.at_most) {
      const Evidence& found = e.at_most ? kept : e;
      if (oddness(sign, found) > odd_from) takes = kept.at_most;
    }
    if (takes) best = &o;
  }
  Evidence out = best->evidence;
  std::map<std::string, std::size_t> places;
  for (const Offer& o : offers) ++places[o.signal];
  std::size_t most = 1;
  for (const auto& [signal, n] : places) most = std::max(most, n);
  if (const auto it = places_.find(sign.id); it != places_.end()) most = it->second;
  out.among = static_cast<double>(most);
  return out;
}

void Gatherer::number(std::string_view id, double value, double u, const std::string& from,
                      const std::string& remark, Support support) {
  const Sign* s = book_.sign(id);
  if (s == nullptr || !std::isfinite(value)) return;
  Evidence e;
  e.sign = s->id;
  e.value = std::clamp(to_working(s->scale, value), s->low, s->high);
  u = std::isfinite(u) ? std::abs(u) : 0;
  // A size that does not stand out of its uncertainty says only that none is larger.
  if (s->scale == Scale::Amount && u > value) return bound(id, value + u, 0, from);
  switch (s->scale) {
    case Scale::Amount:
      e.sd = value > 0 ? 8.686 * 0.5 * u / value : 0;
      break;
    case Scale::Count:
      e.sd = 4.343 * 0.5 * u / (1 + value);
      break;
    default:
      e.sd = 0.5 * u;
  }
  e.shown = shown_number(*s, value) + (remark.empty() ? "" : " (" + remark + ")");
  e.from = from;
  offer(*s, std::move(e), support);
}

void Gatherer::at_least(std::string_view id, double value, double u, const std::string& from,
                        const std::string& remark, Support support) {
  number(id, value, u, from, remark, support);
  const auto offers = offers_.find(id);
  if (offers == offers_.end() || !std::isfinite(value)) return;
  Evidence& e = offers->second.back().evidence;
  e.at_least = true;
  e.shown = "at least " + e.shown;
}

void Gatherer::amount(std::string_view sign, const Readings& readings, std::string_view id,
                      const std::string& from) {
  if (const auto v = number_of(readings, id)) {
    number(sign, std::abs(v->value), v->u, from);
  } else if (const auto b = bound_of(readings, id)) {
    bound(sign, *b, 0, from);
  }
}

void Gatherer::bound(std::string_view id, double value, double u, const std::string& from,
                     const std::string& remark) {
  const Sign* s = book_.sign(id);
  if (s == nullptr || !std::isfinite(value)) return;
  Evidence e;
  e.sign = s->id;
  e.value = std::clamp(to_working(s->scale, value), s->low, s->high);
  e.at_most = true;
  e.sd = 0.5 * u;
  e.shown = "below " + shown_number(*s, value) + (remark.empty() ? "" : " (" + remark + ")");
  e.from = from;
  offer(*s, std::move(e));
}

void Gatherer::word(std::string_view id, const std::string& word, const std::string& from,
                    const std::string& remark) {
  const Sign* s = book_.sign(id);
  if (s == nullptr ||
      std::none_of(s->words.begin(), s->words.end(), [&](const auto& w) { return w.first == word; }))
    return;
  Evidence e;
  e.sign = s->id;
  e.word = word;
  e.shown = word + (remark.empty() ? "" : " (" + remark + ")");
  e.from = from;
  offer(*s, std::move(e));
}

std::vector<Evidence> Gatherer::in_book_order() const {
  std::vector<Evidence> out;
  for (const Sign& s : book_.signs) {
    if (const auto it = offers_.find(s.id); it != offers_.end()) out.push_back(spokesman(s, it->second));
  }
  // One faulty place is odd in several signs, and was still picked but once; and half of what goes wrong is
  // wrong in several places at once, so that the pick counts by its root.
  std::map<std::string, int> together;
  const auto picked = [&](const Evidence& e) {
    return e.among > 1 && !e.at_most && oddness(*book_.sign(e.sign), e) > odd_from;
  };
  for (const Evidence& e : out) together[e.from] += picked(e) ? 1 : 0;
  for (Evidence& e : out) {
    if (picked(e)) e.among = std::pow(e.among, 0.5 / together[e.from]);
  }
  return out;
}

std::optional<Number> number_of(const Readings& readings, std::string_view id) {
  const Reading* r = find_reading(readings, id);
  if (r == nullptr || !std::holds_alternative<double>(r->value)) return std::nullopt;
  return Number{r->number(), r->uncertainty.value_or(0)};
}

std::optional<Number> hum_frequency_of(const Readings& readings, const std::string& hum) {
  const Reading* level = find_reading(readings, hum + ".level");
  const bool doubtful =
      level != nullptr && level->measured() && level->number() < level->uncertainty.value_or(0);
  return doubtful ? std::nullopt : number_of(readings, hum + ".frequency");
}

std::optional<std::string> text_of(const Readings& readings, std::string_view id) {
  const Reading* r = find_reading(readings, id);
  if (r == nullptr || !std::holds_alternative<std::string>(r->value)) return std::nullopt;
  return r->text();
}

std::optional<double> bound_of(const Readings& readings, std::string_view id) {
  const Reading* r = find_reading(readings, id);
  return r != nullptr && !r->measured() ? r->at_most : std::nullopt;
}

std::vector<std::string> suffixes_of(const Capture& capture) {
  std::set<std::string> found;
  for (const Reading& r : capture.readings) {
    if (!r.id.starts_with("audio.") || r.id.starts_with("audio.pair.")) continue;
    const std::string last = r.id.substr(r.id.rfind('.'));
    const bool channel = last == ".left" || last == ".right" ||
                         (last.starts_with(".ch") && last.size() > 3 && last != ".chroma");
    found.insert(channel ? last : "");
  }
  if (found.size() > 1) found.erase("");  // readings of the whole beside those of its channels
  return {found.begin(), found.end()};
}

bool one_mains(double a_hz, double b_hz) {
  constexpr double most_apart_hz = 2;  // also between a generator's mains with load and without
  return std::abs(a_hz - b_hz) < most_apart_hz;
}

std::vector<std::string> remarks(const std::vector<Evidence>& evidence) {
  std::vector<std::string> out;
  bool grey = false;
  for (const Evidence& e : evidence) {
    grey = grey || ((e.sign == "video.colour" || e.sign == "picture.colour") && e.word == "none");
    const bool rolls =
        (e.sign == "video.lock" && e.word == "free") || (e.sign == "picture.lock" && e.word == "roll");
    if (!rolls || !out.empty()) continue;
    const auto open = e.shown.find('(');
    const std::string how =
        open == std::string::npos ? "" : " (" + e.shown.substr(open + 1, e.shown.size() - open - 2) + ")";
    out.push_back(fmt::format(
        "The camera is not locked to the mains, so a hum bar rolls{}: that is harmless by itself and says "
        "nothing against the camera. Look for the hum, and the bar goes with it.",
        how));
  }
  if (grey)
    out.push_back(
        "No colour comes. Is it a black-and-white camera, or one in night mode? Then that is right: say "
        "--observed \"camera-colour=black and white\".");
  return out;
}

bool one_and_the_same(const Capture& a, const Capture& b) {
  // A document holds a reading or two more than its capture, and its figures as they were written down.
  constexpr double as_written = 1e-6;
  constexpr int enough = 3;  // of the figures that no two captures share by chance
  int same = 0;
  for (const Reading& r : a.readings) {
    const Reading* other = find_reading(b.readings, r.id);
    if (other == nullptr || !std::holds_alternative<double>(r.value)) continue;
    if (!std::holds_alternative<double>(other->value) ||
        std::abs(other->number() - r.number()) > as_written * std::abs(r.number()))
      return false;
    same += r.uncertainty.value_or(0) > 0 ? 1 : 0;
  }
  return same >= enough;
}

namespace {

// The capture before this one that it is a copy of.
const Capture* original_of(const std::vector<Capture>& captures, std::size_t k) {
  for (std::size_t i = 0; i < k; ++i) {
    if (one_and_the_same(captures[i], captures[k])) return &captures[i];
  }
  return nullptr;
}

}  // namespace

namespace {

// Hum of two captures that no one mains makes.
std::string two_mains(const std::vector<Capture>& captures) {
  std::string first;
  double first_hz = 0;
  for (const Capture& c : captures) {
    for (const std::string hum : {"audio.hum", "video.hum", "picture.hum"}) {
      for (const std::string& suffix : hum == "audio.hum" ? suffixes_of(c) : std::vector<std::string>{""}) {
        const auto hz = hum == "audio.hum" ? number_of(c.readings, hum + ".frequency" + suffix)
                                           : hum_frequency_of(c.readings, hum);
        if (!hz) continue;
        if (first.empty()) {
          first = c.name;
          first_hz = hz->value;
        } else if (!one_mains(hz->value, first_hz)) {
          return fmt::format(
              "Hum at {:.2f} Hz in {} and at {:.2f} Hz in {}: no one mains makes both, so it is not one "
              "earth's or "
              "one supply's. Are these captures of one installation?",
              first_hz, first, hz->value, c.name);
        }
      }
    }
  }
  return {};
}

}  // namespace

std::vector<std::string> questions(const std::vector<Capture>& captures, const Site& site) {
  std::vector<std::string> out;
  if (std::string both = two_mains(captures); !both.empty()) out.push_back(std::move(both));
  for (std::size_t k = 0; k < captures.size(); ++k) {
    const Capture* first = original_of(captures, k);
    if (first != nullptr && first->name != captures[k].name)
      out.push_back(fmt::format("{} and {} are one and the same capture, which counts once.", first->name,
                                captures[k].name));
  }
  for (const Capture& c : captures) {
    if (const auto loss = loss_before(captures, c)) out.push_back(question_of(*loss));
    for (const std::string& suffix : suffixes_of(c))
      if (may_be_a_tone(c, suffix)) out.push_back(question_of_lone_line(c, suffix));
    const auto sides = text_of(c.readings, "audio.pair.sides");
    if (!site.sides.empty() || !c.facts.signal.empty() || !sides || *sides == "both" || *sides == "none")
      continue;
    out.push_back(
        *sides == "mono"
            ? fmt::format("{}: both channels carry the same. Right where mono is meant; where two sides "
                          "were promised say --sides two.",
                          c.name)
            : fmt::format("{}: {} carries sound. Right where one line was recorded; where two should "
                          "carry, say --sides two.",
                          c.name, *sides));
  }
  return out;
}

bool nothing_came_in(const Capture& capture) {
  bool asked = false;
  for (const Reading& r : capture.readings) {
    if (!r.id.starts_with("audio.level.rms")) continue;
    if (r.measured()) return false;
    asked = true;
  }
  return asked;
}

std::vector<Evidence> gather(const FaultBook& book, const std::vector<Capture>& all, const Site& site) {
  std::vector<Capture> captures;
  for (std::size_t k = 0; k < all.size(); ++k) {
    if (!nothing_came_in(all[k]) && original_of(all, k) == nullptr) captures.push_back(all[k]);
  }
  Gatherer out(book);
  gather_audio(captures, site, out);
  for (const Capture& c : captures) {
    out.begin(c.facts.signal);
    gather_video(c, site, out);
    gather_picture(c, site, out);
  }
  out.begin({});
  gather_shared(captures, out);
  return out.in_book_order();
}

}  // namespace linebench::diagnose
