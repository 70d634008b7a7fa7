#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cstdio>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/calibration.hpp>
#include <linebench/capture/sound_device.hpp>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "grabber_list.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

using capture::Direction;
using capture::SoundDevice;

std::vector<double> rates_of(capture::SoundSystem& system, const SoundDevice& d, Direction direction) {
  const int channels = d.channels(direction);
  return channels > 0 ? system.rates(d, direction, std::min(channels, 2)) : std::vector<double>();
}

std::string calibrated(const capture::CalibrationList& list, const SoundDevice& d) {
  std::vector<std::string> rates;
  for (const auto& c : list.calibrations) {
    if (c.device == d.identity()) rates.push_back(fmt::format("{}", c.sample_rate_hz));
  }
  return rates.empty() ? "" : fmt::format("{} Hz", fmt::join(rates, ", "));
}

nlohmann::json as_json(capture::SoundSystem& system, const std::vector<SoundDevice>& devices,
                       const capture::CalibrationList& calibrations,
                       const std::vector<capture::Grabber>& grabbers) {
  nlohmann::json list = nlohmann::json::array();
  for (const SoundDevice& d : devices) {
    nlohmann::json calibrated_at = nlohmann::json::array();
    for (const auto& c : calibrations.calibrations) {
      if (c.device == d.identity()) calibrated_at.push_back(c.sample_rate_hz);
    }
    list.push_back({{"device", d.identity()},
                    {"host_api", d.host_api},
                    {"name", d.name},
                    {"inputs", d.inputs},
                    {"outputs", d.outputs},
                    {"default_rate", d.default_rate_hz},
                    {"input_rates", rates_of(system, d, Direction::Input)},
                    {"output_rates", rates_of(system, d, Direction::Output)},
                    {"direct", d.direct()},
                    {"calibrated_at", calibrated_at}});
  }
  return {
      {"schema", "linebench/1"}, {"command", "devices"}, {"sound", list}, {"video", grabbers_json(grabbers)}};
}

void print_table(capture::SoundSystem& system, const std::vector<SoundDevice>& devices,
                 const capture::CalibrationList& calibrations) {
  for (const SoundDevice& d : devices) {
    print("{}\n", d.identity());
    for (const Direction direction : {Direction::Input, Direction::Output}) {
      if (d.channels(direction) == 0) continue;
      const auto rates = rates_of(system, d, direction);
      print("  {:<7} {} channels, {}\n", direction == Direction::Input ? "input" : "output",
            d.channels(direction),
            rates.empty() ? "busy or no usual rate: close other programs that use it"
                          : fmt::format("{} Hz", fmt::join(rates, ", ")));
    }
    if (const std::string at = calibrated(calibrations, d); !at.empty()) print("  calibrated at {}\n", at);
    if (!d.direct()) print("  through the system's mixer, which may change level and rate\n");
  }
}

Exit show_devices(const Context& context) {
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const auto calibrations = capture::list_calibrations();
  const auto grabbers = capture::open_grabber_system()->grabbers();
  if (context.json) {
    print("{}\n", json_text(as_json(*system, devices, calibrations, grabbers), 2));
    if (devices.empty()) say("linebench: {}\n", capture::no_sound_device);
    return Exit::Ok;
  }
  if (devices.empty()) {
    print("{}\n", capture::no_sound_device);
  } else {
    print_table(*system, devices, calibrations);
  }
  if (grabbers.empty()) {
    print("{}\n", capture::no_grabber);
  } else {
    print_grabbers(grabbers);
  }
  return Exit::Ok;
}

}  // namespace

void add_devices(CLI::App& app, Context& context) {
  CLI::App* c = app.add_subcommand(
      "devices", "Sound devices and video grabbers: what they are called and what they can do");
  c->callback([&context] { context.action = [&context] { return show_devices(context); }; });
}

}  // namespace linebench::app
