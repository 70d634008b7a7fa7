#include "yuyv_packing.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <stdexcept>

namespace linebench::picture {
namespace {

constexpr bool old_full_range(AVPixelFormat f) {
  return f == AV_PIX_FMT_YUVJ420P || f == AV_PIX_FMT_YUVJ422P || f == AV_PIX_FMT_YUVJ444P ||
         f == AV_PIX_FMT_YUVJ440P || f == AV_PIX_FMT_YUVJ411P;
}

bool planes_of_bytes(const AVPixFmtDescriptor& d) {
  if (d.nb_components < 3 || (d.flags & AV_PIX_FMT_FLAG_PLANAR) == 0) return false;
  for (int c = 0; c < 3; ++c) {
    const AVComponentDescriptor& part = d.comp[c];
    if (part.plane != c || part.step != 1 || part.offset != 0 || part.shift != 0 || part.depth != 8)
      return false;
  }
  return true;
}

// Codes 0 to 255 to those of BT.601.
void narrow(std::uint8_t* yuyv, std::size_t bytes) {
  std::array<std::uint8_t, 256> luma{}, chroma{};
  for (int i = 0; i < 256; ++i) {
    const auto at = static_cast<std::size_t>(i);
    luma[at] = static_cast<std::uint8_t>(std::lround(16 + i * 219.0 / 255));
    chroma[at] = static_cast<std::uint8_t>(std::lround(128 + (i - 128) * 224.0 / 255));
  }
  for (std::size_t i = 0; i + 1 < bytes; i += 2) {
    yuyv[i] = luma[yuyv[i]];
    yuyv[i + 1] = chroma[yuyv[i + 1]];
  }
}

}  // namespace

bool YuyvPacking::takes(AVPixelFormat format) {
  const AVPixFmtDescriptor* d = av_pix_fmt_desc_get(format);
  constexpr std::uint64_t others =
      AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_HWACCEL | AV_PIX_FMT_FLAG_BAYER;
  return d != nullptr && d->nb_components >= 3 && (d->flags & others) == 0;
}

bool YuyvPacking::full_range(AVPixelFormat format, AVColorRange range) {
  return old_full_range(format) || range == AVCOL_RANGE_JPEG;
}

void YuyvPacking::pack(const AVFrame& frame, bool yuyv, std::vector<std::uint8_t>& out) {
  const auto w = static_cast<std::size_t>(frame.width);
  const auto h = static_cast<std::size_t>(frame.height);
  if (w == 0 || h == 0 || w % 2 != 0 || w > 8192 || h > 8192)
    throw std::runtime_error("frames of this size cannot be a grabber's");
  const auto format = static_cast<AVPixelFormat>(frame.format);
  if (!yuyv) {
    out.resize(3 * w * h);
    std::uint8_t* to[4] = {out.data(), nullptr, nullptr, nullptr};
    const int stride[4] = {static_cast<int>(3 * w), 0, 0, 0};
    convert(frame, AV_PIX_FMT_BGR24, to, stride);
    return;
  }
  out.resize(2 * w * h);
  const AVPixFmtDescriptor* kind = av_pix_fmt_desc_get(format);
  if (format == AV_PIX_FMT_YUYV422 || format == AV_PIX_FMT_UYVY422) {
    const std::size_t luma = format == AV_PIX_FMT_YUYV422 ? 0 : 1;
    for (std::size_t r = 0; r < h; ++r) {
      const std::uint8_t* in = frame.data[0] + static_cast<std::ptrdiff_t>(r) * frame.linesize[0];
      std::uint8_t* o = out.data() + 2 * w * r;
      for (std::size_t i = 0; i < 2 * w; i += 2) {
        o[i] = in[i + luma];
        o[i + 1] = in[i + 1 - luma];
      }
    }
  } else if (planes_of_bytes(*kind)) {
    planes_to_yuyv({frame.data[0], frame.data[1], frame.data[2]},
                   {frame.linesize[0], frame.linesize[1], frame.linesize[2]}, *kind, frame, out.data());
  } else {
    // Chroma keeps its rows here, so that the choice of them stays in one place.
    const AVPixelFormat to = kind->log2_chroma_h > 0 ? AV_PIX_FMT_YUV420P : AV_PIX_FMT_YUV422P;
    const std::size_t chroma_rows = kind->log2_chroma_h > 0 ? (h + 1) / 2 : h;
    between_.resize(w * h + w * chroma_rows);
    std::uint8_t* at[4] = {between_.data(), between_.data() + w * h,
                           between_.data() + w * h + w / 2 * chroma_rows, nullptr};
    const int stride[4] = {frame.width, frame.width / 2, frame.width / 2, 0};
    convert(frame, to, at, stride);
    planes_to_yuyv({at[0], at[1], at[2]}, {stride[0], stride[1], stride[2]}, *av_pix_fmt_desc_get(to), frame,
                   out.data());
  }
  if (full_range(format, frame.color_range)) narrow(out.data(), out.size());
}

void YuyvPacking::planes_to_yuyv(const std::array<const std::uint8_t*, 3>& plane,
                                 const std::array<int, 3>& stride, const AVPixFmtDescriptor& kind,
                                 const AVFrame& frame, std::uint8_t* out) const {
  const int w = frame.width;
  const int h = frame.height;
  const int across = kind.log2_chroma_w;
  const int down = kind.log2_chroma_h;
  const int chroma_rows = (h + (1 << down) - 1) >> down;
  for (int r = 0; r < h; ++r) {
    // Of interlaced 4:2:0, chroma rows belong to fields in turn.
    const bool fields = down == 1 && frame.interlaced_frame != 0;
    const int c = std::min(chroma_rows - 1, fields ? 2 * (r / 4) + r % 2 : r >> down);
    const std::uint8_t* y = plane[0] + static_cast<std::ptrdiff_t>(r) * stride[0];
    const std::uint8_t* b = plane[1] + static_cast<std::ptrdiff_t>(c) * stride[1];
    const std::uint8_t* red = plane[2] + static_cast<std::ptrdiff_t>(c) * stride[2];
    std::uint8_t* o = out + static_cast<std::ptrdiff_t>(2) * w * r;
    for (int p = 0; p < w / 2; ++p, o += 4) {
      o[0] = y[2 * p];
      o[2] = y[2 * p + 1];
      if (across == 0) {
        o[1] = static_cast<std::uint8_t>((b[2 * p] + b[2 * p + 1] + 1) / 2);
        o[3] = static_cast<std::uint8_t>((red[2 * p] + red[2 * p + 1] + 1) / 2);
      } else {
        o[1] = b[p >> (across - 1)];
        o[3] = red[p >> (across - 1)];
      }
    }
  }
}

void YuyvPacking::convert(const AVFrame& frame, AVPixelFormat to, std::uint8_t* const* out,
                          const int* stride) {
  const auto from = static_cast<AVPixelFormat>(frame.format);
  if (!scaler_ || scaled_from_ != from) {
    scaler_.reset(sws_getContext(frame.width, frame.height, from, frame.width, frame.height, to,
                                 SWS_BICUBIC | SWS_ACCURATE_RND | SWS_FULL_CHR_H_INT, nullptr, nullptr,
                                 nullptr));
    scaled_from_ = from;
  }
  if (!scaler_) throw std::runtime_error("its pixels are of a kind that cannot be read");
  sws_scale(scaler_.get(), frame.data, frame.linesize, 0, frame.height, out, stride);
}

}  // namespace linebench::picture
