#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/error.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/report/format.hpp>

#include "../base/toml.hpp"
#include "answers.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;
using check::Step;
using check::StepKind;

class Folder : public Answers {
 public:
  Folder(const check::Words& words, fs::path folder, const Context& context)
      : words_(words), context_(context), folder_(std::move(folder)), file_(folder_ / "answers.toml") {
    std::error_code ec;
    if (!fs::is_directory(folder_, ec))
      throw unusable(fmt::format("--from-files {}: there is no such folder", folder_.string()));
    if (!fs::exists(file_, ec)) return;
    try {
      answers_ = parse_toml(capture::load_text(file_));
    } catch (const TomlError& e) {
      throw unusable(fmt::format("{}, line {}: {}", file_.string(), e.line, e.what));
    }
  }

  Reply reply(const Step& step, const check::Route&) override {
    if (context_.stop) return {};
    std::optional<std::string> given = written(step.key);
    const std::string& numbered = step.numbered.empty() ? step.key : step.numbered;
    if (!given) given = written(numbered);
    if (step.kind == StepKind::Capture) {
      // The name of a file, or that there is none and why.
      if (given && !given->starts_with("skip")) given = (folder_ / *given).string();
      if (!given) given = capture_file(numbered);
      if (!given && !step.optional)
        throw unusable(words_.text(
            "no-capture", {{"folder", folder_.string()}, {"key", numbered}, {"label", step.wish.label}}));
    } else if (!given && !step.optional && step.otherwise.empty()) {
      throw unusable(
          words_.text("no-answer", {{"file", file_.string()}, {"key", step.key}, {"ask", step.ask}}));
    }
    const check::Accepted a = check::accept(step, given.value_or(""), words_);
    if (!a.answer) throw unusable(fmt::format("{}, {}: {}", file_.string(), step.key, a.complaint));
    show_text(context_, fmt::format("> {}\n", report::printable(given.value_or(*a.answer))));
    return {Reply::Kind::Answer, *a.answer};
  }

  [[nodiscard]] bool can_try_again() const override { return false; }

 private:
  // Keys hold dots: written as "feed.name" or as feed.name, which TOML takes apart.
  [[nodiscard]] std::optional<std::string> written(const std::string& key) const {
    toml::node_view<const toml::node> node(answers_.get(key));
    if (!node) node = answers_.at_path(key);
    if (!node || node.is_table()) return std::nullopt;
    if (const auto* text = node.as_string()) return text->get();
    if (const auto number = node.value<double>(); number && node.is_number())
      return fmt::format("{}", *number);
    throw unusable(fmt::format("{}: {} must be a text in quotes or a number", file_.string(), key));
  }

  [[nodiscard]] std::optional<std::string> capture_file(const std::string& key) const {
    std::vector<std::string> found;
    std::error_code ec;
    for (const auto& e : fs::directory_iterator(folder_, ec)) {
      // A sidecar has its capture's name and is none itself.
      if (e.path().stem() == key && e.path().extension() != ".json") found.push_back(e.path().string());
    }
    std::sort(found.begin(), found.end());
    if (found.empty()) return std::nullopt;
    return found.front();
  }

  const check::Words& words_;
  const Context& context_;
  fs::path folder_;
  fs::path file_;
  toml::table answers_;
};

}  // namespace

std::unique_ptr<Answers> answers_from_files(const check::Words& words, const fs::path& folder,
                                            const Context& context) {
  return std::make_unique<Folder>(words, folder, context);
}

}  // namespace linebench::app
