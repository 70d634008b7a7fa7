#include "picture_fields.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace linebench::measure {

void PictureFieldMeter::push(const PictureView& view) {
  if (setup_.fields < 2 || view.index > 1500) return;
  if (!before_.empty()) {
    const int last = setup_.last_col / block_px;
    look_at_rows(view.block_sums.data());
    for (int r = 1; r + 2 < setup_.height(); r += tile_rows)  // bottom field's rows
      for (int b = setup_.first_col / block_px; b < last; b += tile_blocks)
        look_at_tile(view.block_sums.data(), r, std::min(r + tile_rows, setup_.height() - 2), b,
                     std::min(b + tile_blocks, last));
  }
  before_.assign(view.block_sums.begin(), view.block_sums.end());
}

namespace {

// What a straight line through points leaves of the squares of their differences.
class Pairs {
 public:
  void add(double x, double y) {
    n_ += 1;
    x_ += x;
    y_ += y;
    xx_ += x * x;
    yy_ += y * y;
    xy_ += x * y;
  }
  [[nodiscard]] double differ() const { return xx_ + yy_ - 2 * xy_; }
  [[nodiscard]] double left() const {
    const double xx = xx_ - x_ * x_ / n_, yy = yy_ - y_ * y_ / n_, xy = xy_ - x_ * y_ / n_;
    return xx > 0 ? std::max(0.0, yy - xy * xy / xx) : yy;
  }

 private:
  double n_ = 0, x_ = 0, y_ = 0, xx_ = 0, yy_ = 0, xy_ = 0;
};

}  // namespace

// Rows that change as a whole do so by hum, spikes or noise of their own, not by what moves in them.
void PictureFieldMeter::look_at_rows(const std::uint16_t* now) {
  const int first = setup_.first_col / block_px;
  const int n = setup_.last_col / block_px - first;
  const double by_noise = 2 * block_px * (setup_.noise * setup_.noise + 1.0 / 12);
  as_one_.assign(static_cast<std::size_t>(setup_.height()), 0);
  for (int r = 0; r < setup_.height(); ++r) {
    const auto at = static_cast<std::size_t>(r * setup_.blocks() + first);
    double sum = 0, squares = 0;
    for (std::size_t b = at; b < at + static_cast<std::size_t>(n); ++b) {
      const double d = now[b] - before_[b];
      sum += d;
      squares += d * d;
    }
    const double mean = sum / n;
    const double spread = squares / n - mean * mean;
    as_one_[static_cast<std::size_t>(r)] = mean * mean > 2 * by_noise && mean * mean > 2 * spread ? 1 : 0;
  }
}

void PictureFieldMeter::look_at_tile(const std::uint16_t* now, int row, int row_end, int block,
                                     int block_end) {
  const std::uint16_t* old = before_.data();
  const int blocks = setup_.blocks();
  const int threshold = static_cast<int>(8 * std::max(6.0, 3 * setup_.noise));
  std::uint64_t moving = 0;
  double late_bottom = 0, late_top = 0;
  Pairs with_next, with_old;
  for (int r = row; r < row_end; r += 2) {
    const std::uint8_t* rows = as_one_.data() + r;
    const bool as_one = rows[-1] != 0 || rows[0] != 0 || rows[1] != 0;
    for (int b = block; b < block_end; ++b) {
      const int i = r * blocks + b;
      const double top_next = 0.5 * (now[i - blocks] + now[i + blocks]);
      const double top_old = 0.5 * (old[i - blocks] + old[i + blocks]);
      with_next.add(old[i], top_next);
      with_old.add(now[i], top_old);
      if (std::abs(now[i] - old[i]) < threshold) {
        // Standing detail tells which rows belong side by side.
        const int in_pair = now[i] - now[i - blocks];
        if (std::abs(in_pair) < 2000) {
          const double near = now[i] - now[i + blocks];
          const double far = now[i - blocks] - now[i + 2 * blocks];
          if (std::abs(near) + std::abs(far) > 2 * threshold) {
            near_ += near * near;
            far_ += far * far;
            ++detail_;
          }
        }
        continue;
      }
      if (as_one) continue;
      ++moving;
      late_bottom += (old[i] - top_next) * (old[i] - top_next);
      late_top += (now[i] - top_old) * (now[i] - top_old);
    }
  }
  if (moving == 0) return;
  // Light that changes makes all of a place brighter by one measure; what moves does not leave its shape.
  // Noise is in the differences of a row and the mean of two.
  const double points = (row_end - row + 1) / 2 * (block_end - block);
  const double noise = 2 * points * 1.5 * block_px * (setup_.noise * setup_.noise + 1.0 / 12);
  const double differ = with_next.differ() + with_old.differ() - noise;
  if (with_next.left() + with_old.left() - noise < 0.35 * differ) {
    flickering_ += moving;
    return;
  }
  moving_ += moving;
  late_bottom_ += late_bottom;
  late_top_ += late_top;
}

void PictureFieldMeter::finish(bool rolling, Readings& out) const {
  constexpr std::uint64_t enough = 400;
  if (setup_.fields < 2) {
    for (const char* id : {"picture.field_order", "picture.field_order.kept", "picture.fields.swapped"})
      out.push_back(unmeasurable(id, "frames hold one field only"));
    return;
  }
  const bool swapped = detail_ > 2000 && near_ > 1.5 * far_;
  const bool alike = std::max(late_bottom_, late_top_) < 1.35 * std::min(late_bottom_, late_top_);
  std::string why;
  if (flickering_ >= enough && 20 * moving_ < flickering_)
    why =
        "it is the light that changes (lamps that flicker, gain that moves), and nothing moves; let "
        "something cross "
        "the picture sideways while taking it";
  else if (moving_ < enough || (alike && setup_.patterned()))
    why = "nothing moves; let something cross the picture sideways while taking it";
  else if (alike)
    why = "both fields show the same moment (progressive material), or what moves has no clear edges";
  if (!why.empty()) {
    for (const char* id : {"picture.field_order", "picture.field_order.kept"})
      out.push_back(unmeasurable(id, why));
  } else {
    const bool top = late_bottom_ < late_top_;
    out.push_back(text_reading("picture.field_order", top ? "top" : "bottom"));
    const auto& scanned = setup_.format.top_field_first;
    out.push_back(
        !scanned
            ? unmeasurable("picture.field_order.kept", "the file does not say which field was scanned first")
        : *scanned == top ? text_reading("picture.field_order.kept", "yes")
                          : text_reading("picture.field_order.kept", "no",
                                         "the source says otherwise: fields will judder when shown"));
  }
  if (rolling) {  // between its two fields it has moved on as well
    out.push_back(
        unmeasurable("picture.fields.swapped", "the picture rolls from field to field; cure the roll first"));
  } else if (detail_ > 2000 && !swapped && far_ < 1.2 * near_) {
    out.push_back(
        unmeasurable("picture.fields.swapped",
                     "what differs from row to row stands on both rows of a pair, which swapping them "
                     "does not change; point the camera at something with detail"));
  } else if (detail_ > 2000 && (!setup_.rows_alike() || setup_.pattern.kind == PatternKind::Crosshatch)) {
    out.push_back(text_reading("picture.fields.swapped", swapped ? "yes" : "no",
                               swapped ? "rows of the two fields stand in each other's place" : ""));
  } else {
    out.push_back(unmeasurable(
        "picture.fields.swapped",
        "rows look too much alike; send a crosshatch, or point the camera at something with detail"));
  }
}

}  // namespace linebench::measure
