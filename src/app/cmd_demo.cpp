// The whole audio job on the demo site's captures: measure, judge, report; no hardware.
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <linebench/base/json_text.hpp>
#include <linebench/base/version.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/measure/sent.hpp>
#include <linebench/report/page.hpp>
#include <linebench/report/summary.hpp>
#include <linebench/signals/demo_site.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "demo_jobs.hpp"
#include "progress_line.hpp"
#include "say.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

constexpr const char* page_name = "linebench-demo.html";

struct DemoOptions {
  std::string out = ".";
  std::string make, jobs;
};

void make_folder(const fs::path& folder) {
  std::error_code ec;
  fs::create_directories(folder, ec);
  if (ec) throw unusable(fmt::format("{}: the folder cannot be made ({})", folder.string(), ec.message()));
}

Exit make_captures(const fs::path& folder) {
  make_folder(folder);
  for (const signals::DemoPath& path : signals::ferry_terminal()) {
    capture::AudioFileWriter writer(folder / path.file, path.rate_hz, path.channels,
                                    capture::SampleFormat::Pcm16);
    writer.write(signals::render(path));
    CaptureFacts facts;
    facts.signal = path.signal;
    facts.full_scale_v = path.full_scale_v;
    facts.notes = {"A computed capture of the demo's invented ferry terminal."};
    (void)writer.finish(facts);
    say("made {}\n", (folder / path.file).string());
  }
  return Exit::Ok;
}

report::PageSection measure_path(const signals::DemoPath& path, Context& context, ShowOptions& show) {
  const auto source = capture::open_audio_file(share_dir() / "captures" / path.file);
  measure::AudioOptions options;
  options.signal = source->facts().signal;
  options.tone_hz = path.tone_hz;
  report::PageSection section;
  section.title = path.title;
  section.story = path.story;
  section.document.command = "demo";
  section.document.readings = measure_traced(*source, options, {}, context.stop, show);
  section.document.input = source->facts();
  std::optional<measure::Sent> sent;
  const auto recipe = known_recipe(options.signal);
  if (recipe) sent = measure::Sent{.name = recipe->name, .tone_hz = measure::tone_of(*recipe)};
  measure::add_signal_readings(section.document.readings, section.document.input, sent);
  judge_document(section.document, path.limits, recipe ? judge::asked_of(*recipe) : judge::Asked{});
  section.traces = std::move(show.traces);
  show.traces.clear();
  return section;
}

void print_demo_json(const std::vector<report::PageSection>& sections, const std::string& verdict,
                     const std::string& page) {
  report::Document site;
  site.command = "demo";
  site.input.source = signals::demo_site_title;
  site.input.kind = "demo site";
  site.verdict = verdict;
  nlohmann::json j = report::to_json(site);
  j["report"] = page;
  j["captures"] = nlohmann::json::array();
  for (const auto& s : sections) {
    nlohmann::json one = report::to_json(s.document);
    one["title"] = s.title;
    j["captures"].push_back(std::move(one));
  }
  print_text(json_text(j, 2) + "\n");
}

// The site is as good as its worst path.
std::string worst_verdict(const std::vector<report::PageSection>& sections) {
  std::string worst = "pass";
  for (const auto& s : sections) {
    if (s.document.verdict == "fail") return "fail";
    if (s.document.verdict == "incomplete") worst = "incomplete";
  }
  return worst;
}

Exit run_demo(Context& context, const DemoOptions& o) {
  if (!o.make.empty()) return make_captures(o.make);
  if (!o.jobs.empty()) return run_demo_jobs(o.jobs, context);
  make_folder(o.out);
  const std::string page = (fs::path(o.out) / page_name).lexically_normal().string();
  check_page_path(page, "");
  const auto paths = signals::ferry_terminal();
  std::vector<report::PageSection> sections;
  ShowOptions show;
  show.html = page;  // so that traces are gathered
  {
    const ProgressLine line("measuring the demo site");
    const Progress progress = line.progress();
    for (const auto& path : paths) {
      if (context.stop) return Exit::Interrupted;
      if (progress)
        progress(static_cast<double>(sections.size()) / static_cast<double>(paths.size()), path.title);
      sections.push_back(measure_path(path, context, show));
    }
  }
  report::PageHead head;
  head.title = fmt::format("{}: audio paths", signals::demo_site_title);
  head.intro =
      "Three ticket counters, five vehicle lanes and a passenger-information feed, joined at one hub. The "
      "site is "
      "invented and its captures are computed; the measuring, judging and advice are the program's own.";
  head.made_at = now_utc();
  capture::store_text(page, report::html_page(head, sections));
  if (context.json) {
    print_demo_json(sections, worst_verdict(sections), page);
  } else {
    print_text(report::terminal_summary(signals::demo_site_title, sections, terminal_style(false)));
    print_text(fmt::format(
        "\nThe report with plots and what to do next: {}\n"
        "Open it in a browser, or print it. Exit status is 0: the demo ran; its faults are meant.\n",
        page));
  }
  return Exit::Ok;
}

}  // namespace

void add_demo(CLI::App& app, Context& context) {
  auto o = std::make_shared<DemoOptions>();
  CLI::App* c =
      app.add_subcommand("demo", "The whole job on an invented site's captures; no hardware needed");
  c->add_option("--out", o->out, "Folder for the report")->capture_default_str();
  c->add_option("--jobs", o->jobs,
                "Compute the captures of three guided jobs into this folder and run them: a fault on site, a "
                "returned station, a programme feed");
  // For whoever changes the scene; a user of the program has no need of it.
  c->add_option("--make", o->make, "Compute the site's captures into this folder")->group("");
  c->callback([&context, o] { context.action = [&context, o] { return run_demo(context, *o); }; });
}

}  // namespace linebench::app
