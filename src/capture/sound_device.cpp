#include <fmt/format.h>
#include <fmt/ranges.h>

#include <linebench/base/error.hpp>
#include <linebench/base/text.hpp>
#include <linebench/capture/sound_device.hpp>

namespace linebench::capture {
namespace {

std::string_view word(Direction d) { return d == Direction::Input ? "input" : "output"; }

using Found = std::vector<const SoundDevice*>;

template <typename Fits>
Found matching(std::span<const SoundDevice> devices, Fits&& fits) {
  Found found;
  for (const SoundDevice& d : devices) {
    if (fits(d)) found.push_back(&d);
  }
  return found;
}

/// Exact identity before exact name before part of the identity: a device whose name is part of another's can
/// be named.
Found best_matches(std::span<const SoundDevice> devices, std::string_view text) {
  const std::string want = lower_case(text);
  if (Found f = matching(devices, [&](const SoundDevice& d) { return lower_case(d.identity()) == want; });
      !f.empty())
    return f;
  if (Found f = matching(devices, [&](const SoundDevice& d) { return lower_case(d.name) == want; });
      !f.empty())
    return f;
  return matching(devices, [&](const SoundDevice& d) {
    return lower_case(d.identity()).find(want) != std::string::npos;
  });
}

std::string listed(const Found& found) {
  std::vector<std::string> names;
  names.reserve(found.size());
  for (const SoundDevice* d : found) names.push_back(fmt::format("\"{}\"", d->identity()));
  return fmt::format("{}", fmt::join(names, ", "));
}

}  // namespace

bool SoundDevice::direct() const {
  if (host_api != "ALSA") return host_api == "JACK";
  return name.find("(hw:") != std::string::npos || name.rfind("hw:", 0) == 0;
}

const SoundDevice& choose_device(std::span<const SoundDevice> devices, std::string_view text,
                                 Direction direction) {
  if (devices.empty()) throw unusable(std::string(no_sound_device));
  if (text.empty()) throw bad_usage("no device named; `linebench devices` lists them");
  const Found found = best_matches(devices, text);
  if (found.empty()) {
    const Found able = matching(devices, [&](const SoundDevice& d) { return d.channels(direction) > 0; });
    throw unusable(fmt::format("no sound device fits \"{}\"; with an {} there {}", text, word(direction),
                               able.empty() ? "is none" : "are: " + listed(able)));
  }
  Found able = found;
  std::erase_if(able, [&](const SoundDevice* d) { return d->channels(direction) == 0; });
  if (able.empty()) {
    throw unusable(fmt::format("{} has no {}; choose a device that has one (`linebench devices` lists them)",
                               listed(found), word(direction)));
  }
  if (able.size() > 1) {
    throw bad_usage(
        fmt::format("\"{}\" fits {} devices; name one of them: {}", text, able.size(), listed(able)));
  }
  return *able.front();
}

}  // namespace linebench::capture
