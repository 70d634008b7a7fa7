// Sorts lines by what is on them and keeps the mean of each kind: test pictures, parts of one, and test lines
// of the field interval. What the kinds are is for others to say (video_pattern.hpp).
#pragma once

#include <cstdint>
#include <linebench/measure/video_line.hpp>
#include <map>
#include <memory>
#include <vector>

#include "video_line_sums.hpp"
#include "video_signature.hpp"

namespace linebench::measure {

/// Lines of one content.
struct LineContent {
  LineContent(const VideoSetup& setup) : sums(setup) {}
  LineSums sums;
  LineSignature mean;
  double lines = 0;
  std::uint64_t last_index = 0;
  std::map<int, std::uint32_t> numbers;  ///< line numbers seen, and how often; 0 where lines have no number
  bool field_interval = false;           ///< stands on lines before the picture
};

/// Memory: at most 16 contents of the picture and 40 of the field interval, those seen longest ago dropped
/// first; about 1.5 MB each at 27 MS/s when full.
class ContentMeter : public LineMeter {
 public:
  explicit ContentMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  /// Closes the sums; gives no readings.
  void finish(const VideoSetup& setup, Readings& out) override;
  /// After finish(): contents seen on two lines or more, most lines first.
  [[nodiscard]] std::vector<const LineContent*> contents() const;
  /// Lines sorted so far.
  [[nodiscard]] double lines() const { return lines_; }
  /// Those of them that lie in the picture.
  [[nodiscard]] double picture_lines() const { return picture_lines_; }
  /// The content the last line was put to; nullptr when it was put to none. Its mean holds that line too.
  [[nodiscard]] const LineContent* last() const { return last_; }

 private:
  using Pool = std::vector<std::unique_ptr<LineContent>>;
  void follow(const LineView& v);
  [[nodiscard]] double smear_us() const;
  LineContent& find(Pool& pool, std::size_t most, const LineSignature& s, std::uint64_t index);

  const VideoSetup setup_;
  SignatureTaker taker_;
  std::vector<bool> picture_line_;
  Pool picture_;
  Pool interval_;
  LineContent* last_ = nullptr;
  std::vector<float> samples_;
  double lines_ = 0;
  double picture_lines_ = 0;
  // How closely 0H follows the edges of single lines, and how noisy those are.
  std::uint64_t followed_ = 0;
  double last_t0_ = 0;
  double moved_ = 0;
  double missed2_ = 0;
  double edge_noise2_ = 0;
  double edges_ = 0;
};

}  // namespace linebench::measure
