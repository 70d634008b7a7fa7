#include "cmd_capture_picture.hpp"

#include <fmt/format.h>

#include <linebench/capture/picture_session.hpp>
#include <linebench/report/document.hpp>
#include <memory>

#include "open_grabber.hpp"
#include "picture_line.hpp"
#include "say.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

struct PictureOptions {
  GrabberChoice grabber;
  std::string out;
  double seconds = 0;
  bool replace = false;
};

Exit capture_picture(Context& context, const PictureOptions& o) {
  check_seconds(o.seconds);
  check_out(o.out, o.replace);
  const OpenGrabber g = open_grabber(o.grabber);
  capture::YuvFileSink sink(o.out, g.stream->setting());
  const PictureLine line;
  capture::PictureOutcome outcome =
      capture::take_picture(*g.stream, g.identity,
                            {.take = &sink,
                             .seconds = o.seconds,
                             .watch = [&line](const capture::PictureStatus& status) { line.show(status); },
                             .stop = &context.stop});
  line.wipe();
  outcome.facts.device = g.device;
  const CaptureFacts f = sink.finish(outcome);
  if (f.frames == 0) {
    std::error_code ec;
    std::filesystem::remove(o.out, ec);
    std::filesystem::remove(std::filesystem::path(o.out).replace_extension(".json"), ec);
  } else {
    say("{}: {:.1f} s, {} frames, from {}; {}\n", o.out, f.duration_s(), f.frames, f.device,
        f.dropped > 0 ? fmt::format("{} frames lost: take it again before judging by it", f.dropped)
                      : "none lost");
  }
  if (context.json) {
    report::Document document;
    document.command = "capture picture";
    document.input = f;
    document.verdict = f.interrupted ? "incomplete" : "pass";
    print_json(document);
  }
  return exit_of(capture::Outcome{.end = outcome.end, .line = outcome.line, .facts = {}, .levels = {}});
}

}  // namespace

void add_capture_picture(CLI::App& group, Context& context) {
  auto o = std::make_shared<PictureOptions>();
  CLI::App* c = group.add_subcommand("picture", "Frames from a video grabber to a raw .yuv with its sidecar");
  c->add_option("--from", o->grabber.from,
                "The grabber: its node, its name or a part of it that fits no other")
      ->required();
  c->add_option("--seconds", o->seconds, "How long")->required();
  c->add_option("--out", o->out, "The file to make, NAME.yuv")->required();
  c->add_option("--input", o->grabber.input,
                "Which input: its number or a part of its name; otherwise the composite one");
  c->add_option("--standard", o->grabber.standard,
                "Lines of the television standard; auto: what is on the wire")
      ->check(CLI::IsMember({"525", "625", "auto"}))
      ->capture_default_str();
  c->add_flag("--compressed", o->grabber.compressed,
              "Take MJPEG where a grabber sends nothing else; marked as lossy");
  c->add_flag("--replace", o->replace, "Replace a file of that name");
  c->callback([&context, o] { context.action = [&context, o] { return capture_picture(context, *o); }; });
}

}  // namespace linebench::app
