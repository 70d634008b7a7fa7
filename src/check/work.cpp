#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <linebench/check/work.hpp>

namespace linebench::check {

const std::string* Work::answer(std::string_view key) const {
  const auto it =
      std::find_if(answers.begin(), answers.end(), [&](const job::Step& s) { return s.key == key; });
  return it == answers.end() ? nullptr : &it->answer;
}

const job::Capture* Work::capture(std::string_view key) const {
  const std::string* uid = answer(key);
  if (uid == nullptr) return nullptr;
  const auto it =
      std::find_if(captures.begin(), captures.end(), [&](const job::Capture& c) { return c.uid == *uid; });
  return it == captures.end() ? nullptr : &*it;
}

std::string taken_as(const CaptureWish& w) {
  return fmt::format("{}{}{}\nplace {}\nsignal {}", w.view == CaptureWish::View::Video ? "video" : "audio",
                     w.video_as.empty() ? "" : " as " + w.video_as, w.soak ? ", long run" : "", w.place,
                     w.signal);
}

std::string judged_as(const CaptureWish& w) {
  // The system is the video's; sound that is taken in the same job is judged without it.
  const auto known = [](const std::optional<double>& v) { return v ? fmt::format("{}", *v) : std::string(); };
  return fmt::format("limits {}\nfull scale {}\nprogramme {}\nsystem {}\nonly {}", w.limits,
                     known(w.full_scale_v), known(w.programme_dbfs),
                     w.view == CaptureWish::View::Video ? w.system : "", fmt::join(w.only, " "));
}

Work reached(const Work& work, const std::vector<Answered>& answered) {
  Work w{work.job, {}, {}, work.plan};
  for (const Answered& a : answered) {
    w.answers.push_back({a.key, a.answer, {}});
    if (const job::Capture* c = work.capture(a.key)) w.captures.push_back(*c);
  }
  return w;
}

Work load_work(const job::Store& store, const job::Job& job) {
  Work w{store.job(job.uid), store.answers(job), store.captures(job)};
  const std::string* plan = w.answer("station.plan");
  const std::string* text = w.answer("station.plan" + std::string(kept_text));
  if (plan == nullptr || text == nullptr) return w;
  if (auto kept = kept_plan(*text, *plan)) w.plan = std::make_shared<const StationPlan>(std::move(*kept));
  return w;
}

Step Script::step_of(StepKind kind, Ask a) const {
  const Question& q = words_.question(a.words.empty() ? a.key : a.words);
  Step s;
  s.kind = kind;
  s.key = a.key;
  const auto fill = [&](const std::string& t) { return Words::filled(t, a.values); };
  s.ask = fill(q.ask);
  s.title = fill(q.title);
  s.news = std::move(a.news);
  for (const std::string& t : q.help) s.help.push_back(fill(t));
  for (std::string& t : a.help) s.help.push_back(std::move(t));
  for (const std::string& t : q.cautions) s.cautions.push_back(fill(t));
  for (std::string& t : a.cautions) s.cautions.push_back(std::move(t));
  report::Drawing drawing;
  for (const std::string& t : a.draw.empty() ? q.draw : a.draw) drawing.parts.push_back(fill(t));
  if (!drawing.parts.empty()) s.drawing = std::move(drawing);
  s.choices = a.choices.empty() ? q.choices : std::move(a.choices);
  for (Choice& c : s.choices) c.text = fill(c.text);
  s.otherwise = a.otherwise.empty() ? q.otherwise : a.otherwise;
  s.optional = a.optional;
  s.numbered = std::move(a.numbered);
  s.longest = a.longest;
  s.reasoned = a.reasoned;
  return s;
}

const std::string& Script::answer_to(Step step) {
  const std::string* given = work_.answer(step.key);
  if (given == nullptr) throw Waiting{std::move(step)};
  Answered a{step.key, step.title, *given, *given, step.drawing, step.cautions};
  for (const Choice& c : step.choices) {
    if (step.kind == StepKind::Choose && c.word == *given) a.shown = c.text;
  }
  answered_.push_back(std::move(a));
  return *given;
}

std::string Script::choose(Ask ask) {
  Step step = step_of(StepKind::Choose, std::move(ask));
  // An answer that an earlier, changed answer made impossible is asked again.
  const std::string* given = work_.answer(step.key);
  if (given != nullptr && std::none_of(step.choices.begin(), step.choices.end(),
                                       [&](const Choice& c) { return c.word == *given; }))
    throw Waiting{std::move(step)};
  return answer_to(std::move(step));
}

std::string Script::text(Ask ask) { return answer_to(step_of(StepKind::Text, std::move(ask))); }

std::optional<double> Script::number(Ask ask, double least, double most) {
  Step step = step_of(StepKind::Number, std::move(ask));
  step.least = least;
  step.most = most;
  const std::string& text = answer_to(std::move(step));
  double value = 0;
  const auto end = std::from_chars(text.data(), text.data() + text.size(), value);
  if (end.ec != std::errc() || text.empty()) return std::nullopt;
  return value;
}

std::string Script::meter(Ask ask, std::function<std::string(const std::string&)> wrong) {
  Step step = step_of(StepKind::Meter, std::move(ask));
  step.wrong = std::move(wrong);
  // What an earlier version took and this one refuses is asked again; a job that is done stands.
  const std::string* given = work_.answer(step.key);
  if (given != nullptr && !given->empty() && !work_.job.done) {
    if (std::string why = step.wrong(*given); !why.empty()) {
      step.help.insert(step.help.begin(), std::move(why));
      throw Waiting{std::move(step)};
    }
  }
  return answer_to(std::move(step));
}

std::string Script::tick(Ask ask) {
  Step step = step_of(StepKind::Tick, std::move(ask));
  const std::vector<Choice> choices = step.choices;
  const std::string answer = answer_to(std::move(step));
  std::string shown;
  for (const auto& [word, state] : ticks(answer)) {
    for (const Choice& c : choices) {
      if (c.word == word) shown += (shown.empty() ? "" : "; ") + c.text + ": " + state;
    }
  }
  answered_.back().shown = shown;
  return answer;
}

const job::Capture* Script::capture(Ask ask, CaptureWish wish) {
  if (!ask.numbered.empty() && work_.answer(ask.key) == nullptr) {
    const job::Capture* before = work_.capture(ask.numbered);
    if (before != nullptr && before->taken_as.empty() && before->label == wish.label) {
      if (ask.words.empty()) ask.words = ask.key;
      ask.key = ask.numbered;
    }
  }
  Step step = step_of(StepKind::Capture, std::move(ask));
  step.wish = std::move(wish);
  const std::string key = step.key;
  const std::string* given = work_.answer(key);
  const job::Capture* found = work_.capture(key);
  // A capture that is named but not there (a store merged in part) is taken again.
  if (given != nullptr && found == nullptr && !is_skipped(*given)) throw Waiting{std::move(step)};
  // A job that is done stands as it was judged then: changing an answer opens it again.
  if (found != nullptr && !found->taken_as.empty() && !work_.job.done) {
    if (found->taken_as != taken_as(step.wish)) throw Waiting{std::move(step)};
    if (found->judged_as != judged_as(step.wish)) {
      step.outdated = *found;
      throw Waiting{std::move(step)};
    }
  }
  (void)answer_to(std::move(step));
  if (found != nullptr) {
    answered_.back().shown = found->file.filename().string();
    if (auto& drawing = answered_.back().drawing) drawing->title = found->label;
  } else {
    answered_.back().shown = words_.text("not-taken");
    if (const std::string why = skip_reason(*given); !why.empty()) answered_.back().shown += ": " + why;
    answered_.back().drawing.reset();
  }
  return found;
}

}  // namespace linebench::check
