#include <cmath>
#include <linebench/signals/video_recipe.hpp>

namespace linebench::signals {
namespace {

constexpr double default_seconds = 0.4;  // ten frames of 625: a whole colour sequence twice
constexpr double longest_seconds = 3600;
constexpr double default_rate_hz = 27e6;  // twice BT.601's luma rate: common in converters and instruments

ParameterSpec number(std::string_view key, std::string_view unit, std::string_view meaning, double min,
                     double max) {
  ParameterSpec p;
  p.key = key;
  p.unit = unit;
  p.meaning = meaning;
  p.type_of = 0.0;
  p.optional = true;
  p.min = min;
  p.max = max;
  return p;
}

ParameterSpec text(std::string_view key, std::string_view meaning, std::vector<std::string_view> allowed,
                   bool optional) {
  ParameterSpec p;
  p.key = key;
  p.meaning = meaning;
  p.type_of = std::string();
  p.allowed = std::move(allowed);
  p.optional = optional;
  return p;
}

SignalKind make_kind() {
  SignalKind k;
  k.name = "test-picture";
  k.medium = Medium::Video;
  k.meaning = "A test picture as composite video of 525 or 625 lines, or as frames for a player or a screen";
  k.parameters = {
      text("picture", "what it shows", picture_names(), false),
      text("form", "bars: levels of white, black and colours", {"75", "100", "100-0-75-0"}, true),
      number("risers", "", "staircase: how many, 5 or 10", 5, 10),
      number("level_percent", "%", "flat field and window: level, black = 0, white = 100", 0, 100),
      number("low_percent", "%", "bounce: lower level", 0, 100),
      number("high_percent", "%", "bounce: upper level", 0, 100),
      number("hold_seconds", "s", "bounce: time at each level", 0.1, 60),
      number("seconds", "s", "length of a file of it", 0.02, longest_seconds),
      number("rate_hz", "Hz", "sample rate of a file of it", 8e3, 2e9),
  };
  ParameterSpec subcarrier;
  subcarrier.key = "subcarrier";
  subcarrier.meaning = "staircase and ramp: with subcarrier on them";
  subcarrier.type_of = false;
  subcarrier.optional = true;
  k.parameters.push_back(subcarrier);
  return k;
}

void take(const Recipe& r, std::string_view key, double& into) {
  if (r.has(key)) into = r.number(key);
}

}  // namespace

const SignalKind& test_picture_kind() {
  static const SignalKind kind = make_kind();
  return kind;
}

PictureSpec picture_spec(const Recipe& r) {
  PictureSpec p;
  p.picture = r.text("picture");
  if (r.has("form")) p.form = r.text("form");
  if (r.has("risers")) p.risers = static_cast<int>(std::lround(r.number("risers")));
  if (r.has("subcarrier")) p.subcarrier = r.flag("subcarrier");
  take(r, "level_percent", p.level_percent);
  take(r, "low_percent", p.low_percent);
  take(r, "high_percent", p.high_percent);
  take(r, "hold_seconds", p.seconds);
  return p;
}

double picture_seconds(const Recipe& r) { return r.has("seconds") ? r.number("seconds") : default_seconds; }
double picture_sample_rate_hz(const Recipe& r) {
  return r.has("rate_hz") ? r.number("rate_hz") : default_rate_hz;
}

}  // namespace linebench::signals
