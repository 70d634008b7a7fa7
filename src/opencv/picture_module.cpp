// Stills, movies and a window by OpenCV, as a module of its own (see picture_module.hpp for why).
#include <cstring>
#include <linebench/signals/picture_module.hpp>
#include <opencv2/core.hpp>
#include <opencv2/highgui.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/videoio.hpp>
#include <stdexcept>

#include "movie_reader.hpp"
#include "screen_size.hpp"

namespace {

using linebench::signals::BgrImage;
using linebench::signals::Colour;
using linebench::signals::Drawing;
using linebench::signals::DrawnText;
using linebench::signals::MovieReader;
using linebench::signals::MovieWriter;
using linebench::signals::PictureModule;
using linebench::signals::YuyvFrame;

cv::Mat to_bgr(const YuyvFrame& frame) {
  // OpenCV takes no pointer to const; the header is only read from.
  const cv::Mat packed(frame.height, frame.width, CV_8UC2, const_cast<std::uint8_t*>(frame.bytes.data()));
  cv::Mat bgr;
  cv::cvtColor(packed, bgr, cv::COLOR_YUV2BGR_YUY2);
  return bgr;
}

cv::Scalar bgr_of(const Colour& c) {
  return {static_cast<double>(c[2]), static_cast<double>(c[1]), static_cast<double>(c[0])};
}

void draw_text(cv::Mat& image, const DrawnText& t) {
  constexpr int face = cv::FONT_HERSHEY_SIMPLEX;
  const double scale = cv::getFontScaleFromHeight(face, t.size);
  int below = 0;
  const cv::Size size = cv::getTextSize(t.text, face, scale, 1, &below);
  double x = t.x;
  if (t.anchor == DrawnText::Anchor::Middle) x -= size.width / 2.0;
  if (t.anchor == DrawnText::Anchor::Right) x -= size.width;
  cv::putText(image, t.text, {cvRound(x), cvRound(t.y)}, face, scale, bgr_of(t.colour), 1, cv::LINE_AA);
}

cv::Mat rendered(const Drawing& d) {
  cv::Mat image(d.height, d.width, CV_8UC3, bgr_of(d.ground));
  constexpr int fraction_bits = 4;  // sixteenths of a pixel
  for (const auto& line : d.lines) {
    std::vector<cv::Point> points;
    for (const auto& p : line.points) points.emplace_back(cvRound(p[0] * 16), cvRound(p[1] * 16));
    cv::polylines(image, std::vector<std::vector<cv::Point>>{points}, false, bgr_of(line.colour), line.width,
                  cv::LINE_AA, fraction_bits);
  }
  for (const auto& t : d.texts) draw_text(image, t);
  return image;
}

// Filling a screen of this size, within a border that carries its edges on.
cv::Mat fitted(const cv::Mat& picture, cv::Size room, double border) {
  if (room.width < 64 || room.height < 64) room = picture.size();
  const int side = cvRound(border * room.width);
  const int top = cvRound(border * room.height);
  cv::Mat inside, whole;
  cv::resize(picture, inside, {room.width - 2 * side, room.height - 2 * top}, 0, 0, cv::INTER_CUBIC);
  cv::copyMakeBorder(inside, whole, top, top, side, side, cv::BORDER_REPLICATE);
  return whole;
}

// 8 bit, three channels.
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

class Ffv1Writer final : public MovieWriter {
 public:
  Ffv1Writer(const std::string& path, int width, int height, double frame_rate_hz)
      : writer_(path, cv::CAP_FFMPEG, cv::VideoWriter::fourcc('F', 'F', 'V', '1'), frame_rate_hz,
                {width, height}) {
    if (!writer_.isOpened())
      throw std::runtime_error("the file or its folder is not writable, or OpenCV has no FFV1");
  }
  void write(const YuyvFrame& frame) override { writer_.write(to_bgr(frame)); }

