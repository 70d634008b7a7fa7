// What a person finds who looks at a simulated installation, or puts a meter to it.
#include <fmt/format.h>

#include <linebench/faultsim/installation.hpp>

namespace linebench::faultsim {

std::string answer(const Installation& s, const std::string& trial, const std::vector<std::string>& words,
                   double errs, Dice& d) {
  const auto it = s.answers.find(trial);
  if (!words.empty()) {
    if (d.chance(errs)) return words[static_cast<std::size_t>(d.pick(static_cast<int>(words.size())))];
    if (it != s.answers.end()) return it->second;
    // What a sound installation answers, by plain sense.
    static const std::map<std::string, std::string> sound = {
        {"pair-insulation", "open"}, {"pair-legs", "right"},        {"shield-continuity", "good"},
        {"earth-points", "one"},     {"port-light", "on"},          {"connector", "sound"},
        {"module-pull", "nothing"},  {"neighbour-tone", "silent"},  {"loop-back", "clean"},
        {"terminations", "one"},     {"wiggle", "nothing"},         {"cable-print", "75 ohm"},
        {"source-setting", "right"}, {"level-chain", "right"},      {"unit-look", "right"},
        {"camera-colour", "colour"}, {"receiver-setting", "middle"}};
    const auto word = sound.find(trial);
    return word != sound.end() ? word->second : "same";
  }
  if (it != s.answers.end()) return it->second;
  if (trial == "supply-open") return fmt::format("{:.2f} V of 12 V", 12 * d.uniform(0.99, 1.06));
  if (trial == "supply-loaded") return fmt::format("{:.2f} V of 12 V", 12 * d.uniform(0.97, 1.03));
  if (trial == "supply-ripple") return fmt::format("{:.2f} mV", d.log_uniform(2, 14));
  if (trial == "pair-loop") return fmt::format("{:.2f} ohm of 20 ohm", 20 * d.uniform(0.88, 1.14));
  if (trial == "earth-ohms") return fmt::format("{:.3f} ohm", d.log_uniform(0.08, 0.6));
  if (trial == "earth-current") return fmt::format("{:.2f} mA", d.log_uniform(0.8, 9));
  return "same";
}

}  // namespace linebench::faultsim
