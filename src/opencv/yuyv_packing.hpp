// A decoded frame as packed Y Cb Y Cr with the codes of BT.601, or as B, G, R.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <vector>

extern "C" {
#include <libavutil/frame.h>
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
}

namespace linebench::picture {

class YuyvPacking {
 public:
  /// The format holds Y'CbCr, in whatever order and depth.
  [[nodiscard]] static bool takes(AVPixelFormat format);
  /// It uses all codes for black to white.
  [[nodiscard]] static bool full_range(AVPixelFormat format, AVColorRange range);
  /// Rows without gaps. 8 bit codes are taken as they are, of more bits rounded; chroma of 4:4:4 is the mean
  /// of each pair, of 4:2:0 repeated down, field by field where the frame says it is interlaced. Throws
  /// std::runtime_error.
  void pack(const AVFrame& frame, bool yuyv, std::vector<std::uint8_t>& out);

 private:
  struct Closer {
    void operator()(SwsContext* p) const { sws_freeContext(p); }
  };
  void planes_to_yuyv(const std::array<const std::uint8_t*, 3>& plane, const std::array<int, 3>& stride,
                      const AVPixFmtDescriptor& kind, const AVFrame& frame, std::uint8_t* out) const;
  void convert(const AVFrame& frame, AVPixelFormat to, std::uint8_t* const* out, const int* stride);

  std::unique_ptr<SwsContext, Closer> scaler_;
  AVPixelFormat scaled_from_ = AV_PIX_FMT_NONE;
  std::vector<std::uint8_t> between_;
};

}  // namespace linebench::picture