 private:
  cv::VideoWriter writer_;
};

class OpenCvModule final : public PictureModule {
 public:
  void write_png(const std::string& path, const YuyvFrame& frame) override {
    if (!cv::imwrite(path, to_bgr(frame))) throw std::runtime_error("the file or its folder is not writable");
  }
  void write_drawing(const std::string& path, const Drawing& drawing) override {
    if (!cv::imwrite(path, rendered(drawing)))
      throw std::runtime_error("the file or its folder is not writable");
  }
  std::unique_ptr<MovieWriter> open_avi(const std::string& path, int width, int height,
                                        double frame_rate_hz) override {
    return std::make_unique<Ffv1Writer>(path, width, height, frame_rate_hz);
  }
  bool read_still(const std::string& path, BgrImage& image) override {
    const cv::Mat m = cv::imread(path, cv::IMREAD_COLOR);
    if (m.empty()) return false;
    copy_bgr(m, image);
    return true;
  }
  bool decode_still(const std::uint8_t* bytes, std::size_t count, BgrImage& image) override {
    const cv::Mat packed(1, static_cast<int>(count), CV_8UC1, const_cast<std::uint8_t*>(bytes));
    const cv::Mat m = cv::imdecode(packed, cv::IMREAD_COLOR);
    if (m.empty()) return false;
    copy_bgr(m, image);
    return true;
  }
  std::vector<std::uint8_t> encode_png(const BgrImage& image) override {
    const cv::Mat m(image.height, image.width, CV_8UC3, const_cast<std::uint8_t*>(image.bgr.data()));
    std::vector<std::uint8_t> bytes;
    if (!cv::imencode(".png", m, bytes)) throw std::runtime_error("OpenCV has no PNG");
    return bytes;
  }
  std::unique_ptr<MovieReader> read_movie(const std::string& path) override {
    return linebench::picture::read_movie(path);
  }
  void try_screen() override {
    cv::namedWindow("linebench", window_kind);
    cv::destroyWindow("linebench");
  }
  bool show(const std::string& title, const YuyvFrame& frame, double border, int wait_ms) override {
    if (title_.empty()) open_window(title);
    const cv::Size room = cv::getWindowImageRect(title_).size();
    if (room != room_ || frame.bytes != shown_) {
      cv::imshow(title_, fitted(to_bgr(frame), room, border));
      room_ = room;
      shown_ = frame.bytes;
    }
    const int key = cv::waitKeyEx(wait_ms);
    return key < 0 && cv::getWindowProperty(title_, cv::WND_PROP_VISIBLE) >= 1;
  }
  void hide() override {
    if (!title_.empty()) cv::destroyWindow(title_);
    title_.clear();
    shown_.clear();
  }

 private:
  static constexpr int window_kind = cv::WINDOW_NORMAL | cv::WINDOW_FREERATIO | cv::WINDOW_GUI_NORMAL;

  void open_window(const std::string& title) {
    cv::namedWindow(title, window_kind);
    title_ = title;
    cv::imshow(title, cv::Mat(64, 64, CV_8UC3, cv::Scalar(0, 0, 0)));
    // The window takes its size after some turns of the event loop.
    const auto settle = [] {
      for (int turn = 0; turn < 10; ++turn) cv::waitKeyEx(20);
    };
    settle();
    const cv::Size before = cv::getWindowImageRect(title).size();
    cv::setWindowProperty(title, cv::WND_PROP_FULLSCREEN, cv::WINDOW_FULLSCREEN);
    settle();
    if (cv::getWindowImageRect(title).size() != before) return;
    // Nobody manages windows here: it is brought to the screen's size by hand.
    if (const cv::Size screen = linebench::picture::screen_size(); screen.width > 0) {
      cv::moveWindow(title, 0, 0);
      cv::resizeWindow(title, screen.width, screen.height);
      settle();
    }
  }

  std::string title_;
  cv::Size room_;
  std::vector<std::uint8_t> shown_;
};

}  // namespace

extern "C" __attribute__((visibility("default"))) PictureModule* linebench_make_picture_module() {
  return new OpenCvModule;
}
