// Movies and stills in, for the picture module.
#pragma once

#include <linebench/signals/picture_module.hpp>
#include <opencv2/core.hpp>

namespace linebench::picture {

/// Throws std::runtime_error with the reason.
[[nodiscard]] std::unique_ptr<signals::MovieReader> read_movie(const std::string& path);

/// 8 bit, three channels.
void copy_bgr(const cv::Mat& from, signals::BgrImage& image);

}  // namespace linebench::picture
