// What a feed's sound says to the job, beside the readings that are out of their limits.
#pragma once

#include <linebench/check/words.hpp>
#include <linebench/job/records.hpp>
#include <linebench/report/outcome.hpp>

namespace linebench::check {

/// One side gone or turned while the other goes on, a side that was not taken in, a band that was not.
/// @param use how the installation uses the sides: "mono", "stereo", "one"
/// @return whether something that decides is left open.
[[nodiscard]] bool add_sound(const job::Capture& sound, const std::string& use, const Words& words,
                             std::vector<report::Point>& points);

/// Whether a side is lost or turns over in the midst: then nothing good is said of the two together.
[[nodiscard]] bool sides_change(const job::Capture& sound);

/// Whether this is the balance of two sides whose programme differs by so much that it does not tell theirs.
[[nodiscard]] bool mixed_to_a_side(const job::Capture& sound, std::string_view id);

/// What stands on the lead with nothing playing, beside hum and noise; and whether nothing was playing.
/// @param sound taken with it
/// @return whether something that decides is left open.
[[nodiscard]] bool add_quiet(const job::Capture& quiet, const job::Capture& sound, const Words& words,
                             std::vector<report::Point>& points);

}  // namespace linebench::check
