#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <linebench/base/error.hpp>
#include <linebench/base/text.hpp>
#include <linebench/capture/grabber.hpp>

namespace linebench::capture {
namespace {

bool has(std::string_view text, std::string_view part) {
  return lower_case(text).find(lower_case(part)) != std::string::npos;
}

bool composite(const GrabberInput& i) { return has(i.name, "composite") || has(i.name, "cvbs"); }

}  // namespace

std::string_view to_string(SignalState s) {
  switch (s) {
    case SignalState::Unknown:
      return "unknown";
    case SignalState::Present:
      return "present";
    case SignalState::None:
      return "none";
    case SignalState::NoLock:
      return "no lock";
  }
  return "unknown";
}

bool Grabber::sends(std::string_view fourcc) const {
  return std::find(formats.begin(), formats.end(), fourcc) != formats.end();
}

const Grabber& choose_grabber(std::span<const Grabber> grabbers, std::string_view text) {
  if (grabbers.empty()) throw unusable(std::string(no_grabber));
  std::vector<const Grabber*> found;
  for (const Grabber& g : grabbers)
    if (g.path == text || lower_case(g.identity()) == lower_case(text) ||
        lower_case(g.name) == lower_case(text))
      found.push_back(&g);
  if (found.empty()) {
    for (const Grabber& g : grabbers)
      if (has(g.identity(), text)) found.push_back(&g);
  }
  if (found.empty()) {
    std::vector<std::string> names;
    for (const Grabber& g : grabbers) names.push_back(fmt::format("\"{}\" ({})", g.identity(), g.path));
    throw unusable(fmt::format("no grabber fits \"{}\"; there {}: {}", text, names.size() == 1 ? "is" : "are",
                               fmt::join(names, ", ")));
  }
  if (found.size() > 1) {
    std::vector<std::string> names;
    for (const Grabber* g : found) names.push_back(fmt::format("{} (\"{}\")", g->path, g->identity()));
    throw bad_usage(fmt::format("\"{}\" fits {} grabbers; name one by its node: {}", text, found.size(),
                                fmt::join(names, ", ")));
  }
  return *found.front();
}

const GrabberInput& choose_input(const Grabber& g, std::string_view text) {
  if (g.inputs.empty()) throw unusable(fmt::format("{}: the driver shows no input", g.identity()));
  std::vector<std::string> names;
  for (const GrabberInput& i : g.inputs) names.push_back(fmt::format("{} {}", i.index, i.name));
  if (!text.empty()) {
    for (const GrabberInput& i : g.inputs)
      if (std::to_string(i.index) == text || lower_case(i.name) == lower_case(text)) return i;
    std::vector<const GrabberInput*> found;
    for (const GrabberInput& i : g.inputs)
      if (has(i.name, text)) found.push_back(&i);
    if (found.size() == 1) return *found.front();
    throw bad_usage(fmt::format("--input {}: fits {} inputs; {} has {}", text,
                                found.empty() ? "no" : "several", g.identity(), fmt::join(names, ", ")));
  }
  const auto first = [&](auto&& fits) { return std::find_if(g.inputs.begin(), g.inputs.end(), fits); };
  auto it = first([](const GrabberInput& i) { return composite(i) && i.signal == SignalState::Present; });
  if (it == g.inputs.end()) it = first([](const GrabberInput& i) { return composite(i); });
  if (it == g.inputs.end())
    it = first([](const GrabberInput& i) { return (i.has_525 || i.has_625) && !has(i.name, "tv"); });
  if (it == g.inputs.end()) it = g.inputs.begin();
  return *it;
}

}  // namespace linebench::capture
