#include "answers.hpp"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
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
    for (;;) {
      show_text(context_, prompt(step));
      const auto line = lines_.next();
      if (!line) {
        show_text(context_, "\n");
        return {};
      }
      // What is piped in is not seen otherwise.
      if (isatty(STDIN_FILENO) == 0) show_text(context_, report::printable(*line) + "\n");
      if (const auto r = command(*line, route)) return *r;
      if (line->starts_with("?")) {
        show_text(context_,
                  report::wrapped(words_.text("prompt-help"), terminal_style(false).width, 2, "  "));
        continue;
      }
      if (step.kind == StepKind::Capture && devices_.can_take(step.wish) &&
          line->find_first_not_of(" \t") == std::string::npos)
        return {Reply::Kind::Record, {}};
      const check::Accepted a = check::accept(step, *line, words_);
      if (a.answer) return {Reply::Kind::Answer, *a.answer};
      show_text(context_, report::printable(a.complaint) + "\n");
    }
  }

  [[nodiscard]] bool can_try_again() const override { return true; }

 private:
  [[nodiscard]] std::string prompt(const Step& step) const {
    std::string text = words_.text(step.kind == StepKind::Choose    ? "prompt-choose"
                                   : step.kind == StepKind::Tick    ? "prompt-tick"
                                   : step.kind != StepKind::Capture ? "prompt-text"
                                   : devices_.can_take(step.wish)   ? "prompt-record"
                                                                    : "prompt-file");
    if (!step.otherwise.empty()) text += " [" + step.otherwise + "]";
    if (step.kind == StepKind::Capture && step.optional) text += " [" + words_.text("prompt-optional") + "]";
    return text + " (?): ";
  }

  std::optional<Reply> command(const std::string& line, const check::Route& route) {
    const auto space = line.find(' ');
    const std::string word = line.substr(0, space);
    const std::string rest = space == std::string::npos ? "" : line.substr(space + 1);
    if (line == "back") return Reply{Reply::Kind::Back, {}};
    if (line == "stop") return Reply{};
    if (word == "note" && !rest.empty()) return Reply{Reply::Kind::Note, rest};
    if (word == "change") return change(rest, route);
    return std::nullopt;
  }

  std::optional<Reply> change(std::string which, const check::Route& route) {
    const auto& done = route.answered;
    if (which.empty()) {
      std::string text = words_.text("change-which") + "\n";
      for (std::size_t i = 0; i < done.size(); ++i)
        text += report::wrapped(report::printable(done[i].title + ": " + done[i].shown),
                                terminal_style(false).width, 5, fmt::format("{:>3}  ", i + 1));
      show_text(context_, text + words_.text("prompt-choose") + ": ");
      const auto line = lines_.next();
      if (!line) return Reply{};
      which = *line;
    }
    for (std::size_t i = 0; i < done.size(); ++i) {
      if (which == done[i].key || which == std::to_string(i + 1))
        return Reply{Reply::Kind::Change, done[i].key};
    }
    return Reply{Reply::Kind::Change, {}};
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
                          words.text("step", {{"n", std::to_string(number)}}) + ": ");
  if (step.drawing) text += report::drawing_text(*step.drawing, style);
  for (const std::string& c : step.cautions)
    text += report::wrapped(report::printable(c), width, 4, "  ! " + words.text("caution") + ": ");
  for (std::size_t i = 0; i < step.help.size(); ++i)
    text += report::wrapped(report::printable(step.help[i]), width, 6, fmt::format("  {:>2}. ", i + 1));
  std::size_t widest = 0;
  for (const check::Choice& c : step.choices) widest = std::max(widest, report::text_width(c.word));
  for (std::size_t i = 0; i < step.choices.size(); ++i) {
    const check::Choice& c = step.choices[i];
    text += report::wrapped(report::printable(c.text), width, widest + 8,
                            fmt::format("  {:>2}  {:<{}}  ", i + 1, c.word, widest));
  }
  show_text(context, style.unicode ? text : report::to_ascii(text));
}

}  // namespace linebench::app
