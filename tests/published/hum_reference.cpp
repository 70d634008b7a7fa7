// Hum against references made by others: scipy's least squares with the frequency as an unknown (the
// four-parameter sine fit of [IEEE 1057], extended to a comb) on the same samples; a mix made by sox; a voice
// made by espeak-ng.
#include <gtest/gtest.h>
#include <sndfile.h>
#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/hum.hpp>
#include <string>

#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

HumResult hum_of(const synth::Samples& x, double rate) {
  HumAnalyser a(rate, {});
  a.push(x);
  return a.finish();
}

class HumReference : public ::testing::Test {
 protected:
  void SetUp() override {
    dir_ = std::filesystem::temp_directory_path() / ("linebench-hum-" + std::to_string(::getpid()));
    std::filesystem::create_directories(dir_);
  }
  void TearDown() override { std::filesystem::remove_all(dir_); }

  [[nodiscard]] std::string path(const std::string& name) const { return (dir_ / name).string(); }

  static synth::Samples read_first_channel(const std::string& file, double& rate) {
    SF_INFO info{};
    SNDFILE* f = sf_open(file.c_str(), SFM_READ, &info);
    if (f == nullptr) return {};
    synth::Samples all(static_cast<std::size_t>(info.frames * info.channels));
    sf_readf_float(f, all.data(), info.frames);
    sf_close(f);
    rate = info.samplerate;
    synth::Samples x;
    for (std::size_t i = 0; i < all.size(); i += static_cast<std::size_t>(info.channels)) x.push_back(all[i]);
    return x;
  }

  std::filesystem::path dir_;
};

TEST_F(HumReference, ScipyLeastSquaresOnTheSameSamples) {
  constexpr double rate = 8000;
  synth::Samples x(synth::count(4.0, rate), 0.0F);
  synth::add_noise(x, -50.0, 77);
  synth::add_sine(x, rate, 49.87, -40.0, 0.3);
  synth::add_sine(x, rate, 2 * 49.87, -48.0, 1.3);
  synth::add_sine(x, rate, 3 * 49.87, -44.0, 2.3);
  {
    std::ofstream out(path("x.f32"), std::ios::binary);
    out.write(reinterpret_cast<const char*>(x.data()),
              static_cast<std::streamsize>(x.size() * sizeof(float)));
  }
  {
    std::ofstream py(path("fit.py"));
    py << "import sys, numpy as np\nfrom scipy.optimize import least_squares\n"
          "x = np.fromfile(sys.argv[1], '<f4').astype(float); t = np.arange(len(x)) / 8000.0 - len(x) / "
          "16000.0\n"
          "def columns(f):\n"
          "    return np.column_stack([np.ones_like(t)] + [g(2*np.pi*k*f*t) for k in (1, 2, 3) for g in "
          "(np.cos, np.sin)])\n"
          "def rest(p):\n    m = columns(p[0]); return m @ np.linalg.lstsq(m, x, rcond=None)[0] - x\n"
          "r = least_squares(rest, [49.9], xtol=1e-14, ftol=1e-14, gtol=1e-14, x_scale=1e-3, "
          "diff_step=1e-7)\n"
          "m = columns(r.x[0]); c = np.linalg.lstsq(m, x, rcond=None)[0]\n"
          "print(repr(float(r.x[0])), repr(float(10*np.log10(np.sum(c[1:]**2)))))\n";
  }
  const std::string command =
      "/usr/bin/python3 " + path("fit.py") + " " + path("x.f32") + " > " + path("out.txt");
  ASSERT_EQ(std::system(command.c_str()), 0) << "needs python3-scipy";
  double f = 0;
  double level = 0;
  std::ifstream(path("out.txt")) >> f >> level;
  const HumResult r = hum_of(x, rate);
  ASSERT_TRUE(r.found);
  // Both see the same noise, so they must agree far better than either agrees with the truth.
  EXPECT_NEAR(r.frequency_hz, f, 1.5 * r.frequency_u);
  EXPECT_NEAR(dbfs_from_power(r.power), level, 8.686 * r.power_u / r.power);
  std::printf("  scipy %.6f Hz %.4f dB, here %.6f Hz (k=1 %.1e) %.4f dB\n", f, level, r.frequency_hz,
              r.frequency_u, dbfs_from_power(r.power));
}

TEST_F(HumReference, SoxMix) {
  // A sine synthesised alone has a peak of 1.0 in sox; -v are amplitude factors.
  std::string make = "cd " + dir_.string();
  for (const char* part : {"a.wav synth 12 sine 60.04", "b.wav synth 12 sine 120.08",
                           "c.wav synth 12 sine 180.12", "d.wav synth 12 pinknoise"}) {
    make += std::string(" && sox -R -r 44100 -n -b 24 -c 1 ") + part;
  }
  make += " && sox -m -v 0.001 a.wav -v 0.002 b.wav -v 0.0005 c.wav -v 0.002 d.wav -b 24 mix.wav";
  ASSERT_EQ(std::system(make.c_str()), 0) << "needs sox";
  double rate = 0;
  const synth::Samples x = read_first_channel(path("mix.wav"), rate);
  const HumResult r = hum_of(x, rate);
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(r.frequency_hz, 60.04, 0.005);
  EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(1e-6 + 4e-6 + 0.25e-6), 0.3);
  EXPECT_EQ(r.kind, HumKind::Ripple);
}

TEST_F(HumReference, EspeakVoice) {
  const std::string command =
      "espeak-ng -v en -s 150 -w " + path("voice.wav") +
      " \"The ferry to the island leaves from lane four at a quarter past nine. Passengers with vehicles "
      "please wait"
      " behind the yellow line. Tickets are sold at the counter near the terminal entrance. Please keep your "
      "receipt,"
      " it is needed on the way back. We apologise for the delay of the morning service.\" 2>/dev/null";
  if (std::system(command.c_str()) != 0) GTEST_SKIP() << "needs espeak-ng";
  double rate = 0;
  synth::Samples x = read_first_channel(path("voice.wav"), rate);
  ASSERT_GT(x.size(), 12 * rate);
  x.resize(synth::count(12.0, rate));
  double power = 0;
  for (const float v : x)
    power += static_cast<double>(v) * static_cast<double>(v) / static_cast<double>(x.size());
  const auto gain = static_cast<float>(rms_from_dbfs(-22.0) / std::sqrt(power));
  for (float& v : x) v *= gain;
  synth::add_noise(x, -85.0, 4);
  EXPECT_FALSE(hum_of(x, rate).found);
  for (const double f0 : {49.93, 60.04}) {
    synth::Samples y = x;
    synth::add_sine(y, rate, f0, -63.0, 0.2);
    synth::add_sine(y, rate, 2 * f0, -65.0, 0.9);
    synth::add_sine(y, rate, 3 * f0, -68.0, 1.9);
    const HumResult r = hum_of(y, rate);
    ASSERT_TRUE(r.found) << f0;
    EXPECT_NEAR(r.frequency_hz, f0, 0.005);
    EXPECT_NEAR(dbfs_from_power(r.power),
                db_from_power(power_from_db(-63) + power_from_db(-65) + power_from_db(-68)), 0.3);
  }
}

}  // namespace
