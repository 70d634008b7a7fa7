#include "check_run.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/json_text.hpp>
#include <linebench/base/version.hpp>
#include <linebench/check/finished.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <linebench/job/export.hpp>
#include <linebench/report/findings.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/job_page.hpp>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "check_measure.hpp"
#include "check_paper.hpp"
#include "check_same.hpp"
#include "jobs_store.hpp"
#include "say.hpp"
#include "show.hpp"
#include "typed_meanwhile.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;
using check::Step;
using check::StepKind;

class Runner {
 public:
  Runner(CheckRun& run, Context& context) : run_(run), words_(run.knowledge.words), context_(context) {
    if (!run_.job.uid.empty()) enter();
  }
  ~Runner() {
    try {
      if (!run_.job.uid.empty()) run_.store.leave_job(run_.job);
    } catch (const Error&) {  // the next program finds that this one is gone
    }
  }
  Runner(const Runner&) = delete;
  Runner& operator=(const Runner&) = delete;

  Exit run() {
    std::string again = run_.change;  // the answer to be given anew
    if (!again.empty()) check_change();
    std::string answered;
    bool refused = false;
    for (;;) {
      steps_kept_ = run_.job.uid.empty() ? 0 : run_.store.steps_kept(run_.job);
      const check::Work work = load();
      check::Work seen = work;
      std::erase_if(seen.answers, [&](const job::Step& s) { return s.key == again; });
      check::Route route = check::next_step(seen, run_.knowledge);
      if (route.next.kind == StepKind::Finish) return finish(work, route.next);
      // A flow that does not take its own answer would ask for ever.
      if (route.next.key == answered && again.empty())
        throw std::logic_error(fmt::format("the step {} did not take its answer", answered));
      if (route.next.key == again) offer_old(route.next, work);
      if (route.next.outdated && measured_anew(route.next)) continue;
      answered.clear();
      again.clear();
      if (route.next.news) {
        std::string told = report::outcome_text(*route.next.news, terminal_style(false));
        // What has not changed since need not be read again at every step.
        if (told == told_) route.next.news->points.clear();
        told_ = std::move(told);
      }
      // After a file that could not be used the step still stands on the screen.
      if (!refused) {
        show_step(route.next, route.answered.size() + 1, words_, context_);
        hint_at_devices(route.next);
      }
      refused = false;
      const Reply reply = run_.answers.reply(route.next, route);
      switch (reply.kind) {
        case Reply::Kind::Leave:
          return leave();
        case Reply::Kind::Back:
          again = route.answered.empty() ? route.next.key : route.answered.back().key;
          if (route.answered.empty()) show_line(context_, words_.text("say-first"));
          break;
        case Reply::Kind::Change:
          again = reply.text;
          break;
        case Reply::Kind::Note:
          begin();
          run_.store.note(run_.job, reply.text);
          show_line(context_, words_.text("note-kept", {{"note", reply.text}}));
          again = route.next.key;
          break;
        case Reply::Kind::Keep:
          break;
        case Reply::Kind::Answer:
        case Reply::Kind::Record:
          try {
            refused = !keep(route.next, reply);
            if (refused) again = route.next.key;
            answered = again.empty() ? route.next.key : "";
          } catch (const job::AnsweredElsewhere& e) {
            if (!run_.answers.can_try_again()) throw;
            show_line(context_, fmt::format("{}. {}", e.what(), words_.text("answered-elsewhere")));
          }
          if (context_.stop) return leave();
          break;
      }
    }
  }

 private:
  // Two programs on one job: the second answer is refused by the store; better that it is known before.
  void enter() {
    std::optional<job::InUse> other;
    try {
      other = run_.store.enter_job(run_.job);
    } catch (const Error&) {  // a disk that is full is said when something is to be kept
    }
    if (other)
      show_line(context_, words_.text("job-open-elsewhere", {{"pid", std::to_string(other->pid)},
                                                             {"since", report::show_time(other->since)}}));
  }

  // The job is in the store from its first answer on.
  void begin() {
    if (!run_.job.uid.empty()) return;
    run_.job = run_.store.open_job({.kind = run_.job.kind});
    enter();
    show_text(context_, words_.text("job-begun", {{"ref", run_.job.ref}}) + "\n");
  }

  void check_change() {
    const check::Route whole = check::next_step(load(), run_.knowledge);
    std::string known;
    for (const check::Answered& a : whole.answered) {
      if (a.key == run_.change) return;
      known += (known.empty() ? "" : ", ") + a.key;
    }
    throw bad_usage(words_.text("change-unknown", {{"typed", run_.change}, {"known", known}}));
  }

