#include "grabber_list.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <nlohmann/json.hpp>

#include "say.hpp"

namespace linebench::app {
namespace {

std::string standards_of(const capture::GrabberInput& i) {
  if (i.has_525 && i.has_625) return "525 and 625 lines";
  return i.has_525 ? "525 lines" : i.has_625 ? "625 lines" : "no television standard";
}

}  // namespace

nlohmann::json grabbers_json(std::span<const capture::Grabber> grabbers) {
  nlohmann::json list = nlohmann::json::array();
  for (const capture::Grabber& g : grabbers) {
    nlohmann::json inputs = nlohmann::json::array();
    for (const capture::GrabberInput& i : g.inputs) {
      nlohmann::json standards = nlohmann::json::array();
      if (i.has_525) standards.push_back("525");
      if (i.has_625) standards.push_back("625");
      inputs.push_back({{"index", i.index},
                        {"name", i.name},
                        {"standards", standards},
                        {"signal", capture::to_string(i.signal)}});
    }
    list.push_back({{"device", g.identity()},
                    {"name", g.name},
                    {"node", g.path},
                    {"bus", g.bus},
                    {"formats", g.formats},
                    {"inputs", inputs}});
  }
  return list;
}

void print_grabbers(std::span<const capture::Grabber> grabbers) {
  for (const capture::Grabber& g : grabbers) {
    print("{}\n  node    {}\n", g.identity(), g.path);
    for (const capture::GrabberInput& i : g.inputs) {
      print("  input   {} {}, {}{}\n", i.index, i.name, standards_of(i),
            i.signal == capture::SignalState::Unknown
                ? ""
                : fmt::format(", signal {}", capture::to_string(i.signal)));
    }
    print("  sends   {}{}\n", fmt::format("{}", fmt::join(g.formats, ", ")),
          g.sends("YUYV") || g.sends("UYVY") ? "" : "; no uncompressed format: not fit for levels");
  }
}

}  // namespace linebench::app
