// The demo's three jobs on the invented ferry terminal: a counter that hums, a returned station, the
// passenger-information feed. Answers and captures as a technician would have them; captures are computed
// when they are wanted. Nothing here is used outside the demo.
#pragma once

#include <string>
#include <vector>

namespace linebench::signals {

struct DemoCapture {
  std::string file;         ///< "site.at.4.flac": the step's key
  std::string signal;       ///< recipe that was sent, for the facts; may be empty
  double full_scale_v = 0;  ///< for the facts; 0: not known
  double rate_hz = 48000;
  int channels = 1;
};

struct DemoJob {
  std::string kind;     ///< "site", "station", "feed"
  std::string answers;  ///< answers.toml
  std::vector<DemoCapture> captures;
};

[[nodiscard]] std::vector<DemoJob> demo_jobs();  ///< one of each kind of job

/// Interleaved samples, full scale +-1; the same on every run.
[[nodiscard]] std::vector<float> render(const DemoJob& job, const DemoCapture& capture);

}  // namespace linebench::signals
