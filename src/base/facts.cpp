#include <fmt/format.h>

#include <limits>
#include <linebench/base/error.hpp>
#include <linebench/base/facts.hpp>
#include <linebench/base/json_whole.hpp>
#include <nlohmann/json.hpp>

namespace linebench {
namespace {

// One visitor names every key once, for both directions.
template <typename Facts, typename Visit>
void visit_facts(Facts& f, Visit&& v) {
  v("source", f.source);
  v("kind", f.kind);
  v("format", f.format);
  v("device", f.device);
  v("sample_rate", f.sample_rate_hz);
  v("channels", f.channels);
  v("frames", f.frames);
  v("clock_error_ppm", f.clock_error_ppm);
  v("clock_uncertainty_ppm", f.clock_uncertainty_ppm);
  v("calibration", f.calibration);
  v("full_scale_v", f.full_scale_v);
  v("xruns", f.xruns);
  v("dropped", f.dropped);
  v("interrupted", f.interrupted);
  v("taken_at", f.taken_at);
  v("signal", f.signal);
  v("notes", f.notes);
}

struct Write {
  nlohmann::json& j;
  void operator()(const char* key, const std::string& s) const {
    if (!s.empty()) j[key] = s;
  }
  void operator()(const char* key, const std::vector<std::string>& s) const {
    if (!s.empty()) j[key] = s;
  }
  void operator()(const char* key, const std::optional<double>& v) const {
    if (v) j[key] = *v;
  }
  template <typename T>
  void operator()(const char* key, const T& v) const {
    j[key] = v;
  }
};

struct Read {
  const nlohmann::json& j;
  template <typename T>
  void operator()(const char* key, std::optional<T>& v) const {
    if (j.contains(key)) v = get<T>(key);
  }
  template <typename T>
  void operator()(const char* key, T& v) const {
    if (j.contains(key)) v = get<T>(key);
  }
  template <typename T>
  T get(const char* key) const {
    if constexpr (std::is_integral_v<T> && !std::is_same_v<T, bool>) {
      constexpr std::int64_t most = sizeof(T) < 8 ? std::numeric_limits<int>::max() : INT64_MAX;
      if (const auto v = whole_from_json(j.at(key), 0, most)) return static_cast<T>(*v);
    } else {
      try {
        return j.at(key).get<T>();
      } catch (const nlohmann::json::exception&) {  // said below
      }
    }
    throw unusable(
        fmt::format("facts of the capture: \"{}\" has the wrong kind of value; correct or delete "
                    "the file beside the capture",
                    key));
  }
};

}  // namespace

nlohmann::json facts_to_json(const CaptureFacts& facts) {
  nlohmann::json j = nlohmann::json::object();
  visit_facts(facts, Write{j});
  j["duration"] = facts.duration_s();
  return j;
}

CaptureFacts facts_from_json(const nlohmann::json& j) {
  if (!j.is_object())
    throw unusable("facts of the capture: not a JSON object; delete the file beside the capture");
  CaptureFacts facts;
  visit_facts(facts, Read{j});
  return facts;
}

}  // namespace linebench