  // An answer that is given anew is kept by a bare Enter.
  void offer_old(Step& step, const check::Work& work) {
    const std::string* old = work.answer(step.key);
    if (old == nullptr || old->empty()) return;
    if (step.kind != StepKind::Capture) {
      if (check::accept(step, *old, words_).answer == *old) step.otherwise = *old;
      return;
    }
    for (const check::Answered& a : check::next_step(work, run_.knowledge).answered) {
      if (a.key == step.key) step.was = a.shown;
    }
  }

  // How to take in from a device, said once for sound and once for pictures where none was named.
  void hint_at_devices(const Step& step) {
    if (step.kind != StepKind::Capture || !run_.answers.can_try_again() || can_take(run_.devices, step.wish))
      return;
    const bool video = step.wish.view == check::CaptureWish::View::Video;
    bool& hinted = video ? hinted_video_ : hinted_sound_;
    if (hinted) return;
    hinted = true;
    const bool sent = !step.wish.signal.empty();
    show_line(context_, words_.text(video  ? "hint-grabber"
                                    : sent ? "hint-card-send"
                                           : "hint-card",
                                    {{"kind", std::string(to_string(run_.job.kind))},
                                     {"ref", run_.job.ref},
                                     {"store", store_option(run_.store_named)},
                                     {"seconds", fmt::format("{:g}", step.wish.seconds)}}));
  }

  check::Work load() {
    if (run_.job.uid.empty()) return {run_.job, {}, {}};
    check::Work work = check::load_work(run_.store, run_.job);
    const job::NewJob known = check::identity_of(work);
    const job::Job& j = work.job;
    const bool same = (known.title.empty() || known.title == j.title) &&
                      (known.complaint.empty() || known.complaint == j.complaint) &&
                      (known.site.empty() || (j.site && j.site->name == known.site)) &&
                      (known.station_type.empty() || (j.station && j.station->type == known.station_type &&
                                                      j.station->serial == known.station_serial));
    if (!same) {
      run_.store.describe(j, known);
      work.job = run_.store.job(j.uid);
    }
    if (work.job.site && work.job.site->uid != known_site_) {
      run_.knowledge.paths = run_.store.paths(*work.job.site);
      known_site_ = work.job.site->uid;
    }
    if (work.job.station && work.job.station->uid != known_station_) {
      add_history(run_.knowledge, run_.store, work.job);
      known_station_ = work.job.station->uid;
    }
    return work;
  }

  // An answer that was changed since a capture was judged: the same file is measured for the new one. Where
  // it is gone or is another file by now, it is asked for.
  bool measured_anew(const Step& step) {
    const job::Capture& was = *step.outdated;
    const std::string state = was.file.empty() ? words_.text("outdated-no-file") : job::file_state(was);
    if (!state.empty()) {
      show_line(context_, words_.text("outdated-gone", {{"label", was.label}, {"why", state}}));
      return false;
    }
    show_line(context_, words_.text("outdated-anew", {{"label", was.label}}));
    return keep(step, {Reply::Kind::Answer, was.file.string()});
  }

  // Whether the step has its answer now. What is wrong with a file is said, and the step asked again.
  bool keep(const Step& step, const Reply& reply) {
    begin();
    // Before anything is taken in for it; the store looks once more when it is kept.
    run_.store.refuse_if_answered(run_.job, steps_kept_);
    if (run_.store.job(run_.job.uid).done) run_.store.reopen(run_.job);
    if (step.kind != StepKind::Capture || check::is_skipped(reply.text)) {
      if (step.kind == StepKind::Tick) {
        for (const job::Mark& m : check::marks_of(run_.knowledge.checklist, reply.text))
          run_.store.mark(run_.job, m);
      }
      // A value that was metered and left out all the same stays on record.
      if (!reply.refused.empty() && reply.text.empty())
        run_.store.note(run_.job,
                        words_.text("refused-left", {{"title", step.title}, {"typed", reply.refused}}));
      // What goes with a choice first: after a power cut between the two the choice is made once more.
      for (const check::Choice& c : step.choices) {
        if (c.word != reply.text || c.keeps.empty()) continue;
        run_.store.answer(run_.job, step.key + std::string(check::kept_text), c.keeps, steps_kept_++);
      }
      run_.store.answer(run_.job, step.key, reply.text, steps_kept_);
      if (step.key.starts_with("site.trial.")) keep_findings();
      if (step.key == "site.parts") keep_path();
      return true;
    }
    try {
      fs::path file = reply.text;
      const bool record = reply.kind == Reply::Kind::Record;
      if (record && !step.wish.soak) {
        file = new_file(step);
        {
          const TypedMeanwhile unseen;
          record_for(step.wish, run_.devices, file, context_);
        }
      }
      job::Capture c = record && step.wish.soak ? soak(step) : measure_for(step.wish, file, context_);
      if (record) run_.answers.forget_typed();
      // What was taken in just now is no copy, however like another it is: two clean paths with the same
      // card differ by their noise alone.
      const std::string other = record ? "" : same_as(c, step.key, load(), run_.knowledge);
      if (!other.empty()) throw unusable(fmt::format("{}: {}", c.file.string(), other));
      c.taken_as = check::taken_as(step.wish);
      c.judged_as = check::judged_as(step.wish);
      c = run_.store.add(run_.job, std::move(c), step.key, steps_kept_);
      const report::View view = report::make_view(report::document_of(c), false);
      keep_findings();
      show_line(context_,
                fmt::format("{}: {}: {}", words_.text("measured"), c.label, report::finding_of(view)));
      if (no_signal(c) && run_.answers.can_try_again()) show_line(context_, words_.text("measured-nothing"));
      return true;
    } catch (const job::AnsweredElsewhere&) {
      throw;
    } catch (const Error& e) {
      // From files there is nobody to give another one.
      if (!run_.answers.can_try_again()) throw;
      show_line(context_, e.what());
      run_.answers.forget_typed();
      return false;
    }
  }

