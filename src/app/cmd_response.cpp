#include <linebench/capture/audio_file.hpp>
#include <linebench/measure/response.hpp>
#include <memory>

#include "commands.hpp"
#include "progress_line.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

struct Options {
  std::string sent, returned, limits;
  ShowOptions show;
};

Exit respond(Context& context, Options& o) {
  check_limits(o.limits);
  check_job(o.show);
  o.show.file = o.returned;
  if (!o.show.html.empty()) check_page_path(o.show.html, o.returned);
  const auto sent = capture::open_audio_file(o.sent);
  const auto returned = capture::open_audio_file(o.returned);
  report::Document document;
  document.command = "response";
  {
    const ProgressLine line("comparing " + returned->facts().source + " with " + sent->facts().source);
    document.readings = measure::measure_response(*sent, *returned, {}, line.progress(), &context.stop);
  }
  document.input = returned->facts();
  if (document.input.signal.empty()) document.input.signal = sent->facts().source;
  refuse_part(context, o.returned);
  // Only the path between the two is looked at: levels, hum and noise of the return are `measure`'s.
  judge_document(document, o.limits,
                 judge::Asked{.purposes = {"audio.response"}, .only = {"audio.response"}});
  return show(context, document, o.show);
}

}  // namespace

void add_response(CLI::App& app, Context& context) {
  auto o = std::make_shared<Options>();
  CLI::App* c = app.add_subcommand("response", "Transfer function, delay, polarity and echoes of a path");
  c->add_option("SENT", o->sent, "The file that was played")->required();
  c->add_option("RETURNED", o->returned, "The recording of what came back")->required();
  add_show_options(*c, o->show, o->limits);
  c->callback([&context, o] { context.action = [&context, o] { return respond(context, *o); }; });
}

}  // namespace linebench::app
