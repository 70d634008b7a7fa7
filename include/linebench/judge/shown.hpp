// What a reading that found nothing says all the same.
#pragma once

#include <linebench/base/reading.hpp>

namespace linebench::judge {

/// Unmeasurable because there is less of it than can be seen: that is enough where the limit only asks for
/// little.
[[nodiscard]] bool shown_inside(const Reading& reading);

}  // namespace linebench::judge
