#include <algorithm>
#include <linebench/judge/asked.hpp>

namespace linebench::judge {
namespace {

using Ids = std::vector<std::string>;

// "audio.hum" speaks of "audio.hum.level.left" and not of "audio.humidity".
bool below(std::string_view id, std::string_view family) {
  return id.starts_with(family) && (id.size() == family.size() || id[family.size()] == '.');
}
bool any(std::string_view id, const Ids& families) {
  return std::any_of(families.begin(), families.end(), [&](const std::string& f) { return below(id, f); });
}

struct Row {
  std::string_view kind;
  Ids purposes, hidden;
  Ids designed{};
};

const Ids tone_family = {"audio.tone", "audio.thd", "audio.thd_n", "audio.snr"};

Ids join(std::initializer_list<Ids> lists) {
  Ids all;
  for (const Ids& l : lists) all.insert(all.end(), l.begin(), l.end());
  return all;
}

// What the definition of each kind of signal allows. A signal that fills the band hides noise and hum under
// it; few frequencies show no response; intelligibility needs its own signal.
const std::vector<Row>& rows() {
  static const Ids imd = {"audio.imd"};
  static const Ids sti = {"audio.sti"};
  static const Ids response = {"audio.response"};
  static const Ids floor = {"audio.noise", "audio.hum", "audio.whistle", "audio.whine", "audio.phone_burst"};
  static const Ids moments = {"audio.dropout", "audio.crackle", "audio.click"};
  static const std::vector<Row> table = {
      {"sine",
       {"audio.tone.level", "audio.tone.gain", "audio.thd", "audio.thd_n", "audio.snr"},
       join({response, sti, imd})},
      {"stepped-tones", {}, join({tone_family, response, sti, imd, floor, moments}), moments},
      {"sweep", {"audio.response"}, join({tone_family, sti, imd, floor, moments})},
      {"noise", {"audio.response"}, join({tone_family, sti, imd, floor, moments})},
      {"multitone", {"audio.response"}, join({tone_family, sti, imd, floor, moments})},
      {"stipa", {"audio.sti"}, join({tone_family, imd, floor, moments})},
      {"marked-silence",
       {"audio.noise", "audio.hum"},
       join({tone_family, response, sti, imd, moments}),
       moments},
      {"polarity-pulse",
       {"audio.response.polarity"},
       join({tone_family, response, sti, imd, floor, moments, {"audio.level.rms", "audio.level.voltage"}}),
       moments},
      {"left-right",
       {"audio.pair.sides", "audio.pair.crosstalk"},
       join({tone_family, response, sti, imd, floor, moments, {"audio.pair"}}),
       join({moments, {"audio.pair.polarity", "audio.pair.gain"}})},
  };
  return table;
}

// Echoes and band edges are found or not, and both are good: they are never what is wanting.
bool found_or_not(std::string_view id) {
  return any(id, {"audio.response.echo", "audio.response.band_low", "audio.response.band_high",
                  "audio.response.coherence"});
}

}  // namespace

Asked asked_of(const signals::Recipe& recipe) {
  Asked out;
  out.signal = recipe.name;
  if (recipe.kind->name == "two-tone") {  // each pair of tones shows one kind of intermodulation
    constexpr double low_tone_hz = 1000;
    const bool smpte = std::min(recipe.number("first_hz"), recipe.number("second_hz")) < low_tone_hz;
    out.purposes = {smpte ? "audio.imd.smpte" : "audio.imd.difference"};
    out.hidden = join({tone_family, {"audio.imd", "audio.response", "audio.sti", "audio.noise"}});
    return out;
  }
  const auto row = std::ranges::find(rows(), recipe.kind->name, &Row::kind);
  if (row == rows().end()) return out;
  out.purposes = row->purposes;
  out.hidden = row->hidden;
  out.designed = row->designed;
  constexpr double band_hz = 20000;  // harmonics above it are not counted [AES17]
  if (recipe.kind->name == "sine" && 2 * recipe.number("frequency_hz") >= band_hz) {
    std::erase(out.purposes, "audio.thd");
    out.hidden.emplace_back("audio.thd");
  }
  return out;
}

bool of_a_tone(std::string_view id) { return any(id, tone_family); }

bool by_design(std::string_view id, const Asked& asked) { return any(id, asked.designed); }

Claim claim_on(std::string_view id, bool required, const Asked& asked) {
  if (!asked.only.empty() && !any(id, asked.only)) return Claim::NotAsked;
  const bool unsent = std::any_of(asked.unsent.begin(), asked.unsent.end(),
                                  [&](const std::string& suffix) { return id.ends_with(suffix); });
  if (unsent) return Claim::NotAsked;
  // The gain of a tone needs the level it was sent at.
  if (below(id, "audio.tone.gain") && !asked.level_known) return Claim::Optional;
  if (any(id, asked.purposes)) return found_or_not(id) && !required ? Claim::Optional : Claim::Required;
  if (any(id, asked.hidden)) return Claim::NotAsked;
  return required ? Claim::Required : Claim::Optional;
}

}  // namespace linebench::judge
