// Isolation along a signal path: the segment a fault comes in at, and where to measure next.
#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <linebench/diagnose/compare.hpp>
#include <set>

#include "gather.hpp"
#include "toml_reader.hpp"

namespace linebench::diagnose {
namespace {

constexpr double sound_from = 0.5;   // probability of nothing wrong
constexpr double wrong_below = 0.2;  // between the two it is not decided

std::string listed(const std::vector<std::string>& names) {
  return fmt::format("{}", fmt::join(names, ", "));
}

}  // namespace

SignalPath parse_signal_path(std::string_view text, const std::string& file) {
  const TomlReader r(file);
  const toml::table root = r.parse(text);
  r.only(root, {"title", "part"});
  SignalPath path;
  path.title = r.text(root, "title");
  const auto* parts = root.get("part") != nullptr ? root.get("part")->as_array() : nullptr;
  if (parts == nullptr || parts->size() < 2)
    throw r.wrong(root.source(), "write [[part]] above each part, from source to receiver, two at least");
  for (const auto& node : *parts) {
    const toml::table& t = r.table(node, "[[part]]");
    r.only(t, {"name", "capture"});
    PathPart part{r.text(t, "name"), r.text(t, "capture", false)};
    if (std::any_of(path.parts.begin(), path.parts.end(),
                    [&](const PathPart& p) { return p.name == part.name; }))
      throw r.wrong(node.source(),
                    fmt::format("two parts are called \"{}\"; give each its own name", part.name));
    const auto shared = std::ranges::find_if(
        path.parts, [&](const PathPart& p) { return !part.capture.empty() && p.capture == part.capture; });
    if (shared != path.parts.end())
      throw r.wrong(
          node.source(),
          fmt::format("\"{}\" and \"{}\" have one capture, {}; give each the one taken where it ends",
                      shared->name, part.name, part.capture));
    path.parts.push_back(std::move(part));
  }
  return path;
}

Segment segment_of(const SignalPath& path, const std::vector<std::optional<double>>& nothing_wrong_at,
                   Reaches reaches) {
  int sound = -1;  // last part known to end sound before the first wrong one
  int wrong = -1;
  int sound_after = -1;  // a part further along that is sound all the same
  double nothing_wrong = 0;
  int measured = 0;
  for (std::size_t i = 0; i < path.parts.size(); ++i) {
    if (!nothing_wrong_at[i]) continue;
    ++measured;
    const double p = *nothing_wrong_at[i];
    if (wrong < 0 && p >= sound_from) {
      sound = static_cast<int>(i);
    } else if (wrong < 0) {
      wrong = static_cast<int>(i);
      nothing_wrong = p;
    } else if (p >= sound_from) {
      sound_after = static_cast<int>(i);
    }
  }
  Segment s;
  const auto name = [&](int i) { return path.parts[static_cast<std::size_t>(i)].name; };
  if (measured == 0) {
    s.measure_next = name(static_cast<int>(path.parts.size()) - 1);
    s.text =
        fmt::format("Nothing was measured along {}: begin at the end of {}.", path.title, s.measure_next);
    return s;
  }
  if (wrong < 0) {
    s.after_part = name(sound);
    const int last = static_cast<int>(path.parts.size()) - 1;
    for (int i = sound + 1; i <= last; ++i) s.between.push_back(name(i));
    if (s.between.empty()) {
      s.text = fmt::format("{} is good to its end.", path.title);
    } else {
      s.measure_next = name(last);
      s.text = fmt::format("Good up to the end of {}; not yet measured: {}. Measure at the end of {} next.",
                           s.after_part, listed(s.between), s.measure_next);
    }
    return s;
  }
  s.up_to_part = name(wrong);
  if (sound >= 0) s.after_part = name(sound);
  for (int i = sound + 1; i <= wrong; ++i) s.between.push_back(name(i));
  const bool sure = nothing_wrong < wrong_below;
  if (s.between.size() == 1) {
    const std::string leaves = sure ? "what leaves it is not" : "what leaves it seems not to be";
    s.text = fmt::format(
        "The fault {} in at {}: {}.", sure ? "comes" : "may come", s.between.front(),
        sound >= 0
            ? (reaches == Reaches::Good
                   ? "what reaches it is good, "
                   : "what reaches it has far less of it, to be looked at once this is put right, and ") +
                  leaves
            : leaves + " good, and nothing stands before it");
  } else {
    // Halfway between what is sound and what is not: each measurement leaves half.
    s.measure_next = name(sound + static_cast<int>(s.between.size()) / 2);
    s.text = fmt::format("The fault {} in at one of: {}. Measure at the end of {} next.",
                         sure ? "comes" : "may come", listed(s.between), s.measure_next);
  }
  if (!sure)
    s.text += fmt::format(
        " At the end of {} it is not decided (nothing wrong {:.0f} %): take a longer or another "
        "capture there.",
        s.up_to_part, 100 * nothing_wrong);
  if (sound_after >= 0)
    s.text += fmt::format(
        " But {}, further along, is good: the two do not fit. Check the order of the parts, which "
        "capture is which, and whether the fault comes and goes.",
        name(sound_after));
  return s;
}

namespace {

// What is found where one part ends.
struct Found {
  std::optional<double> nothing_wrong;
  std::string fault, label;        // the likeliest, where one stands out
  double probability = 0;          // its
  std::set<std::string> may_be{};  // all that it may be
  bool too_little = false;         // could not have shown a fault
};

Found found_at(const FaultBook& book, const std::vector<Capture>& line, const Capture& c, const Site& site) {
  Found f;
  if (nothing_came_in(c)) {
    f.nothing_wrong = 0;
    return f;
  }
  std::vector<Evidence> evidence;
  Options options;
  options.next_tests = false;
  if (const auto loss = loss_before(line, c)) {
    Gatherer lost(book);
    gather_loss(*loss, lost);
    evidence = lost.in_book_order();
    options.barred.insert("source");  // what left it was right
  }
  std::ranges::move(gather(book, {c}, site), std::back_inserter(evidence));
  const Diagnosis d = diagnose(book, evidence, options);
  // What could not have shown the fault says nothing of where it is.
  if (d.nothing_wrong < sound_from || shown_sound(d)) {
    f.nothing_wrong = d.nothing_wrong;
  } else {
    f.too_little = true;
  }
  for (const Finding& x : d.findings) {
    constexpr double worth_naming = 0.1;
    if (x.probability < worth_naming) break;
    if (f.may_be.empty()) {
      f.fault = x.fault;
      f.label = x.label;
      f.probability = x.probability;
    }
    f.may_be.insert(x.fault);
  }
  return f;
}

// The segment is that of what is found first along the path; what only comes further on is another fault.
std::string whose(const SignalPath& path, Segment& s, const std::vector<Found>& found) {
  const auto wrong = static_cast<std::size_t>(std::ranges::find(path.parts, s.up_to_part, &PathPart::name) -
                                              path.parts.begin());
  if (wrong >= found.size() || found[wrong].fault.empty()) return {};
  s.faults = found[wrong].may_be;
  // A name that is as likely wrong sends a person to the wrong place.
  constexpr double named_from = 0.7;
  std::string others;
  std::set<std::string> known = found[wrong].may_be;
  std::size_t last = wrong;
  for (std::size_t i = wrong + 1; i < found.size(); ++i) {
    const Found& f = found[i];
    if (!f.nothing_wrong) continue;
    const bool other = *f.nothing_wrong < wrong_below && !f.fault.empty() && !known.contains(f.fault);
    if (other)
      others +=
          fmt::format(" At the end of {} another is found{}: it comes in behind {}.", path.parts[i].name,
                      f.probability >= named_from ? ", " + f.label : "", path.parts[last].name);
    known.insert(f.may_be.begin(), f.may_be.end());
    last = i;
  }
  return others.empty() ? "" : fmt::format(" What is found there: {}.", found[wrong].label) + others;
}

}  // namespace

Segment locate(const FaultBook& book, const SignalPath& path, const std::vector<Capture>& captures,
               const Site& site) {
  std::vector<Capture> line;
  for (std::size_t i = 0; i < path.parts.size(); ++i) {
    const auto c = std::ranges::find(captures, path.parts[i].capture, &Capture::name);
    if (path.parts[i].capture.empty() || c == captures.end()) continue;
    line.push_back(*c);
    line.back().along_path = static_cast<int>(i) + 1;
  }
  std::vector<Found> found(path.parts.size());
  for (const Capture& c : line)
    found[static_cast<std::size_t>(c.along_path) - 1] = found_at(book, line, c, site);
  std::vector<std::optional<double>> nothing_wrong_at;
  std::vector<std::string> too_little;
  for (std::size_t i = 0; i < found.size(); ++i) {
    nothing_wrong_at.push_back(found[i].nothing_wrong);
    if (found[i].too_little) too_little.push_back(path.parts[i].name);
  }
  Segment s = segment_of(path, nothing_wrong_at);
  s.text += whose(path, s, found);
  if (!too_little.empty())
    s.text += fmt::format(
        " What was captured at the end of {} shows too little to be called good and is not counted: take it "
        "again there, the test tone or idle for 20 s (a picture: colour bars).",
        listed(too_little));
  return s;
}

}  // namespace linebench::diagnose
