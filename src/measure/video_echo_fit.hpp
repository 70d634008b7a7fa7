// Echoes of a line's own edges, found where the line ought to stand still.
#pragma once

#include <cstddef>
#include <vector>

namespace linebench::measure {

/// A mean line, going round: y[0] follows y.back().
struct EchoLine {
  /// Beside a pulse of the picture the level is as unknown as that of the tip.
  enum class Part : unsigned char { Unused, Tip, Blanking, Beside };
  std::vector<double> y;    ///< mV
  std::vector<Part> parts;  ///< where the sent signal is known to stand still, and at which level
  double sigma_mv = 1;      ///< of y's points, for weighing
};

struct Echo {
  double delay_us = 0;
  double ratio = 0;  ///< re the direct signal, signed
};

struct EchoSearch {
  double from_us = 0.3;
  double sure_from_us = 0.5;  ///< where the bound starts; nearer ones are found at times, but not surely
  double to_us = 4.0;
  double least_ratio = 0.01;
  std::size_t most = 4;
};

/// What is left to explain, and how much of it an echo could be.
struct EchoBound {
  double ratio = 0;   ///< no echo above this is hidden in the line
  double misfit = 0;  ///< mean square of what is left, in sigmas: about 1 or less where the model holds
  /// Other sets of echoes that leave about as little: what is not in all of them is not known.
  std::vector<std::vector<Echo>> others{};
};

/// Model: y(t) = s(t) + sum ratio_k s(t - delay_k) with s level on the tip and on blanking, up to a slope and
/// the tail that a lossy or band-limited path leaves behind every edge (t^-1/2 and exponential). Nonlinear
/// least squares; s is got from y by dividing spectra, so echoes of echoes are not taken for more of them.
class EchoFit {
 public:
  /// All lines of one length. @param step_us between points. @param others the same lines with other noise
  /// (the other half of the data): each half is then fitted with terms made from the other, so that the noise
  /// in the terms does not draw the fit (instrumental variables).
  EchoFit(std::vector<EchoLine> lines, double step_us, std::vector<EchoLine> others = {});
  /// Finds echoes, strongest first.
  [[nodiscard]] std::vector<Echo> find(const EchoSearch& search, EchoBound& bound) const;
  /// Settles echoes found elsewhere on these lines: for uncertainty from parts of the data.
  [[nodiscard]] std::vector<Echo> settle(std::vector<Echo> echoes) const;

 private:
  struct System;
  struct Candidate {
    Echo echo;
    double gain = 0;
  };
  struct Scan {
    std::vector<Candidate> places{};  // most gain first
    double left = 0;                  // sum of squares, in sigmas
    double points = 0;
    double bound = 0;  // the largest ratio that may be hidden
  };
  struct Solution {
    std::vector<Echo> echoes{};
    double misfit = 0;     // sum of squares, in sigmas
    bool possible = true;  // whatever it is called
    bool sound = true;     // echoes that are looked for, all of them
  };
  [[nodiscard]] System build(const std::vector<EchoLine>& lines, const std::vector<Echo>& echoes) const;
  [[nodiscard]] double misfit(const std::vector<Echo>& echoes) const;
  [[nodiscard]] Scan scan(const std::vector<Echo>& echoes, const EchoSearch& search) const;
  [[nodiscard]] Solution settled(std::vector<Echo> echoes, const EchoSearch& search) const;
  void extend(const std::vector<Echo>& echoes, const Scan& scan, const EchoSearch& search, std::size_t most,
              std::vector<Solution>& pool) const;
  void extend_with_near(const std::vector<Echo>& echoes, const EchoSearch& search,
                        std::vector<Solution>& pool) const;
  std::vector<EchoLine> lines_;
  std::vector<EchoLine> others_;
  double step_us_;
};

}  // namespace linebench::measure
