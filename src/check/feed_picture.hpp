// What a feed's picture says to the job, beside the readings that are out of their limits.
#pragma once

#include <linebench/check/flow.hpp>

namespace linebench::check {

/// Whether the look was too short to hold this against the feed: what moves in the scene reads as hum bars in
/// a short one.
[[nodiscard]] bool too_short_for(const job::Capture& picture, const std::string& id);

/// Whether hum of the picture keeps so near to the field rate that a coupling that sags would read the same.
[[nodiscard]] bool hum_or_sag(const job::Capture& picture, const std::string& id);

/// @return whether something that decides is left open.
[[nodiscard]] bool add_picture(const Work& work, const job::Capture& picture, const Knowledge& knowledge,
                               std::vector<report::Point>& points);

}  // namespace linebench::check
