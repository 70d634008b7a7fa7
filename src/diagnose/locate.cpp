// Isolation along a signal path: the segment a fault comes in at, and where to measure next.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/diagnose/compare.hpp>

#include "toml_reader.hpp"

namespace linebench::diagnose {
namespace {

constexpr double sound_from = 0.5;  // probability of nothing wrong

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
    path.parts.push_back(std::move(part));
  }
  return path;
}

Segment locate(const FaultBook& book, const SignalPath& path, const std::vector<Capture>& captures,
               const Site& site) {
  Options options;
  options.next_tests = false;
  int sound = -1;  // last part known to end sound before the first wrong one
  int wrong = -1;
  int measured = 0;
  for (std::size_t i = 0; i < path.parts.size(); ++i) {
    const auto c = std::find_if(captures.begin(), captures.end(), [&](const Capture& x) {
      return !path.parts[i].capture.empty() && x.name == path.parts[i].capture;
    });
    if (c == captures.end()) continue;
    ++measured;
    if (!nothing_came_in(*c) &&
        diagnose(book, gather(book, {*c}, site), options).nothing_wrong >= sound_from) {
      sound = static_cast<int>(i);
    } else {
      wrong = static_cast<int>(i);
      break;
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
      s.text = fmt::format("{} is sound to its end.", path.title);
    } else {
      s.measure_next = name(last);
      s.text = fmt::format("Sound up to the end of {}; not yet measured: {}. Measure at the end of {} next.",
                           s.after_part, listed(s.between), s.measure_next);
    }
    return s;
  }
  s.up_to_part = name(wrong);
  if (sound >= 0) s.after_part = name(sound);
  for (int i = sound + 1; i <= wrong; ++i) s.between.push_back(name(i));
  if (s.between.size() == 1) {
    s.text = fmt::format("The fault comes in at {}: {}.", s.between.front(),
                         sound >= 0 ? "what reaches it is sound, what leaves it is not"
                                    : "what leaves it is not sound, and nothing stands before it");
    return s;
  }
  // Halfway between what is sound and what is not: each measurement leaves half.
  s.measure_next = name(sound + static_cast<int>(s.between.size()) / 2);
  s.text = fmt::format("The fault comes in at one of: {}. Measure at the end of {} next.", listed(s.between),
                       s.measure_next);
  return s;
}

}  // namespace linebench::diagnose
