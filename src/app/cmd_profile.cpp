// profile: which half of the world the work is in; chosen once.
#include <fmt/format.h>

#include <filesystem>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/check/profile.hpp>
#include <linebench/check/words.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

struct ProfileOptions {
  int mains_hz = 0;
  std::string system, paper, language;
};

Exit run_profile(Context& context, const ProfileOptions& o) {
  const std::filesystem::path file = check::profile_file();
  check::Profile p = check::load_profile().value_or(check::Profile{});
  // Another mains frequency is another half of the world: its usual lines and paper come with it.
  if (o.mains_hz != 0 && o.mains_hz != p.mains_hz) {
    const std::string language = p.language;
    p = check::usual_profile(o.mains_hz);
    p.language = language;
  }
  if (!o.system.empty()) p.system = o.system;
  if (!o.paper.empty()) p.paper = o.paper;
  if (!o.language.empty()) {
    (void)check::Words::load(o.language);
    p.language = o.language;
  }
  if (o.mains_hz != 0 || !o.system.empty() || !o.paper.empty() || !o.language.empty()) {
    std::error_code ec;
    std::filesystem::create_directories(file.parent_path(), ec);
    if (ec)
      throw unusable(
          fmt::format("{}: the folder cannot be made ({})", file.parent_path().string(), ec.message()));
    capture::store_text(file, check::to_toml(p));
  }
  if (context.json) {
    const nlohmann::json j = {{"schema", "linebench/1"}, {"command", "profile"}, {"file", file.string()},
                              {"mains_hz", p.mains_hz},  {"system", p.system},   {"paper", p.paper},
                              {"language", p.language}};
    print_text(json_text(j, 2) + "\n");
  } else {
    print("mains     {} Hz\nvideo     {}\npaper     {}\nlanguage  {}\n({})\n", p.mains_hz, p.system, p.paper,
          p.language, file.string());
  }
  return Exit::Ok;
}

}  // namespace

void add_profile(CLI::App& app, Context& context) {
  auto o = std::make_shared<ProfileOptions>();
  CLI::App* c =
      app.add_subcommand("profile", "Mains, video system, paper and language of your work; shown, or set");
  c->add_option("--mains", o->mains_hz, "Hz; brings the usual lines and paper")
      ->check(CLI::IsMember({50, 60}));
  c->add_option("--system", o->system, "Video system")->check(CLI::IsMember({"525", "525-no-setup", "625"}));
  c->add_option("--paper", o->paper, "Paper of reports")->check(CLI::IsMember({"a4", "letter"}));
  c->add_option("--language", o->language, "Language of the guided jobs");
  c->callback([&context, o] { context.action = [&context, o] { return run_profile(context, *o); }; });
}

}  // namespace linebench::app
