#include "video_saturation.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/standards/video_colour.hpp>

namespace linebench::measure {
namespace {

constexpr const char* id = "video.saturation";

const Reading* measured(const Readings& readings, const std::string& of) {
  const Reading* r = find_reading(readings, of);
  return r != nullptr && r->measured() ? r : nullptr;
}

double rel_u(const Reading& r) { return r.uncertainty.value_or(0.0) / r.number(); }

}  // namespace

Reading saturation_reading(const Readings& readings) {
  const Reading* kind = measured(readings, "video.bars.kind");
  if (kind == nullptr) return unmeasurable(id, "no colour bars in the picture; send colour bars");
  const Reading* burst = measured(readings, "video.burst.amplitude");
  if (burst == nullptr) return unmeasurable(id, "no colour burst was found to set colours by");
  const Reading* system = measured(readings, "video.system");
  if (system == nullptr) return unmeasurable(id, "which system it is, and so its levels, is not known");
  const auto& standard = system->text() == "625"   ? standards::video_625
                         : system->text() == "525" ? standards::video_525
                                                   : standards::video_525_no_setup;
  const std::array forms = {standards::bars_75, standards::bars_100, standards::bars_100_0_75_0};
  const auto form =
      std::find_if(forms.begin(), forms.end(), [&](const auto& f) { return f.name == kind->text(); });
  if (form == forms.end()) return unmeasurable(id, "bars of a form whose levels are not known");
  double sum = 0, u = 0;
  int colours = 0;
  for (int i = 1; i < 7; ++i) {
    const Reading* chroma = measured(
        readings, fmt::format("video.bars.{}.chroma", standards::bar_names[static_cast<std::size_t>(i)]));
    if (chroma == nullptr || !(chroma->number() > 0)) continue;
    const double ratio =
        chroma->number() / standards::composite_colour(standard, standards::bar_rgb(*form, i)).chroma_pp_mv;
    sum += ratio;
    u += ratio * rel_u(*chroma);  // as if all were off together
    ++colours;
  }
  if (colours == 0) return unmeasurable(id, "no bar's colour could be told");
  const double value = sum / colours / (burst->number() / standard.burst_pp_mv.nominal);
  return number_reading(id, value, value * std::hypot(u / sum, rel_u(*burst)),
                        fmt::format("{} colours of {} % bars, re burst", colours, form->name));
}

}  // namespace linebench::measure
