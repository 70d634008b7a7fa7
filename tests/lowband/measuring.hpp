// What tests of the lowband view share: measure a card's recording, find a reading.
#pragma once

#include <gtest/gtest.h>

#include <linebench/measure/lowband.hpp>
#include <stdexcept>
#include <string>

#include "support/lowband_synth.hpp"

namespace lowband_test {

using namespace linebench;

inline Readings measured(const lowband_synth::Card& c, double seconds, unsigned seed = 1,
                         const measure::LowbandOptions& o = {}) {
  lowband_synth::MemoryCard source(c.rate_hz, lowband_synth::make(c, seconds, seed), c.full_scale_v);
  return measure::measure_lowband(source, o);
}

inline const Reading& get(const Readings& r, const std::string& id) {
  const Reading* found = find_reading(r, id);
  if (found == nullptr) throw std::runtime_error("no reading " + id);
  return *found;
}

}  // namespace lowband_test
