#include "cases.hpp"

#include <algorithm>
#include <cstdlib>
#include <linebench/base/version.hpp>

#include "readings.hpp"
#include "support/coverage.hpp"

namespace faultsim_test {

using namespace linebench;
using faultsim::Dice;

namespace {

// How a camera and a programme of this site should stand: told with --system and --sides.
diagnose::Site told(const faultsim::Installation& site) { return {site.system, "two"}; }

}  // namespace

int Case::place(const std::string& fault) const {
  const auto& r = diagnosis.ranking;
  return static_cast<int>(std::find_if(r.begin(), r.end(), [&](const auto& x) { return x.first == fault; }) -
                          r.begin());
}

bool Case::called_sound() const { return diagnosis.nothing_wrong > 0.2 && diagnosis.gaps.empty(); }

std::string Case::first() const {
  std::string name = "nothing wrong";
  double most = diagnosis.nothing_wrong;
  if (diagnosis.unlisted > most) {
    name = "not in the book";
    most = diagnosis.unlisted;
  }
  return diagnosis.ranking.front().second > most ? diagnosis.ranking.front().first : name;
}

const diagnose::FaultBook& shipped_book() {
  static const diagnose::FaultBook book = diagnose::load_fault_book({share_dir() / "signals" / "faults"});
  return book;
}

Case make_case(const std::vector<std::string>& faults, std::uint64_t seed) {
  Dice dice(seed);
  Case c;
  c.faults = faults;
  c.site = faultsim::sound_installation(dice);
  for (const std::string& f : faults) faultsim::put_fault(c.site, f, dice);
  c.visible = c.site.visible;
  c.evidence = diagnose::gather(shipped_book(), faultsim::read_all(c.site, dice), told(c.site));
  c.diagnosis = diagnose::diagnose(shipped_book(), c.evidence);
  return c;
}

std::vector<std::string> draw_by_prior(std::uint64_t seed) {
  Dice dice(seed ^ 0x5EEDULL << 32U);
  std::vector<std::string> out;
  for (const std::string& name : faultsim::fault_names()) {
    if (dice.chance(shipped_book().fault(name)->prior)) out.push_back(name);
  }
  return out;
}

diagnose::Diagnosis after_next_test(const Case& c, std::uint64_t seed) {
  if (!c.diagnosis.next_test) return c.diagnosis;
  const diagnose::Sign* trial = shipped_book().sign(c.diagnosis.next_test->id);
  if (trial == nullptr) return c.diagnosis;
  Dice dice(seed ^ 0xA115ULL << 32U);
  auto evidence = c.evidence;
  std::vector<std::string> words;
  for (const auto& [word, share] : trial->words) words.push_back(word);
  evidence.push_back(diagnose::parse_observed(
      trial->id + "=" + faultsim::answer(c.site, trial->id, words, 0.01, dice), shipped_book()));
  diagnose::Options options;
  options.next_tests = false;
  return diagnose::diagnose(shipped_book(), evidence, options);
}

int cases_each(int usual) {
  const char* asked = std::getenv("LINEBENCH_FAULTSIM_CASES");
  const int n = asked != nullptr ? std::atoi(asked) : 0;
  return n > 0 ? n : coverage::whole() ? usual : usual / 3;
}

std::uint64_t first_seed() {
  if (const char* asked = std::getenv("LINEBENCH_FAULTSIM_SEED"); asked != nullptr)
    return std::strtoull(asked, nullptr, 10);
  return std::getenv("LINEBENCH_FAULTSIM_TUNING") != nullptr ? 0 : first_scoring_seed;
}

}  // namespace faultsim_test
