// What is tested on a station of a type, in order: signals/plans/NAME.toml, or the user's own in
// store_dir()/plans, which takes the place of a shipped one of its name.
//   title = "Intercom station without camera"
//   types = ["desk", "wall"]          # as on the plate; may be left out
//   [[test]]
//   key = "microphone"                # one word
//   title = "Microphone path"
//   signal = "sweep-speech"           # what is sent; left out: nothing
//   seconds = 10                      # without a signal: how long
//   limits = "speech-path"            # left out for video: by the system
//   view = "audio"                    # or "video"
//   optional = false                  # may be skipped
//   steps = ["..."]                   # what to plug where
//   cautions = ["..."]
//   draw = ["box", "join", "box"]
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::check {

struct StationTest {
  std::string key, title, signal, limits;
  double seconds = 10;
  bool video = false, optional = false;
  std::vector<std::string> steps, cautions, draw;
};

struct StationPlan {
  std::string name, title;
  std::vector<std::string> types;
  std::vector<StationTest> tests;
  std::string text{};  ///< of its file
};

/// Throws Error(Unusable): file, line, key.
[[nodiscard]] StationPlan parse_plan(std::string_view text, const std::string& name, const std::string& file);
/// A plan as a job keeps it, whatever became of its file; what it names (signals, limit sets) need not be
/// there any more. Nothing for a text that is damaged.
[[nodiscard]] std::optional<StationPlan> kept_plan(const std::string& text, const std::string& name);
/// All plans, by name. Throws Error(Unusable) for one that is not right: it must not be missed in silence.
/// @param wrong where given, such a plan is left out and its error put here instead.
[[nodiscard]] std::vector<StationPlan> load_plans(std::vector<std::string>* wrong = nullptr);

}  // namespace linebench::check
