#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/reading.hpp>
#include <stdexcept>

namespace linebench {

std::string_view to_string(Verdict v) {
  switch (v) {
    case Verdict::Info:
      return "info";
    case Verdict::Pass:
      return "pass";
    case Verdict::Fail:
      return "fail";
    case Verdict::Unmeasurable:
      return "unmeasurable";
  }
  return "info";
}

namespace {

Reading blank(std::string_view id) {
  const ReadingKind* kind = find_kind(id);
  if (kind == nullptr) throw std::logic_error("reading id not in the catalogue: " + std::string(id));
  Reading r;
  r.id = id;
  r.label = label_of(id);
  r.unit = kind->unit;
  return r;
}

}  // namespace

Reading number_reading(std::string_view id, double value, std::optional<double> uncertainty_k2,
                       std::string remark) {
  // A value that is not a number is a defect of the measurement that made it; never show it as one.
  if (!std::isfinite(value)) return unmeasurable(id, remark.empty() ? "no finite value came out" : remark);
  Reading r = blank(id);
  r.value = value;
  if (uncertainty_k2 && std::isfinite(*uncertainty_k2)) r.uncertainty = std::abs(*uncertainty_k2);
  r.reason = std::move(remark);
  return r;
}

Reading text_reading(std::string_view id, std::string value, std::string remark) {
  Reading r = blank(id);
  r.value = std::move(value);
  r.reason = std::move(remark);
  return r;
}

Reading curve_reading(std::string_view id, Curve value, std::optional<double> uncertainty_k2,
                      std::string remark) {
  Reading r = blank(id);
  r.value = std::move(value);
  r.uncertainty = uncertainty_k2;
  r.reason = std::move(remark);
  return r;
}

Reading unmeasurable(std::string_view id, std::string reason, std::optional<double> at_most) {
  Reading r = blank(id);
  r.verdict = Verdict::Unmeasurable;
  r.reason = std::move(reason);
  if (at_most && std::isfinite(*at_most)) r.at_most = at_most;
  return r;
}

const Reading* find_reading(const Readings& readings, std::string_view id) {
  const auto it =
      std::find_if(readings.begin(), readings.end(), [&](const Reading& r) { return r.id == id; });
  return it == readings.end() ? nullptr : &*it;
}

}  // namespace linebench
