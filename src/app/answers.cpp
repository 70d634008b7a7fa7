#include "answers.hpp"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <filesystem>
#include <linebench/base/text.hpp>
#include <linebench/report/format.hpp>

#include "say.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

using check::Step;
using check::StepKind;

// Lines of standard input; ends on Ctrl-C as well, which the system's own line reading would sleep through.
class Lines {
 public:
  explicit Lines(const Context& context) : context_(context) {}

  std::optional<std::string> next() {
    for (;;) {
      if (const auto end = held_.find('\n'); end != std::string::npos) {
        std::string line = held_.substr(0, end);
        held_.erase(0, end + 1);
        return line;
      }
      if (ended_) {
        if (held_.empty()) return std::nullopt;
        return std::exchange(held_, {});
      }
      if (context_.stop) return std::nullopt;
      constexpr int look_again_ms = 200;
      pollfd input{STDIN_FILENO, POLLIN, 0};
      if (::poll(&input, 1, look_again_ms) <= 0) continue;
      char block[4096];
      const ssize_t got = ::read(STDIN_FILENO, block, sizeof block);
      if (got < 0 && errno == EINTR) continue;
      if (got <= 0) {
        ended_ = true;
      } else {
        held_.append(block, static_cast<std::size_t>(got));
      }
    }
  }

  // What was typed and not asked for; what is piped in answers the steps to come.
  void forget() {
    if (isatty(STDIN_FILENO) == 0) return;
    held_.clear();
    (void)::tcflush(STDIN_FILENO, TCIFLUSH);
  }

 private:
  const Context& context_;
  std::string held_;
  bool ended_ = false;
};

class Keyboard : public Answers {
 public:
  Keyboard(const check::Words& words, const Context& context, CheckDevices devices)
      : words_(words), context_(context), lines_(context), devices_(std::move(devices)) {}

  Reply reply(const Step& step, const check::Route& route) override {
    std::string refused;
    for (;;) {
      show_text(context_, prompt(step));
      const auto line = next();
      if (!line) return {};
      if (line->starts_with("=") && takes_text(step)) {
        if (auto r = taken(as_it_stands(step), line->substr(1))) return *r;
        continue;
      }
      if (line->starts_with("?") || lower_case(trimmed(*line)) == "help") {
        show_line(context_, words_.text("prompt-help"));
        continue;
      }
      bool understood = false;
      if (const auto r = command(step, *line, route, understood)) return *r;
      if (understood) continue;
      if (step.kind == StepKind::Capture) {
        const std::string word = lower_case(trimmed(*line));
        if (!step.was.empty() && (word == "keep" || (word.empty() && !can_take(devices_, step.wish))))
          return {Reply::Kind::Keep, {}};
        if (word.empty() && can_take(devices_, step.wish)) return {Reply::Kind::Record, {}};
      }
      if (auto r = taken(step, *line)) {
        r->refused = refused;
        return *r;
      }
      if (step.kind == StepKind::Meter) refused = trimmed(*line);
    }
  }

  void forget_typed() override { lines_.forget(); }
  [[nodiscard]] bool can_try_again() const override { return true; }

 private:
  static bool takes_text(const Step& step) {
    return step.kind == StepKind::Text || step.kind == StepKind::Meter || step.kind == StepKind::Capture;
  }

  // Nothing stands in for an empty line.
  static Step as_it_stands(Step step) {
    step.otherwise.clear();
    return step;
  }

  std::optional<std::string> next() {
    auto line = lines_.next();
    if (!line) {
      show_text(context_, "\n");
    } else if (isatty(STDIN_FILENO) == 0) {  // what is piped in is not seen otherwise
      show_text(context_, report::printable(*line) + "\n");
    }
    return line;
  }

