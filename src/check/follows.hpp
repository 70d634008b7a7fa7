// What one wrong thing makes of other readings: said once is enough, and done twice is one time too often.
#pragma once

#include <linebench/job/records.hpp>
#include <optional>
#include <vector>

namespace linebench::check {

/// What a level will be once what makes it wrong is put right: with the line terminated once, or with the
/// source's level such that sync is right. Nothing where nothing else makes it wrong.
[[nodiscard]] std::optional<double> once_right(const job::Capture& capture, const Reading& reading);

/// Power of mains hum in what the A weighting makes of a side (".left", or empty); 0 where none was found.
[[nodiscard]] double hum_as_heard(const Readings& readings, const std::string& side);

/// Whether a reading is out of its limits only because another one of the capture is: what is said of sound
/// that does not arrive, all rates and levels of another television system, levels of a line that is not
/// terminated once or of a source that sends all of it too large or too small, a subcarrier that is off as
/// the line rate is, the field rate of another number of lines or of a line rate that is off, steps and
/// colours of lines that do not keep their time, noise that is the hum in it.
[[nodiscard]] bool follows_from_another(const job::Capture& capture, const Reading& reading);

/// Of a sync amplitude that is out of its limits: the other levels that are so with it, on the same side.
[[nodiscard]] std::vector<const Reading*> levels_with(const job::Capture& capture, const Reading& sync);

/// A sync amplitude that is out of its limits while the burst (or, of a low one, white) is not low or high
/// with it: then it is not the level of the whole.
[[nodiscard]] bool sync_alone(const job::Capture& capture, const Reading& reading);

}  // namespace linebench::check
