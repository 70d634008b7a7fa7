// Uncompressed 4:2:2 is asked for as the file's own packets, because OpenCV otherwise decodes to BGR, which
// cuts off codes below 16 and above 235.
#include "movie_reader.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <opencv2/core/utils/logger.hpp>
#include <opencv2/videoio.hpp>
#include <stdexcept>

namespace linebench::picture {
namespace {

using signals::BgrImage;
using signals::MovieReader;

std::string fourcc_text(double code) {
  const auto c = static_cast<std::uint32_t>(static_cast<std::int64_t>(code));
  std::string s;
  for (int i = 0; i < 4; ++i) {
    const char ch = static_cast<char>((c >> (8 * i)) & 0xff);
    s += ch >= ' ' && ch <= '~' ? ch : ' ';
  }
  while (!s.empty() && s.back() == ' ') s.pop_back();
  return s.empty() ? "unknown" : s;
}

enum class Packing { None, Yuyv, Uyvy, Planar420, Planar422 };

Packing packing_of(const std::string& coder) {
  if (coder == "YUY2" || coder == "yuvs" || coder == "YUYV") return Packing::Yuyv;
  if (coder == "UYVY" || coder == "2vuy" || coder == "HDYC") return Packing::Uyvy;
  if (coder == "I420" || coder == "IYUV") return Packing::Planar420;
  if (coder == "Y42B" || coder == "422P") return Packing::Planar422;
  return Packing::None;
}

class Reader final : public MovieReader {
 public:
  explicit Reader(const std::string& path) {
    // What the libraries have to say is said by this program, in one line.
    cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
    setenv("OPENCV_FFMPEG_LOGLEVEL", "-8", 0);
    if (!capture_.open(path, cv::CAP_FFMPEG))
      throw std::runtime_error("not a movie that can be read; give a .yuv with its sidecar, an AVI or MKV");
    info_.width = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_WIDTH));
    info_.height = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_HEIGHT));
    info_.frame_rate_hz = capture_.get(cv::CAP_PROP_FPS);
    const double frames = capture_.get(cv::CAP_PROP_FRAME_COUNT);
    info_.frames = frames > 0 && frames < 1e9 ? static_cast<std::int64_t>(frames) : 0;
    info_.coder = fourcc_text(capture_.get(cv::CAP_PROP_FOURCC));
    packing_ = packing_of(info_.coder);
    info_.raw = packing_ != Packing::None;
    if (packing_ != Packing::None && capture_.set(cv::CAP_PROP_FORMAT, -1)) {
      info_.packed_yuv = true;
    } else {
      packing_ = Packing::None;
    }
  }

  [[nodiscard]] Info info() const override { return info_; }

  bool read(BgrImage& image) override {
    if (!capture_.read(mat_) || mat_.empty()) return false;
    if (packing_ == Packing::None) {
      if (mat_.cols != info_.width || mat_.rows != info_.height)
        throw std::runtime_error("frames change their size");
      copy_bgr(mat_, image);
      return true;
    }
    unpack(image);
    return true;
  }

 private:
  void unpack(BgrImage& image) {
    const auto w = static_cast<std::size_t>(info_.width);
    const auto h = static_cast<std::size_t>(info_.height);
    const std::size_t n = w * h;
    const std::size_t wanted = packing_ == Packing::Planar420 ? n + n / 2 : 2 * n;
    const std::size_t have = mat_.total() * mat_.elemSize();
    if (have < wanted) throw std::runtime_error("a frame is shorter than its size asks for");
    image.width = info_.width;
    image.height = info_.height;
    image.yuyv = true;
    image.bgr.resize(2 * n);
    const std::uint8_t* in = mat_.data;
    std::uint8_t* out = image.bgr.data();
    switch (packing_) {
      case Packing::Yuyv:
        std::memcpy(out, in, 2 * n);
        break;
      case Packing::Uyvy:
        for (std::size_t i = 0; i < n; ++i) {
          out[2 * i] = in[2 * i + 1];
          out[2 * i + 1] = in[2 * i];
        }
        break;
      case Packing::Planar420:
      case Packing::Planar422: {
        const bool half = packing_ == Packing::Planar420;
        const std::size_t plane = half ? n / 4 : n / 2;
        for (std::size_t r = 0; r < h; ++r) {
          // Of interlaced 4:2:0, chroma rows belong to fields in turn.
          const std::size_t c = half ? std::min(2 * (r / 4) + r % 2, h / 2 - 1) : r;
          for (std::size_t p = 0; p < w / 2; ++p) {
            std::uint8_t* o = out + 2 * (r * w + 2 * p);
            o[0] = in[r * w + 2 * p];
            o[1] = in[n + c * (w / 2) + p];
            o[2] = in[r * w + 2 * p + 1];
            o[3] = in[n + plane + c * (w / 2) + p];
          }
        }
        break;
      }
      case Packing::None:
        break;
    }
  }

  cv::VideoCapture capture_;
  Info info_;
  Packing packing_ = Packing::None;
  cv::Mat mat_;
};

}  // namespace

std::unique_ptr<MovieReader> read_movie(const std::string& path) { return std::make_unique<Reader>(path); }

void copy_bgr(const cv::Mat& from, BgrImage& image) {
  if (from.type() != CV_8UC3) throw std::runtime_error("a picture is not 8 bit colour");
  image.width = from.cols;
  image.height = from.rows;
  image.yuyv = false;
  const std::size_t row = 3 * static_cast<std::size_t>(from.cols);
  image.bgr.resize(row * static_cast<std::size_t>(from.rows));
  for (int r = 0; r < from.rows; ++r)
    std::memcpy(image.bgr.data() + row * static_cast<std::size_t>(r), from.ptr(r), row);
}

}  // namespace linebench::picture