  // As shells take a file's name: dragged into a terminal it comes in quotes or with backslashes, and a
  // person writes ~ for the home folder. A file that is really called so goes first.
  static std::string file_named(const std::string& typed) {
    std::error_code ec;
    const auto from_home = [](std::string name) {
      const char* home = std::getenv("HOME");
      if (name.starts_with("~/") && home != nullptr) name.replace(0, 1, home);
      return name;
    };
    for (const std::string& name : {typed, from_home(typed)}) {
      if (std::filesystem::exists(name, ec)) return name;
    }
    std::string name;
    char quote = 0;
    for (std::size_t i = 0; i < typed.size(); ++i) {
      const char c = typed[i];
      if (c == quote) {
        quote = 0;
      } else if (quote == 0 && (c == '\'' || c == '"')) {
        quote = c;
      } else {
        const bool escape = c == '\\' && quote != '\'' && i + 1 < typed.size();
        name += escape ? typed[++i] : c;
      }
    }
    name = from_home(name);
    return std::filesystem::exists(name, ec) ? name : typed;
  }

  std::optional<Reply> taken(const Step& step, const std::string& line) {
    check::Accepted a = check::accept(step, line, words_);
    if (a.answer && step.kind == StepKind::Capture && !check::is_skipped(*a.answer))
      a.answer = file_named(*a.answer);
    if (a.answer && step.kind == StepKind::Choose) show_choice(step, *a.answer, line);
    if (a.answer) return Reply{Reply::Kind::Answer, *a.answer};
    show_line(context_, a.complaint);
    return std::nullopt;
  }

  // What was picked by a number or a part of its words: a slip of the finger is seen at once.
  void show_choice(const Step& step, const std::string& answer, const std::string& typed) const {
    if (trimmed(typed).empty() || lower_case(trimmed(typed)) == lower_case(answer)) return;
    for (const check::Choice& c : step.choices) {
      if (c.word == answer) show_line(context_, words_.text("picked", {{"choice", c.text}}));
    }
  }

  [[nodiscard]] std::string prompt(const Step& step) const {
    const bool takes = step.kind == StepKind::Capture && can_take(devices_, step.wish);
    std::string text = words_.text(step.kind == StepKind::Choose    ? "prompt-choose"
                                   : step.kind == StepKind::Tick    ? "prompt-tick"
                                   : step.kind != StepKind::Capture ? "prompt-text"
                                   : takes                          ? "prompt-record"
                                                                    : "prompt-file");
    if (!step.otherwise.empty()) text += " [" + report::printable(shown_otherwise(step)) + "]";
    if (!step.was.empty())
      text += " [" + words_.text("prompt-keep", {{"was", report::printable(step.was)}}) + "]";
    if (step.kind == StepKind::Capture && step.optional) text += " [" + words_.text("prompt-optional") + "]";
    if (step.reasoned) text += " [" + words_.text("prompt-reasoned") + "]";
    return text + " (?): ";
  }

  // Ticks as they would be typed.
  static std::string shown_otherwise(const Step& step) {
    if (step.kind != StepKind::Tick) return step.otherwise;
    std::string text;
    std::size_t place = 0;
    for (const auto& [word, state] : check::ticks(step.otherwise)) {
      ++place;
      if (state != "open")
        text += fmt::format("{}{}{}", text.empty() ? "" : " ", state == "done" ? "" : "-", place);
    }
    return text.empty() ? "none" : text;
  }

  // @param understood it was a command, and is dealt with when there is no reply.
  std::optional<Reply> command(const Step& step, const std::string& typed, const check::Route& route,
                               bool& understood) {
    if (const auto note = note_in(typed)) return Reply{Reply::Kind::Note, *note};
    const std::string line = trimmed(typed);
    const auto space = line.find(' ');
    const std::string word = lower_case(line.substr(0, space));
    const std::string rest = space == std::string::npos ? "" : trimmed(line.substr(space + 1));
    if (word == "back" && rest.empty()) return Reply{Reply::Kind::Back, {}};
    if (word == "stop" && rest.empty()) return Reply{};
    if (word != "change") return std::nullopt;
    // "change of the left pad" is an answer where a text is wanted.
    const bool number = !rest.empty() && rest.find_first_not_of("0123456789") == std::string::npos;
    const bool sentence = takes_text(step) && !rest.empty() && !number && key_of(rest, route).empty();
    if (sentence) return std::nullopt;
    understood = true;
    return change(rest, route);
  }

