#include <algorithm>
#include <cctype>
#include <linebench/base/catalogue.hpp>
#include <vector>

namespace linebench {
namespace {

struct Parsed {
  std::string_view base;     // id without the channel suffix
  std::string_view channel;  // "left", "right", "ch3" or empty
};

bool is_number(std::string_view s) {
  return !s.empty() && std::all_of(s.begin(), s.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
}

bool is_channel(std::string_view s) {
  return s == "left" || s == "right" || (s.starts_with("ch") && is_number(s.substr(2)));
}

Parsed split_channel(std::string_view id) {
  const auto dot = id.rfind('.');
  if (dot == std::string_view::npos || !is_channel(id.substr(dot + 1))) return {id, {}};
  return {id.substr(0, dot), id.substr(dot + 1)};
}

bool is_colour(std::string_view s) {
  static constexpr std::string_view colours[] = {"white",   "yellow", "cyan", "green",
                                                 "magenta", "red",    "blue", "black"};
  return std::find(std::begin(colours), std::end(colours), s) != std::end(colours);
}

// Matches id against a pattern part by part; "N" takes a number, "COLOUR" a bar's colour. What a wildcard
// took is returned through `taken`.
bool matches(std::string_view pattern, std::string_view id, std::string_view& taken) {
  taken = {};
  while (true) {
    const auto pd = pattern.find('.');
    const auto id_dot = id.find('.');
    const auto p = pattern.substr(0, pd);
    const auto i = id.substr(0, id_dot);
    const bool wild = (p == "N" && is_number(i)) || (p == "COLOUR" && is_colour(i));
    if (wild) taken = i;
    if (!wild && p != i) return false;
    if (pd == std::string_view::npos || id_dot == std::string_view::npos) return pd == id_dot;
    pattern.remove_prefix(pd + 1);
    id.remove_prefix(id_dot + 1);
  }
}

const ReadingKind* find_base(std::string_view base, std::string_view& taken) {
  for (const auto kinds : {audio_reading_kinds(), video_reading_kinds()}) {
    for (const ReadingKind& k : kinds) {
      if (matches(k.id, base, taken)) return &k;
    }
  }
  return nullptr;
}

}  // namespace

const ReadingKind* find_kind(std::string_view id) {
  std::string_view taken;
  return find_base(split_channel(id).base, taken);
}

std::string label_of(std::string_view id) {
  const Parsed parsed = split_channel(id);
  std::string_view taken;
  const ReadingKind* kind = find_base(parsed.base, taken);
  if (kind == nullptr) return std::string(id);
  std::string label(kind->label);
  if (!taken.empty()) label += " " + std::string(taken);
  if (parsed.channel.starts_with("ch")) {
    label += ", channel " + std::string(parsed.channel.substr(2));
  } else if (!parsed.channel.empty()) {
    label += ", " + std::string(parsed.channel);
  }
  return label;
}

std::string channel_suffix(int channel, int channels) {
  if (channels <= 1) return {};
  if (channels == 2) return channel == 0 ? ".left" : ".right";
  return ".ch" + std::to_string(channel + 1);
}

}  // namespace linebench
