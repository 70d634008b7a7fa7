#include "keying.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

namespace linebench::measure {
namespace {

// Dialling tones pause 40 ms and more [ITU-T Q.24], other keying longer.
constexpr double shortest_keyed_s = 0.04;
// Two lengths are one: what the search's steps and a plain timer differ by.
constexpr double alike_s = 0.003;
constexpr double alike_share = 0.01;
// What breaks at random repeats a length now and then: so many others must share it.
constexpr double fellows_share = 0.15;
constexpr std::size_t fewest_fellows = 2;
// Of so few pauses one is keyed where the sounds on both its sides are alike to the step.
constexpr std::size_t few = 4;
constexpr double same_s = 0.002;
constexpr double tone_share = 0.9;
// A contact seldom breaks for so much of the time; who keys a tone by hand does, again and again.
constexpr double keyed_share = 0.2;
constexpr int fewest_by_hand = 3;

bool alike(double a, double b) { return std::abs(a - b) <= alike_s + alike_share * std::max(a, b); }

template <class Length>
std::vector<char> shared(std::span<const Pause> pauses, Length length) {
  const auto others = static_cast<double>(pauses.size()) - 1;
  const auto enough = std::max(fewest_fellows, static_cast<std::size_t>(fellows_share * others));
  std::vector<char> out;
  for (const Pause& p : pauses) {
    const auto fellows =
        std::ranges::count_if(pauses, [&](const Pause& q) { return alike(length(p), length(q)); });
    out.push_back(static_cast<std::size_t>(fellows) > enough ? 1 : 0);
  }
  return out;
}

// Whether a sound lasted from the end of this pause to the next.
bool joined(const Pause& p, const Pause& next) {
  return p.ended && std::abs(p.from_s + p.length_s + next.sounded_s - next.from_s) < same_s;
}

// Share of the time, from before the first of these pauses to the end of the last, that they take.
double share_away(std::span<const Pause> pauses, const std::function<bool(const Pause&)>& counts) {
  double away = 0;
  double whole = 0;
  for (const Pause& p : pauses) {
    if (!counts(p)) continue;
    away += p.length_s;
    whole += p.length_s + p.sounded_s;
  }
  return whole > 0 ? away / whole : 0;
}

// Sound that is no tone is not keyed where it is seldom away: a link that loses data does so on a cadence. A
// tone holds its level before each of its pauses, a held sound under a voice before many.
bool mostly_there(std::span<const Pause> pauses) {
  if (static_cast<double>(std::ranges::count_if(pauses, &Pause::steady)) >=
      tone_share * static_cast<double>(pauses.size()))
    return false;
  return share_away(pauses, [](const Pause&) { return true; }) < keyed_share;
}

bool often_away(std::span<const Pause> pauses) {
  const auto by_hand = [](const Pause& p) { return p.steady && p.length_s >= shortest_keyed_s; };
  return std::ranges::count_if(pauses, by_hand) >= fewest_by_hand &&
         share_away(pauses, by_hand) > keyed_share;
}

}  // namespace

std::vector<PauseKind> pause_kinds(std::span<const Pause> pauses) {
  const auto pause = shared(pauses, [](const Pause& p) { return p.length_s; });
  const auto sound = shared(pauses, [](const Pause& p) { return p.sounded_s; });
  const bool away = often_away(pauses);
  const bool broken = mostly_there(pauses);
  const auto ended = std::ranges::count_if(pauses, [](const Pause& p) { return p.ended; });
  std::vector<PauseKind> out;
  for (std::size_t i = 0; i < pauses.size(); ++i) {
    const Pause& p = pauses[i];
    const bool next = i + 1 < pauses.size() && joined(p, pauses[i + 1]);
    // Whole sounds on both sides: nothing was cut. At the ends of a row one of them is not known.
    const bool after = next && sound[i + 1] != 0;
    const bool cadence = sound[i] != 0 ? after || pause[i] != 0 : after && pause[i] != 0;
    const bool twins = static_cast<std::size_t>(ended) < few && next &&
                       std::abs(p.sounded_s - pauses[i + 1].sounded_s) < same_s;
    // The last of a few, like the one before it in sound and pause.
    const auto like_last = [&](const Pause& last) {
      return joined(last, p) && p.ended && std::abs(last.sounded_s - p.sounded_s) < same_s &&
             std::abs(last.length_s - p.length_s) < same_s;
    };
    const bool again = static_cast<std::size_t>(ended) < few && i > 0 && like_last(pauses[i - 1]);
    const bool long_enough = p.length_s >= shortest_keyed_s && !broken;
    if (long_enough && (cadence || twins || again)) {
      out.push_back(PauseKind::Keyed);
    } else {
      out.push_back(long_enough && p.steady && away ? PauseKind::Doubtful : PauseKind::Dropout);
    }
  }
  return out;
}

}  // namespace linebench::measure
