// The fault book, signal paths, what was observed, and documents of readings.
#include <cmath>
#include <linebench/base/reading_json.hpp>
#include <linebench/diagnose/compare.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <linebench/judge/limits.hpp>
#include <nlohmann/json.hpp>
#include <string>
#include <where.hpp>

#include "scratch.hpp"
#include "target.hpp"

using namespace linebench;
using namespace linebench::diagnose;

namespace {

// Probabilities, whatever the evidence is.
void require_diagnosis(const FaultBook& book, const std::vector<Evidence>& evidence) {
  const Diagnosis d = diagnose::diagnose(book, evidence, {.next_tests = false});
  const auto share = [](double p) { return p >= 0 && p <= 1 + 1e-9; };
  fuzz::require(share(d.nothing_wrong) && share(d.unlisted), "a probability of nothing and of the unlisted");
  for (const auto& [fault, p] : d.ranking) fuzz::require(share(p), "a probability of each fault");
}

}  // namespace

FUZZ_TARGET(fault) {
  fuzz::reads([&] {
    const Fault f = parse_fault(input, "fuzz", "fuzz.toml", fuzz::shipped_book());
    FaultBook book = fuzz::shipped_book();
    book.faults.resize(2);
    book.faults.push_back(f);
    const auto& effects = f.variants.front().effects;
    Evidence e;
    e.sign = effects.empty() ? book.signs.front().id : effects.front().sign;
    const Sign& s = *book.sign(e.sign);
    if (s.scale == Scale::Words)
      e.word = s.words.front().first;
    else
      e.value = s.usual, e.sd = 1;
    require_diagnosis(book, {e});
  });
}

FUZZ_TARGET(signs) {
  const auto file = fuzz::scratch("signs/signs.toml", input);
  fuzz::reads([&] {
    const FaultBook book = load_fault_book({file.parent_path()});
    for (std::size_t i = 0; i < book.signs.size(); ++i) {
      fuzz::require(book.sign_index(book.signs[i].id) == static_cast<int>(i), "every sign is found");
      (void)notation_of(book.signs[i]);
    }
    (void)gather(book, {});
  });
}

FUZZ_TARGET(signal_path) {
  fuzz::reads([&] {
    const SignalPath path = parse_signal_path(input, "fuzz.toml");
    fuzz::require(!path.parts.empty(), "a path has parts");
    (void)locate(fuzz::shipped_book(), path, {});
  });
}

FUZZ_TARGET(observed) {
  fuzz::reads([&] {
    const Evidence e = parse_observed(std::string(input), fuzz::shipped_book());
    fuzz::require(std::isfinite(e.value) && std::isfinite(e.sd) && e.sd >= 0, "a value and its uncertainty");
    require_diagnosis(fuzz::shipped_book(), {e});
  });
}

// What --json wrote, as judge, diagnose and compare read it.
FUZZ_TARGET(document) {
  fuzz::reads([&] {
    std::vector<Capture> captures = captures_from_json(std::string(input), "fuzz.json");
    for (Capture& c : captures) {
      for (const Reading& r : c.readings) (void)reading_to_json(r).dump();
      static const judge::LimitSet set =
          judge::load_limit_set(LINEBENCH_SOURCE_DIR "/signals/limits/speech-path.toml");
      judge::judge(c.readings, set);
      (void)judge::overall(c.readings, set);
    }
    require_diagnosis(fuzz::shipped_book(), gather(fuzz::shipped_book(), captures));
    if (!captures.empty()) (void)compare(fuzz::shipped_book(), captures.front(), captures.back());
  });
}
