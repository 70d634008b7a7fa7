// Hum side by side over the picture: the same everywhere where it is added to the signal, less where codes
// end, more on bright parts where it sits on the gain.
#pragma once

#include <string>

#include "picture_hum_fit.hpp"

namespace linebench::measure {

/// One field: its profile in each strip of columns.
struct StripProfiles {
  double t = 0;
  int parity = 0;
  std::array<std::array<float, hum_shapes>, hum_strips> c{};
};

/// The strips' mean, each strip weighed. Weights of 0 leave a strip out; at least one is larger.
[[nodiscard]] std::vector<FieldProfile> weighed_mean(const std::vector<StripProfiles>& fields,
                                                     const std::array<double, hum_strips>& weight);

/// Weights by how little each strip changes from a field to the next of its kind: noise and motion.
[[nodiscard]] std::array<double, hum_strips> quiet_weights(const std::vector<StripProfiles>& fields);

struct StripView {
  bool alike = true;                        ///< the strips show the same hum
  std::array<double, hum_strips> weight{};  ///< those to go by where not: 0 for strips left out
  bool enough = true;                       ///< half of the strips or more agree
  double scale = 1;                         ///< hum on white, of the fit's, where it goes with the level
  double scale_u = 0;                       ///< k=1
  bool with_level = false;
  double least = 1, most = 1;  ///< of the strips, in the fit's amplitude
};

/// Compares the strips' hum with the fit's. @param level mean luma code of each strip, NaN where it carries
/// nothing
[[nodiscard]] StripView compare_strips(const std::vector<StripProfiles>& fields, const HumFit& fit,
                                       const HumProblem& problem,
                                       const std::array<double, hum_strips>& level);

/// How far the hum of a part of the stretch is from that of all of it, in the fit's amplitude, the largest of
/// six parts: mains is there all the time, what passes through a picture is not.
[[nodiscard]] double unsteadiness(const std::vector<StripProfiles>& fields,
                                  const std::array<double, hum_strips>& weight, const HumFit& fit,
                                  const HumProblem& problem);

}  // namespace linebench::measure
