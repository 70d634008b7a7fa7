// How large the screen is, which OpenCV does not tell.
#pragma once

#include <opencv2/core/types.hpp>

namespace linebench::picture {

/// Of the X display; 0 x 0 where there is none.
[[nodiscard]] cv::Size screen_size();

}  // namespace linebench::picture
