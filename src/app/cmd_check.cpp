// check site, station, feed: the guided jobs.
#include <fmt/format.h>
#include <unistd.h>

#include <linebench/capture/atomic_file.hpp>
#include <memory>

#include "check_paper.hpp"
#include "check_run.hpp"
#include "commands.hpp"
#include "jobs_store.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

struct CheckOptions {
  std::string store, job, files, change;
  CheckDevices devices;
};

// Asked once, before the first job: which half of the world. @return false when it was not answered.
bool ask_profile(const check::Words& words, Answers& answers, const Context& context) {
  const check::Question& q = words.question("profile.mains");
  check::Step step;
  step.kind = check::StepKind::Choose;
  step.key = "profile.mains";
  step.ask = q.ask;
  step.choices = q.choices;
  show_step(step, 0, words, context);
  for (;;) {
    const Reply reply = answers.reply(step, {});
    if (reply.kind == Reply::Kind::Leave) return false;
    if (reply.kind != Reply::Kind::Answer) continue;
    const fs::path file = check::profile_file();
    std::error_code ec;
    fs::create_directories(file.parent_path(), ec);
    capture::store_text(file, check::to_toml(check::usual_profile(reply.text == "60" ? 60 : 50)));
    return true;
  }
}

Exit run_job(Context& context, const CheckOptions& o, job::JobKind kind) {
  check::Knowledge knowledge = knowledge_for(kind);
  job::Store store = o.job.empty() ? job::Store(store_file(o.store)) : existing_store(o.store);
  const auto answers = o.files.empty() ? answers_from_keyboard(knowledge.words, context, o.devices)
                                       : answers_from_files(knowledge.words, o.files, context);
  // Lines that are piped in answer the job's own steps.
  if (o.files.empty() && !check::load_profile() && isatty(STDIN_FILENO) == 0) {
    show_line(context, knowledge.words.text("profile-assumed"));
  } else if (o.files.empty() && !check::load_profile()) {
    if (!ask_profile(knowledge.words, *answers, context)) return Exit::Interrupted;
    knowledge.profile = *check::load_profile();
  }
  if (store.read_only())
    throw unusable(
        "the job store is read only, so nothing could be kept; give --store a file you may write to");
  check_devices(o.devices);
  knowledge.sends = !o.devices.to.empty();
  job::Job job;
  job.kind = kind;
  if (!o.job.empty()) job = store.job(o.job);
  if (job.kind != kind)
    throw bad_usage(fmt::format("job {} is not a {} job; go on with: linebench check {} --job {}{}", job.ref,
                                to_string(kind), to_string(job.kind), job.ref, store_option(o.store)));
  // So that `last` is seen to be the one that was meant.
  if (!job.uid.empty())
    show_line(context, knowledge.words.text("job-begun", {{"ref", job.ref}}) +
                           (job.title.empty() ? "" : ": " + job.title));
  CheckRun run{store, job, knowledge, *answers, o.devices, o.change, o.store};
  const Exit exit = run_check(run, context);
  if (context.json) print_check_document(store, run.job, knowledge);
  return exit;
}

void add_kind(CLI::App& group, Context& context, job::JobKind kind, const char* help) {
  auto o = std::make_shared<CheckOptions>();
  CLI::App* c = group.add_subcommand(std::string(to_string(kind)), help);
  c->add_option("--job", o->job, "Go on with this job: its name, the end of it, or `last`");
  c->add_option("--change", o->change, "Give this answer anew first: its key, as jobs show lists them");
  c->add_option("--from-files", o->files, "Answers and captures from this folder instead of the keyboard");
  c->add_option("--from", o->devices.from, "The sound device to take in from");
  c->add_option("--to", o->devices.to, "The sound device to send test signals from");
  c->add_option("--grabber", o->devices.grabber, "The video grabber to take pictures from");
  c->add_option("--store", o->store, "The job store; without it this user's own");
  c->callback(
      [&context, o, kind] { context.action = [&context, o, kind] { return run_job(context, *o, kind); }; });
}

}  // namespace

void add_check(CLI::App& app, Context& context) {
  CLI::App* group = app.add_subcommand("check", "A whole job, step by step, kept in the job store");
  group->require_subcommand(1);
  add_kind(*group, context, job::JobKind::Site,
           "A fault on site: from what is seen to the part it comes in at");
  add_kind(*group, context, job::JobKind::Station, "A returned station on the bench");
  add_kind(*group, context, job::JobKind::Feed, "A programme feed before it is connected");
}

}  // namespace linebench::app