  static std::string key_of(const std::string& which, const check::Route& route) {
    const auto& done = route.answered;
    for (std::size_t i = 0; i < done.size(); ++i) {
      if (which == done[i].key || which == std::to_string(i + 1)) return done[i].key;
    }
    return {};
  }

  std::optional<Reply> change(std::string which, const check::Route& route) {
    const auto& done = route.answered;
    if (done.empty()) {
      show_line(context_, words_.text("change-none"));
      return std::nullopt;
    }
    if (which.empty()) {
      std::string text = words_.text("change-which") + "\n";
      for (std::size_t i = 0; i < done.size(); ++i)
        text += report::wrapped(report::printable(done[i].title + ": " + done[i].shown),
                                terminal_style(false).width, 5, fmt::format("{:>3}  ", i + 1));
      show_text(context_, text + words_.text("prompt-choose") + ": ");
      const auto line = next();
      if (!line) return Reply{};
      which = trimmed(*line);
      if (which.empty()) return std::nullopt;
    }
    const std::string key = key_of(which, route);
    if (!key.empty()) return Reply{Reply::Kind::Change, key};
    show_line(context_, words_.text("say-change", {{"typed", which}, {"most", std::to_string(done.size())}}));
    return std::nullopt;
  }

  const check::Words& words_;
  const Context& context_;
  Lines lines_;
  CheckDevices devices_;
};

}  // namespace

std::unique_ptr<Answers> answers_from_keyboard(const check::Words& words, const Context& context,
                                               CheckDevices devices) {
  return std::make_unique<Keyboard>(words, context, std::move(devices));
}

std::optional<std::string> note_in(const std::string& line) {
  const std::string text = trimmed(line);
  if (text.size() < 6 || lower_case(text.substr(0, 5)) != "note ") return std::nullopt;
  return trimmed(text.substr(5));
}

void show_line(const Context& context, const std::string& text) {
  const report::TerminalStyle style = terminal_style(false);
  const std::string lines =
      report::wrapped(report::printable(text), std::max<std::size_t>(style.width, 40), 2, "");
  show_text(context, style.unicode ? lines : report::to_ascii(lines));
}

void show_text(const Context& context, const std::string& text) {
  if (context.json) {
    say_text(text);
  } else {
    print_text(text);
  }
}

void show_step(const Step& step, std::size_t number, const check::Words& words, const Context& context) {
  const report::TerminalStyle style = terminal_style(false);
  const std::size_t width = std::max<std::size_t>(style.width, 40);
  std::string text = "\n";
  if (step.news) text += report::outcome_text(*step.news, style) + "\n";
  text += report::wrapped(report::printable(step.ask), width, 2,
                          number == 0 ? "" : words.text("step", {{"n", std::to_string(number)}}) + ": ");
  if (step.drawing) text += report::drawing_text(*step.drawing, style);
  for (const std::string& c : step.cautions)
    text += report::wrapped(report::printable(c), width, 4, "  ! " + words.text("caution") + ": ");
  for (std::size_t i = 0; i < step.help.size(); ++i)
    text += report::wrapped(report::printable(step.help[i]), width, 6, fmt::format("  {:>2}. ", i + 1));
  std::size_t widest = 0;
  for (const check::Choice& c : step.choices) widest = std::max(widest, report::text_width(c.word));
  for (std::size_t i = 0; i < step.choices.size(); ++i) {
    const check::Choice& c = step.choices[i];
    text += report::wrapped(c.text == c.word ? "" : report::printable(c.text), width, widest + 8,
                            fmt::format("  {:>2}  {:<{}}  ", i + 1, c.word, widest));
  }
  show_text(context, style.unicode ? text : report::to_ascii(text));
}

}  // namespace linebench::app
