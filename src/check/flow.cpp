#include <linebench/check/flow.hpp>

#include "feed.hpp"

namespace linebench::check {

Route next_step(const Work& work, const Knowledge& k) {
  Script script(work, k.words);
  return script.run([&](Script& s) { return feed_flow(s, k); });
}

report::Outcome outcome_of(const Work& work, const Knowledge& k) { return feed_outcome(work, k); }

job::NewJob identity_of(const Work& work) {
  const auto answer = [&](const char* key) {
    const std::string* a = work.answer(key);
    return a != nullptr ? *a : std::string();
  };
  job::NewJob n{.kind = work.job.kind, .complaint = answer("complaint"), .site = answer("site.name")};
  n.title = answer("feed.name");
  return n;
}

}  // namespace linebench::check
