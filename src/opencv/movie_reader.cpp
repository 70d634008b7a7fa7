// Movies by FFmpeg's libraries themselves: OpenCV would hand out BGR only, which cuts off codes below 16 and
// above 235 and bends saturated colours.
#include "movie_reader.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstring>
#include <stdexcept>

#include "yuyv_packing.hpp"

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
}

namespace linebench::picture {
namespace {

using signals::BgrImage;
using signals::MovieReader;

struct Closer {
  void operator()(AVFormatContext* p) const { avformat_close_input(&p); }
  void operator()(AVCodecContext* p) const { avcodec_free_context(&p); }
  void operator()(AVFrame* p) const { av_frame_free(&p); }
  void operator()(AVPacket* p) const { av_packet_free(&p); }
};
template <typename T>
using Held = std::unique_ptr<T, Closer>;

constexpr const char* no_movie = "not a movie that can be read; give a .yuv with its sidecar, an AVI or MKV";

Held<AVFormatContext> open_file(const std::string& path) {
  av_log_set_level(AV_LOG_QUIET);  // what the libraries have to say is said by this program, in one line
  // A list of names in disguise must not make the program go and fetch them.
  AVDictionary* options = nullptr;
  av_dict_set(&options, "protocol_whitelist", "file", 0);
  AVFormatContext* opened = nullptr;
  const int e = avformat_open_input(&opened, ("file:" + path).c_str(), nullptr, &options);
  av_dict_free(&options);
  if (e < 0) throw std::runtime_error(no_movie);
  return Held<AVFormatContext>(opened);
}

// Of the two mixed orders programs disagree which is which, so they say nothing.
std::optional<bool> top_first(AVFieldOrder order) {
  if (order == AV_FIELD_TT) return true;
  if (order == AV_FIELD_BB) return false;
  return std::nullopt;
}

std::string upper_case(std::string s) {
  std::transform(s.begin(), s.end(), s.begin(), [](unsigned char c) { return std::toupper(c); });
  return s;
}

class Reader final : public MovieReader {
 public:
  explicit Reader(const std::string& path) : file_(open_file(path)) {
    if (avformat_find_stream_info(file_.get(), nullptr) < 0) throw std::runtime_error(no_movie);
    const AVCodec* coder = nullptr;
    stream_ = av_find_best_stream(file_.get(), AVMEDIA_TYPE_VIDEO, -1, -1, &coder, 0);
    if (stream_ < 0 || coder == nullptr)
      throw std::runtime_error("there is no picture in it that can be read");
    AVStream* stream = file_->streams[stream_];
    decoder_.reset(avcodec_alloc_context3(coder));
    if (!decoder_ || !packet_ || !frame_ ||
        avcodec_parameters_to_context(decoder_.get(), stream->codecpar) < 0)
      throw std::runtime_error("out of memory");
    decoder_->thread_count = 0;
    if (avcodec_open2(decoder_.get(), coder, nullptr) < 0) throw std::runtime_error(no_movie);

    info_.width = decoder_->width;
    info_.height = decoder_->height;
    const AVRational rate = av_guess_frame_rate(file_.get(), stream, nullptr);
    info_.frame_rate_hz = rate.num > 0 && rate.den > 0 ? av_q2d(rate) : 0;
    info_.frames = std::max<std::int64_t>(0, stream->nb_frames);
    if (info_.frames == 0 && file_->duration > 0 && file_->duration < AV_TIME_BASE * 1000000LL)
      info_.frames = std::llround(info_.frame_rate_hz * static_cast<double>(file_->duration) / AV_TIME_BASE);
    const AVCodecDescriptor* kind = avcodec_descriptor_get(decoder_->codec_id);
    const AVPixFmtDescriptor* pixel = av_pix_fmt_desc_get(decoder_->pix_fmt);
    if (kind == nullptr || pixel == nullptr) throw std::runtime_error(no_movie);
    info_.raw = decoder_->codec_id == AV_CODEC_ID_RAWVIDEO;
    info_.lossless = (kind->props & AV_CODEC_PROP_LOSSLESS) != 0 && (kind->props & AV_CODEC_PROP_LOSSY) == 0;
    info_.coder = upper_case(info_.raw ? pixel->name : kind->name);
    info_.yuyv = YuyvPacking::takes(decoder_->pix_fmt);
    info_.full_range = info_.yuyv && YuyvPacking::full_range(decoder_->pix_fmt, decoder_->color_range);
    info_.chroma_420 = info_.yuyv && pixel->log2_chroma_h > 0;
    info_.top_field_first = top_first(stream->codecpar->field_order);
  }

  [[nodiscard]] Info info() const override { return info_; }

  bool read(BgrImage& image) override {
    if (!next()) return false;
    if (frame_->width != info_.width || frame_->height != info_.height)
      throw std::runtime_error("frames change their size");
    if (YuyvPacking::takes(static_cast<AVPixelFormat>(frame_->format)) != info_.yuyv)
      throw std::runtime_error("frames change their kind");
    image.width = info_.width;
    image.height = info_.height;
    image.yuyv = info_.yuyv;
    image.damaged = frame_->decode_error_flags != 0 || (frame_->flags & AV_FRAME_FLAG_CORRUPT) != 0;
    packing_.pack(*frame_, info_.yuyv, image.bgr);
    return true;
  }

 private:
  bool next() {
    for (;;) {
      const int got = avcodec_receive_frame(decoder_.get(), frame_.get());
      if (got == 0) return true;
      if (got != AVERROR(EAGAIN)) return false;
      int e = 0;
      do {
        av_packet_unref(packet_.get());
        e = av_read_frame(file_.get(), packet_.get());
      } while (e >= 0 && packet_->stream_index != stream_);
      // A packet that is damaged shows as a frame that is, or as none.
      avcodec_send_packet(decoder_.get(), e < 0 ? nullptr : packet_.get());
    }
  }

  Held<AVFormatContext> file_;
  Held<AVCodecContext> decoder_;
  Held<AVPacket> packet_{av_packet_alloc()};
  Held<AVFrame> frame_{av_frame_alloc()};
  YuyvPacking packing_;
  int stream_ = -1;
  Info info_;
};

}  // namespace

std::unique_ptr<signals::MovieReader> read_movie(const std::string& path) {
  return std::make_unique<Reader>(path);
}

}  // namespace linebench::picture
