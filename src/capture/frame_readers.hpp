// The readers behind open_frames().
#pragma once

#include <linebench/capture/frame_source.hpp>

namespace linebench::capture {

[[nodiscard]] std::unique_ptr<FrameSource> open_yuv(const std::filesystem::path& file);
[[nodiscard]] std::unique_ptr<FrameSource> open_stills(const std::filesystem::path& file_or_folder);
[[nodiscard]] std::unique_ptr<FrameSource> open_movie(const std::filesystem::path& file);

/// Throws Error(Unusable) for sizes that cannot be television frames.
void check_frame_size(const std::string& source, int width, int height);
/// Fills lines, frame rate, interlace of a format whose source tells only its size and rate (0: unknown).
void guess_system(FrameFormat& format, double frame_rate_hz);
/// BGR, 8 bit, rows without gaps, to BT.601 codes; chroma is the mean of each pair.
void from_bgr(std::span<const std::uint8_t> bgr, int width, int height, Frame& frame);

}  // namespace linebench::capture
