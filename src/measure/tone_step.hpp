// A tone that does not keep its level: a sudden step (a contact, a gain control, a pad switched) and how far
// it goes.
#pragma once

#include <cstddef>
#include <linebench/measure/spectrum.hpp>
#include <linebench/measure/tone.hpp>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure {

/// The largest sudden step between two stretches (of two segments at least) in which the level holds. Fades
/// and drifts are none.
/// @param rel_noise noise power in one segment's reading over the tone's power
[[nodiscard]] std::optional<LevelStep> find_level_step(std::span<const TrackLevel> levels,
                                                       const SpectrumShape& shape, double rel_noise);

/// The same with its time read from block powers (mean squares of everything, `block_s` apart), where these
/// show it.
[[nodiscard]] LevelStep with_block_time(LevelStep step, std::span<const double> blocks, double block_s);

/// Whether the signal falls silent again and again: a tone keyed by hand, Morse, a chime has no level that
/// could step. Block powers as above.
[[nodiscard]] bool comes_and_goes(std::span<const double> blocks, double block_s);

/// How far from `mean_square` the level goes where it holds or drifts, fades at both ends left out, dB; 0
/// where noise explains it.
[[nodiscard]] double level_excursion_db(std::span<const TrackLevel> levels, double mean_square,
                                        double rel_noise);

}  // namespace linebench::measure
