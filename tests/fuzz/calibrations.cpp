// What is kept of sound cards and grabbers.
#include <cstdlib>
#include <linebench/capture/calibration.hpp>
#include <linebench/capture/grabber_calibration.hpp>
#include <nlohmann/json.hpp>

#include "scratch.hpp"
#include "target.hpp"

using namespace linebench;

namespace {

void use_scratch_store() {
  static const int once = ::setenv("LINEBENCH_HOME", fuzz::scratch_folder().c_str(), 1);
  (void)once;
}

}  // namespace

FUZZ_TARGET(card) {
  use_scratch_store();
  fuzz::scratch("calibrations/fuzz.json", input);
  const capture::CalibrationList list = capture::list_calibrations();
  fuzz::require(list.calibrations.size() + list.problems.size() == 1, "a calibration is used or named");
  for (const capture::Calibration& c : list.calibrations) {
    CaptureFacts facts;
    capture::apply_calibration(facts, c);
    (void)facts_to_json(facts).dump();
    (void)capture::calibration_to_json(c).dump();
  }
}

FUZZ_TARGET(grabber) {
  use_scratch_store();
  fuzz::scratch("grabbers/fuzz.json", input);
  const capture::GrabberList list = capture::list_grabbers();
  fuzz::require(list.calibrations.size() + list.problems.size() == 1, "a calibration is used or named");
  for (const capture::GrabberCalibration& c : list.calibrations) {
    (void)c.name();
    (void)capture::grabber_to_json(c).dump();
  }
}
