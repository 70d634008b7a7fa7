// signals faults: captures of a simulated installation with a fault in it, to practise on.
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <linebench/diagnose/fault_book.hpp>
#include <linebench/faultsim/captures.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

struct FaultsOptions {
  std::vector<std::string> names;
  std::string out, system;
  std::uint64_t seed = 1;
};

std::string label_of(const diagnose::FaultBook& book, const std::string& id) {
  const diagnose::Fault* f = book.fault(id);
  return f != nullptr ? f->label : id;
}

Exit list_faults(const Context& context, const diagnose::FaultBook& book) {
  nlohmann::json list = nlohmann::json::array();
  for (const std::string& id : faultsim::fault_names()) {
    if (context.json) {
      list.push_back({{"fault", id}, {"label", label_of(book, id)}});
    } else {
      print("{:<36} {}\n", id, label_of(book, id));
    }
  }
  if (context.json) {
    const nlohmann::json j = {{"schema", "linebench/1"}, {"command", "signals faults"}, {"faults", list}};
    print("{}\n", j.dump(2));
  }
  return Exit::Ok;
}

// What each look, meter reading and trial would find; the cure is not named here.
std::string findings_text(const faultsim::Installation& site, const diagnose::FaultBook& book,
                          faultsim::Dice& dice) {
  std::string text;
  for (const diagnose::Sign& s : book.signs) {
    if (!s.trial) continue;
    std::vector<std::string> words;
    for (const auto& [word, share] : s.words) words.push_back(word);
    text += fmt::format("{}={}\n", s.id, faultsim::answer(site, s.id, words, 0, dice));
  }
  return text;
}

Exit run_faults(Context& context, const FaultsOptions& o) {
  const diagnose::FaultBook book = diagnose::load_fault_book();
  if (o.names.empty() && o.out.empty()) return list_faults(context, book);
  const auto& known = faultsim::fault_names();
  for (const std::string& name : o.names) {
    if (std::find(known.begin(), known.end(), name) == known.end())
      throw bad_usage(fmt::format(
          "signals faults {}: there is no such fault; linebench signals faults lists them", name));
  }
  if (o.out.empty()) throw bad_usage("signals faults: give --out FOLDER for the captures");
  const std::filesystem::path folder = o.out;
  std::error_code failed;
  if (std::filesystem::exists(folder / "answer.txt", failed) ||
      std::filesystem::exists(folder / "lines.wav", failed))
    throw bad_usage(fmt::format("--out {}: holds captures already; name another folder", o.out));
  // The site that fits what was asked for; the faults' severities come from the same seed.
  std::uint64_t seed = o.seed;
  const faultsim::Installation site = faultsim::visible_installation(o.names, seed, 1000, o.system);
  const auto written = faultsim::write_captures(site, seed, folder);
  faultsim::Dice dice(seed + 17);
  capture::store_text(folder / "observations.txt", findings_text(site, book, dice));
  std::string answer;
  for (const std::string& name : o.names) answer += fmt::format("{}: {}\n", name, label_of(book, name));
  capture::store_text(folder / "answer.txt", o.names.empty() ? "nothing is wrong\n" : answer);
  if (context.json) {
    const nlohmann::json j = {{"schema", "linebench/1"},
                              {"command", "signals faults"},
                              {"output", {{"folder", o.out}, {"files", written}, {"system", site.system}}}};
    print("{}\n", j.dump(2));
  } else {
    print_text(fmt::format("{}: {}\n", o.out, fmt::join(written, ", ")));
    print("Find it with: linebench diagnose {0} --system {1} --sides two\n", o.out, site.system);
    print(
        "response.wav is what came back of the speech sweep on the first line; for its response, before "
        "that:\n"
        "linebench signals write sweep-speech --out sent.wav\n"
        "linebench response sent.wav {0}/response.wav --json > {0}/response.json\n",
        o.out);
    print(
        "observations.txt holds what each look and meter reading would find, for --observed; answer.txt what "
        "it "
        "is.\n");
  }
  return Exit::Ok;
}

}  // namespace

void add_signals_faults(CLI::App& signals_command, Context& context) {
  auto o = std::make_shared<FaultsOptions>();
  CLI::App* c = signals_command.add_subcommand(
      "faults", "Captures of a simulated installation with a fault in it, to practise diagnosis on");
  c->add_option("NAME", o->names,
                "The fault or faults; none with --out: a sound one; none at all: list them");
  c->add_option("--out", o->out, "Folder for the captures; made if it is not there");
  c->add_option("--seed", o->seed, "Another number, another installation and severity")
      ->check(CLI::Range(0, 1'000'000'000))
      ->capture_default_str();
  c->add_option("--system", o->system, "The site's television system; else by the seed")
      ->check(CLI::IsMember({"525", "525-no-setup", "625"}));
  c->callback([&context, o] { context.action = [&context, o] { return run_faults(context, *o); }; });
}

}  // namespace linebench::app
