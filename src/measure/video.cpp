#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/measure/video.hpp>
#include <linebench/measure/video_receiver.hpp>
#include <linebench/measure/video_traces.hpp>
#include <linebench/standards/video.hpp>
#include <memory>

#include "video_meters.hpp"
#include "video_saturation.hpp"

namespace linebench::measure {
namespace {

using Counts = VideoReceiver::Counts;

// Whether black stands on setup is what the reading of setup says, which knows what is on the lines.
Reading system_reading(const VideoSetup& s, const VideoOptions& options, const Reading* black) {
  const bool known = black != nullptr && black->measured();
  const std::string forced = options.system == SystemChoice::Auto ? "" : "as told; ";
  if (s.lines == 625) {
    const bool other = s.colour && std::abs(s.subcarrier_hz - standards::video_625.subcarrier_hz.value()) > 1;
    return text_reading(
        "video.system", "625",
        forced + (other ? fmt::format("colour subcarrier at {:.6f} MHz, not the usual 4.433619",
                                      s.subcarrier_hz * 1e-6)
                        : std::string()));
  }
  if (s.colour && s.subcarrier_hz > 4e6) {
    return text_reading("video.system", "525-4.43",
                        forced + "60 fields with the colour subcarrier at 4.433619 MHz");
  }
  if (s.colour && s.v_alternates) {
    return text_reading("video.system", "525", forced + "alternating colour on 525 lines");
  }
  if (options.system == SystemChoice::Auto && !known) {
    return text_reading("video.system", "525",
                        "the picture has no black, so whether there is setup is not known");
  }
  const bool raised = options.system == SystemChoice::Auto
                          ? black->number() > 0.5 * standards::video_525.black_mv.nominal * s.gain()
                          : s.setup;
  return text_reading("video.system", raised ? "525" : "525-no-setup", forced);
}

void counts_and_structure(const VideoSetup& s, const Counts& c, Readings& out) {
  out.push_back(text_reading(
      "video.polarity", s.inverted ? "inverted" : "normal",
      s.inverted ? "sync is positive: two wires of the pair are swapped, or a stage inverts" : ""));
  if (s.lines_per_frame > 0) {
    out.push_back(number_reading("video.lines_per_frame", s.lines_per_frame, std::nullopt));
    out.push_back(text_reading("video.interlaced", s.interlaced ? "yes" : "no"));
  } else {
    const std::string reason =
        s.numbered ? "only one vertical sync in the capture; take at least 60 ms"
                   : "no vertical sync was found; the source may not send one, or the capture is "
                     "shorter than a field";
    out.push_back(unmeasurable("video.lines_per_frame", reason));
    out.push_back(unmeasurable("video.interlaced", reason));
  }
  std::string remark = c.missing > 0 ? fmt::format("of {} lines", c.lines) : "";
  if (c.relocks > 0) remark += fmt::format("; the signal was lost and came back {} times", c.relocks);
  out.push_back(number_reading("video.sync.missing", static_cast<double>(c.missing), std::nullopt, remark));
}

Readings nothing_there(const std::string& reason) {
  Readings out;
  out.push_back(text_reading("video.signal", "none", reason));
  for (const ReadingKind& k : video_reading_kinds()) {
    if (!k.id.starts_with("video.") || k.id == "video.signal") continue;
    if (k.id.find("COLOUR") != std::string_view::npos || k.id.find(".N.") != std::string_view::npos) continue;
    out.push_back(unmeasurable(k.id, "no composite signal: " + reason));
  }
  return out;
}

}  // namespace

Readings measure_video(capture::VideoSource& source, const VideoOptions& options, const Progress& progress,
                       const StopFlag* stop, VideoTraces* traces) {
  VideoReceiver receiver(source, options);
  if (!receiver.acquire()) {
    Readings out = nothing_there(receiver.reason());
    SampleCheck::check_nothing(receiver.counts(), out);
    return out;
  }
  const double clock = options.clock_error_ppm.value_or(source.facts().clock_error_ppm.value_or(0.0));
  const VideoSetup& setup = receiver.setup();
  VideoMeters all(setup, options, clock);
  std::vector<LineMeter*> meters;
  for (const VideoMeters::Named& m : all.list()) meters.push_back(m.meter);
  std::unique_ptr<VideoTraceMeter> tracer;
  if (traces != nullptr) {
    std::vector<int> lines;
    for (const VideoTraces::Line& l : traces->chosen) lines.push_back(l.number);
    tracer = std::make_unique<VideoTraceMeter>(setup, std::move(lines));
    meters.push_back(tracer.get());
  }
  receiver.run(meters, progress, stop);

  Readings out;
  out.push_back(text_reading("video.signal", "present"));
  counts_and_structure(receiver.setup(), receiver.counts(), out);
  for (LineMeter* m : meters) m->finish(receiver.setup(), out);
  out.push_back(system_reading(receiver.setup(), options, find_reading(out, "video.setup")));
  out.push_back(saturation_reading(out));
  if (tracer) *traces = tracer->traces();
  all.samples.check(receiver.setup(), receiver.counts(), out);
  return out;
}

}  // namespace linebench::measure