  // None where one was to be, or none at all.
  static bool no_signal(const job::Capture& c) {
    static constexpr std::string_view told_by[] = {"audio.signal", "audio.signal.left", "audio.signal.right",
                                                   "video.signal", "picture.signal"};
    return diagnose::nothing_came_in({c.label, c.facts, c.readings}) ||
           std::ranges::any_of(c.readings, [](const Reading& r) {
             return r.verdict == Verdict::Fail && std::ranges::find(told_by, r.id) != std::end(told_by);
           });
  }

  // The site's next job on this path is offered its parts.
  void keep_path() {
    const check::Work work = load();
    const auto path = check::path_of(work);
    if (path && work.job.site) run_.store.set_path(*work.job.site, *path);
  }

  // Events are notes of the job from the moment they are found, so that a power cut in the last hour loses
  // none; so is what is typed meanwhile.
  job::Capture soak(const Step& step) {
    constexpr int most_notes = 1000;
    int notes = 0;
    SoakTalk talk;
    talk.prompt = words_.text("soak-prompt") + ": ";
    const auto tell = [&](double at_s, const char* key, double amount, const std::string& channel) {
      const std::string what = words_.text(key, {{"amount", fmt::format("{:.3g}", amount)}});
      const std::string text =
          words_.text(channel.empty() ? "soak-event" : "soak-event-side",
                      {{"time", check::soak_time(at_s)}, {"what", what}, {"side", side_of(channel, words_)}});
      say("\r\x1b[K{}\n", text);
      if (++notes <= most_notes) run_.store.note(run_.job, text);
    };
    talk.event = [&](const check::SoakEvent& e) { tell(e.at_s, event_key(e.kind), e.amount, e.channel); };
    talk.picture_event = [&](const check::PictureEvent& e) { tell(e.at_s, event_key(e.kind), e.amount, ""); };
    talk.line = [&](double at_s, const std::string& line) {
      if (line == "stop") return false;
      const auto note = note_in(line);
      if (note) {
        run_.store.note(run_.job,
                        words_.text("soak-note", {{"time", check::soak_time(at_s)}, {"note", *note}}));
        say("{}\n", report::printable(words_.text("note-kept", {{"note", *note}})));
      } else if (!line.empty()) {
        say("{}\n", words_.text("soak-help"));
      }
      return true;
    };
    show_line(context_, words_.text("soak-help"));
    return record_soak(step.wish, run_.devices, context_, talk);
  }

  // ".left" as a person says it.
  static std::string side_of(const std::string& channel, const check::Words& words) {
    if (channel == ".left" || channel == ".right")
      return words.text(channel == ".left" ? "side-left" : "side-right");
    return channel.empty() ? "" : channel.substr(1);
  }

  static const char* event_key(check::SoakEvent::Kind kind) {
    using Kind = check::SoakEvent::Kind;
    switch (kind) {
      case Kind::Click:
        return "soak-click";
      case Kind::Crackle:
        return "soak-crackle";
      case Kind::Dropout:
        return "soak-dropout";
      case Kind::Clip:
        return "soak-clip";
      case Kind::Step:
        return "soak-step";
      case Kind::Drift:
        return "soak-drift";
      case Kind::HumRise:
        return "soak-hum";
      case Kind::NoiseRise:
        return "soak-noise";
      case Kind::DistortionRise:
        return "soak-distortion";
      case Kind::Gone:
        return "soak-gone";
      case Kind::Back:
        break;
    }
    return "soak-back";
  }

