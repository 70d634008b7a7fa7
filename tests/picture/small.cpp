// Frames of every size a reader takes are measured without reading outside of them: nothing here is about
// values.
#include <gtest/gtest.h>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::Scene;

class Small final : public capture::FrameSource {
 public:
  Small(int width, int height, bool patterned) {
    format_.width = width;
    format_.height = height;
    format_.lines = 625;
    format_.frame_rate_hz = 25;
    patterned_ = patterned;
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const capture::FrameFormat& format() const override { return format_; }
  bool read(capture::Frame& f) override {
    if (at_ == 14) return false;
    const auto n = static_cast<std::size_t>(format_.width * format_.height);
    f.y.resize(n);  // heap blocks of their exact size, so that a sanitizer sees what goes beyond
    f.cb.assign(n / 2, 128);
    f.cr.assign(n / 2, 128);
    f.number = static_cast<std::uint64_t>(at_++);
    std::normal_distribution<double> normal;
    for (std::size_t i = 0; i < n; ++i) {
      const auto x = static_cast<double>(i % static_cast<std::size_t>(format_.width)) * 720 / format_.width;
      const auto row =
          static_cast<double>(i / static_cast<std::size_t>(format_.width)) * 576 / format_.height;
      const double v = patterned_ ? frame_synth::bars(1, 0.75)(x) : frame_synth::landscape(x, row);
      f.y[i] = static_cast<std::uint8_t>(std::clamp(16 + 219 * v + 1.5 * normal(random_), 0.0, 255.0));
    }
    return true;
  }

 private:
  capture::FrameFormat format_;
  CaptureFacts facts_;
  std::mt19937 random_{3};
  int at_ = 0;
  bool patterned_ = true;
};

TEST(PictureSizes, SmallNarrowAndFlat) {
  for (const bool patterned : {true, false}) {
    for (const auto& [w, h] : {std::pair{64, 64}, {64, 576}, {720, 64}, {80, 80}, {160, 120}, {200, 576}}) {
      Small source(w, h, patterned);
      const Readings r = measure::measure_picture(source, {});
      EXPECT_EQ(find_reading(r, "picture.signal")->text(), "present") << w << "x" << h;
    }
  }
}

}  // namespace
