#include <fmt/format.h>

#include <fstream>
#include <iterator>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <linebench/check/words.hpp>
#include <stdexcept>

#include "../diagnose/toml_reader.hpp"

namespace linebench::check {
namespace {

namespace fs = std::filesystem;
using diagnose::TomlReader;

// A list of texts that may be left out.
std::vector<std::string> list(const TomlReader& r, const toml::table& t, std::string_view key) {
  return t.contains(key) ? r.words(t, key) : std::vector<std::string>{};
}

Question read_question(const TomlReader& r, const toml::table& t) {
  r.only(t, {"ask", "title", "help", "cautions", "choices", "otherwise", "draw"});
  Question q;
  q.ask = r.text(t, "ask");
  q.title = r.text(t, "title");
  q.help = list(r, t, "help");
  q.cautions = list(r, t, "cautions");
  q.otherwise = r.text(t, "otherwise", false);
  q.draw = list(r, t, "draw");
  if (!q.draw.empty() && q.draw.size() % 2 == 0)
    throw r.wrong(t.source(), "\"draw\" must be box, join, box, ...: odd in number");
  if (const toml::node* node = t.get("choices")) {
    const auto* rows = node->as_array();
    if (rows == nullptr || rows->empty())
      throw r.wrong(node->source(), "\"choices\" must be a list of [word, text]");
    for (const auto& row : *rows) {
      const auto* pair = row.as_array();
      const bool good =
          pair != nullptr && pair->size() == 2 && (*pair)[0].is_string() && (*pair)[1].is_string();
      if (!good) throw r.wrong(row.source(), "a choice must be [\"word\", \"text\"]");
      q.choices.push_back({(*pair)[0].value_or(std::string()), (*pair)[1].value_or(std::string())});
    }
  }
  return q;
}

const toml::table* part(const TomlReader& r, const toml::table& root, std::string_view key) {
  const toml::node* node = root.get(key);
  return node == nullptr ? nullptr : &r.table(*node, fmt::format("[{}]", key));
}

}  // namespace

Words Words::parse(std::string_view text, const std::string& file) {
  const TomlReader r(file);
  const toml::table root = r.parse(text);
  r.only(root, {"question", "text", "advice"});
  Words w;
  if (const auto* t = part(r, root, "question")) {
    for (const auto& [key, node] : *t)
      w.questions_.emplace(key.str(), read_question(r, r.table(node, "a question")));
  }
  if (const auto* t = part(r, root, "text")) {
    for (const auto& [key, node] : *t) w.texts_.emplace(key.str(), r.text(*t, key.str()));
  }
  if (const auto* t = part(r, root, "advice")) {
    for (const auto& [key, node] : *t) {
      const toml::table& a = r.table(node, "an advice");
      r.only(a, {"stop", "why", "do", "caution"});
      const toml::node* stop = a.get("stop");
      if (stop != nullptr && !stop->is_boolean())
        throw r.wrong(stop->source(), "\"stop\" must be true or false");
      w.advice_.emplace(key.str(), Advice{stop != nullptr && stop->value_or(false), r.text(a, "why"),
                                          r.text(a, "do"), r.text(a, "caution", false)});
    }
  }
  return w;
}

Words Words::load(const std::string& language) {
  const fs::path folder = share_dir() / "signals/words";
  const fs::path file = folder / ("check." + language + ".toml");
  std::ifstream in(file, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  if (in) return parse(text, file.string());
  std::string known;
  std::error_code ec;
  for (const auto& e : fs::directory_iterator(folder, ec)) {
    const std::string stem = e.path().stem().string();
    if (stem.starts_with("check.")) known += (known.empty() ? "" : ", ") + stem.substr(6);
  }
  throw bad_usage(fmt::format("there are no words in the language '{}'; there are: {}", language, known));
}

const Question* Words::find_question(std::string_view key) const {
  const auto it = questions_.find(key);
  return it == questions_.end() ? nullptr : &it->second;
}

const Question& Words::question(std::string_view key) const {
  const Question* q = find_question(key);
  if (q == nullptr) throw std::logic_error(fmt::format("no question is called {}", key));
  return *q;
}

std::string Words::text(std::string_view key, const Values& values) const {
  const auto it = texts_.find(key);
  if (it == texts_.end()) throw std::logic_error(fmt::format("no text is called {}", key));
  return filled(it->second, values);
}

const Advice* Words::advice(std::string_view id, std::string_view side) const {
  auto it = advice_.find(fmt::format("{}.{}", id, side));
  if (it == advice_.end() && side != "missing" && side != "doubtful") it = advice_.find(id);
  return it == advice_.end() ? nullptr : &it->second;
}

std::string Words::filled(std::string text, const Values& values) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t open = text.find('{', at);
    const std::size_t close = open == std::string::npos ? open : text.find('}', open);
    if (close == std::string::npos) return out + text.substr(at);
    out += text.substr(at, open - at);
    const std::string name = text.substr(open + 1, close - open - 1);
    bool known = false;
    for (const auto& [key, value] : values) {
      if (key != name) continue;
      out += value;
      known = true;
    }
    // One pass: a value that holds braces itself, typed by a person, is not looked at again.
    if (!known) out += text.substr(open, close - open + 1);
    at = close + 1;
  }
  return out;
}

}  // namespace linebench::check
