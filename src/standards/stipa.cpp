#include <algorithm>
#include <cmath>
#include <linebench/standards/stipa.hpp>

namespace linebench::standards {

double transmission_index(double m) {
  if (!(m > 0)) return 0;
  if (m >= 1) return 1;
  const double snr = std::clamp(10 * std::log10(m / (1 - m)), -sti_snr_limit_db, sti_snr_limit_db);
  return (snr + sti_snr_limit_db) / (2 * sti_snr_limit_db);
}

double speech_transmission_index(std::span<const double, 7> mti) {
  double sti = 0;
  for (std::size_t k = 0; k < 7; ++k) {
    sti += stipa_bands[k].alpha * mti[k];
    if (k + 1 < 7) sti -= stipa_bands[k].beta * std::sqrt(mti[k] * mti[k + 1]);
  }
  return std::clamp(sti, 0.0, 1.0);
}

}  // namespace linebench::standards
