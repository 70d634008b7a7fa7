// What stands still on the rows: told from hum where its shape is not hum's.
#pragma once

#include "picture_view.hpp"

namespace linebench::measure {

/// Whether the rows' means go in a straight line from the picture's top to its bottom, as a field-rate tilt
/// or shading from one side does. Hum that stands still has one bar and more within the picture, of which a
/// straight line explains at most six tenths.
[[nodiscard]] bool straight_shading(const PictureSetup& setup);

}  // namespace linebench::measure