  static const char* event_key(check::PictureEvent::Kind kind) {
    using Kind = check::PictureEvent::Kind;
    switch (kind) {
      case Kind::Gone:
        return "soak-picture-gone";
      case Kind::Stall:
        return "soak-picture-stall";
      case Kind::Jump:
        return "soak-picture-jump";
      case Kind::Roll:
        return "soak-picture-roll";
      case Kind::Tear:
        return "soak-picture-tear";
      case Kind::ColourGone:
        return "soak-picture-colour-gone";
      case Kind::ColourBack:
        return "soak-picture-colour-back";
      case Kind::Back:
        break;
    }
    return "soak-picture-back";
  }

  void keep_findings() {
    const auto d = check::diagnosis_of(check::load_work(run_.store, run_.job), run_.knowledge);
    if (!d) return;
    std::vector<job::Finding> findings;
    for (const auto& j : report::findings_to_json(*d)) {
      findings.push_back({j.at("fault"), j.at("label"), j.at("probability"), json_text(j)});
    }
    run_.store.set_findings(run_.job, findings);
  }

  fs::path new_file(const Step& step) const {
    const fs::path folder = store_dir() / "captures" / run_.job.ref;
    const char* ending = step.wish.view == check::CaptureWish::View::Video ? ".yuv" : ".wav";
    // A place's own name may hold what no file's may.
    const std::string& name = step.numbered.empty() ? step.key : step.numbered;
    fs::path file = folder / (name + ending);
    std::error_code ec;
    for (int n = 2; fs::exists(file, ec); ++n) file = folder / fmt::format("{}-{}{}", name, n, ending);
    return file;
  }

  // The command that goes on is copied as it stands: without them it would take nothing in.
  [[nodiscard]] std::string devices_again() const {
    const CheckDevices& d = run_.devices;
    return option_again("--from", d.from) + option_again("--to", d.to) + option_again("--grabber", d.grabber);
  }

  Exit leave() {
    if (run_.job.uid.empty()) {
      say("{}\n", words_.text("nothing-kept"));
    } else {
      say("{}\n", words_.text("kept", {{"ref", run_.job.ref},
                                       {"kind", std::string(to_string(run_.job.kind))},
                                       {"store", store_option(run_.store_named) + devices_again()}}));
    }
    return Exit::Interrupted;
  }

  Exit finish(const check::Work& work, const Step& last) {
    // One that is done stands as it was finished: looking at it again is not deciding anew.
    const report::Outcome told_last =
        check::finished_with(work).value_or(last.news.value_or(report::Outcome{}));
    const std::string& result = work.job.done ? work.job.outcome : last.outcome;
    if (!work.job.done) {
      if (last.reference && *last.reference != work.job.reference)
        run_.store.set_reference(run_.job, *last.reference);
      check::finish(run_.store, run_.job, last.outcome, told_last);
    }
    const std::string told = report::outcome_text(told_last, terminal_style(false));
    // What the last step began with need not be read twice. The command to go on with is one line, to be
    // copied.
    if (told != told_) show_text(context_, "\n" + told);
    show_text(context_,
              fmt::format("\n{}\n", words_.text("finished", {{"ref", run_.job.ref},
                                                             {"outcome", result},
                                                             {"store", store_option(run_.store_named)}})));
    return told_last.mark == report::Mark::Pass ? Exit::Ok : Exit::OutOfLimits;
  }

  CheckRun& run_;
  bool hinted_sound_ = false, hinted_video_ = false;
  const check::Words& words_;
  Context& context_;
  std::int64_t steps_kept_ = 0;  // when the step was shown
  std::string known_station_;
  std::string known_site_;
  std::string told_;  // the news of the step shown last
};

}  // namespace

Exit run_check(CheckRun& run, Context& context) { return Runner(run, context).run(); }

void print_check_document(const job::Store& store, const job::Job& job, const check::Knowledge& knowledge) {
  using nlohmann::json;
  if (job.uid.empty()) {
    const json none = {{"schema", "linebench/1"}, {"command", fmt::format("check {}", to_string(job.kind))},
                       {"verdict", "incomplete"}, {"headline", ""},
                       {"points", json::array()}, {"job", nullptr}};
    print_text(json_text(none, 2) + "\n");
    return;
  }
  const check::Work work = check::load_work(store, job);
  json j = check::outcome_to_json(check::finished_with(work).value_or(check::outcome_of(work, knowledge)));
  j["schema"] = "linebench/1";
  j["command"] = fmt::format("check {}", to_string(job.kind));
  j["job"] = job::whole_job_to_json(store, work.job);
  print_text(json_text(j, 2) + "\n");
}

}  // namespace linebench::app
