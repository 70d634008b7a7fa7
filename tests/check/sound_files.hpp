// Captures for the guided jobs, made by sox: nothing of them comes from the program's own generators.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "support/python.hpp"

namespace check_test {

/// Runs sox with these arguments; `-R` gives the same noise on every run.
inline void sox(const std::string& arguments) {
  const std::string command = "sox -V1 -R " + arguments;
  if (std::system(command.c_str()) != 0) throw std::runtime_error(command);
}

/// Programme: speech by espeak-ng, the same on both sides, with a little hiss. @param rms_dbfs per AES17.
/// @param remix what becomes of the sides: "1 1", "1 1i" (right reversed), "1 0" (right empty).
inline void programme(const std::string& file, double rms_dbfs, const std::string& remix = "1 1") {
  const std::string said = file + ".said.wav", hiss = file + ".hiss.wav", mono = file + ".mono.wav";
  const std::string speak =
      "espeak-ng -v en -s 150 -w '" + said +
      "' 'The ferry to the islands leaves from berth three at ten past nine. Passengers with vehicles are "
      "asked to go to lane four now. The cafeteria on deck two is open until we arrive.'";
  if (std::system(speak.c_str()) != 0) throw std::runtime_error(speak);
  // sox counts rms from a square wave: a full-scale sine is -3.01 dB to it.
  FILE* p = popen(("sox '" + said + "' -n stats 2>&1 | awk '/RMS lev dB/ {print $4}'").c_str(), "r");
  double level = 0;
  if (p == nullptr || std::fscanf(p, "%lf", &level) != 1) throw std::runtime_error("sox stats");
  pclose(p);
  sox("'" + said + "' -r 48000 -b 24 '" + mono + "' vol " + std::to_string(rms_dbfs - 3.0103 - level) + "dB");
  sox("-n -r 48000 -b 24 '" + hiss + "' synth 12 whitenoise vol -96dB");
  sox("-m -v 1 '" + mono + "' -v 1 '" + hiss + "' -b 24 '" + file + "' remix " + remix);
  for (const std::string& f : {said, hiss, mono}) std::remove(f.c_str());
}

struct Breaks {
  int seed, count;
  double shortest_s, longest_s;
  double left;       ///< share of the sound that is left in one
  double click = 0;  ///< rms, full scale, of a sample put on where each begins
};
/// A mono recording of 12 s whose sound goes for moments at uneven times, by numpy.
inline void breaks(const std::filesystem::path& file, const Breaks& b) {
  std::vector<std::string> with = {file.string()};
  for (const double v : {static_cast<double>(b.seed), static_cast<double>(b.count), b.shortest_s, b.longest_s,
                         b.left, b.click})
    with.push_back(std::to_string(v));
  (void)testing_support::run_python(
      "import sys, subprocess, numpy as np\n"
      "f = sys.argv[1]\n"
      "seed, count, shortest, longest, left, click = map(float, sys.argv[2:])\n"
      "x = np.frombuffer(subprocess.run(['sox', f, '-t', 'f32', '-'], capture_output=True).stdout, "
      "'<f4').copy()\n"
      "r = np.random.default_rng(int(seed))\n"
      "for t in np.sort(r.uniform(1, 11, int(count))):\n"
      "    i = int(t * 48000); k = int(r.uniform(shortest, longest) * 48000)\n"
      "    x[i:i + k] *= left\n"
      "    if click: x[i] += click * r.normal()\n"
      "subprocess.run(['sox', '-t', 'f32', '-r', '48000', '-c', '1', '-', '-b', '24', f], "
      "input=x.tobytes(), check=True)\n",
      with);
}

/// The same feed with nothing playing: hiss alone.
inline void quiet(const std::string& file, double hiss_db = -96) {
  sox("-n -r 48000 -b 24 -c 2 '" + file + "' synth 6 whitenoise vol " + std::to_string(hiss_db) + "dB");
}

// An earth loop's hum: strong fundamental, odd multiples falling (common practice of rectifier loads).
inline void hum(const std::filesystem::path& file, double fundamental_db, int hiss_db = -80) {
  const std::string f = file.string();
  const auto vol = [&](double below) { return std::to_string(fundamental_db - below) + "dB"; };
  std::string mix = "-m";
  int n = 0;
  for (const auto& [hz, below] : {std::pair{50, 0.0}, {150, 7.0}, {250, 12.0}, {350, 18.0}, {100, 22.0}}) {
    const std::string part = f + "." + std::to_string(n++) + ".wav";
    sox("-n -r 16000 -b 24 '" + part + "' synth 8 sine " + std::to_string(hz) + " vol " + vol(below));
    mix += " -v 1 '" + part + "'";
  }
  const std::string hiss = f + ".hiss.wav";
  sox("-n -r 16000 -b 24 '" + hiss + "' synth 8 whitenoise vol " + std::to_string(hiss_db) + "dB");
  sox(mix + " -v 1 '" + hiss + "' -b 24 '" + f + "'");
  std::remove(hiss.c_str());
  for (int i = 0; i < n; ++i) std::remove((f + "." + std::to_string(i) + ".wav").c_str());
}

/// A site's folder with the same loud hum from its second part to its fifth, and no recording twice.
inline void loud_from_second(const std::filesystem::path& folder) {
  int part = 1;
  for (const double db : {-38.0, -38.1, -37.9, -38.05})
    hum(folder / ("site.at." + std::to_string(++part) + ".wav"), db);
}

}  // namespace check_test
