#include "picture_fields.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace linebench::measure {

void PictureFieldMeter::push(const PictureView& view) {
  if (setup_.fields < 2 || view.index > 1500) return;
  const int blocks = setup_.blocks();
  const auto size = view.block_sums.size();
  const int h = setup_.height();
  const auto* now = view.block_sums.data();
  if (!before_.empty()) {
    const std::uint16_t* old = before_.data();
    const int threshold = static_cast<int>(8 * std::max(6.0, 3 * setup_.noise));
    const int first = setup_.first_col / block_px;
    const int last = setup_.last_col / block_px;
    for (int r = 1; r + 2 < h; r += 2) {  // bottom field's rows
      for (int b = first; b < last; ++b) {
        const int i = r * blocks + b;
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
        ++moving_;
        const double top_next = 0.5 * (now[i - blocks] + now[i + blocks]);
        const double top_old = 0.5 * (old[i - blocks] + old[i + blocks]);
        late_bottom_ += (old[i] - top_next) * (old[i] - top_next);
        late_top_ += (now[i] - top_old) * (now[i] - top_old);
      }
    }
  }
  before_.assign(now, now + size);
}

void PictureFieldMeter::finish(Readings& out) const {
  constexpr std::uint64_t enough = 400;
  if (setup_.fields < 2) {
    for (const char* id : {"picture.field_order", "picture.field_order.kept", "picture.fields.swapped"})
      out.push_back(unmeasurable(id, "frames hold one field only"));
    return;
  }
  const bool swapped = detail_ > 2000 && near_ > 1.5 * far_;
  const bool alike = std::max(late_bottom_, late_top_) < 1.35 * std::min(late_bottom_, late_top_);
  std::string why;
  if (moving_ < enough || (alike && setup_.patterned()))
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
  if (detail_ > 2000) {
    out.push_back(text_reading("picture.fields.swapped", swapped ? "yes" : "no",
                               swapped ? "rows of the two fields stand in each other's place" : ""));
  } else {
    out.push_back(unmeasurable("picture.fields.swapped",
                               "rows look too much alike; point the camera at something with detail"));
  }
}

}  // namespace linebench::measure
