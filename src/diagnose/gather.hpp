// How the readings of captures become signs, one view a file.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <linebench/diagnose/evidence.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::diagnose {

/// Collects candidates for signs; the one furthest from sound stays.
class Gatherer {
 public:
  explicit Gatherer(const FaultBook& book) : book_(book) {}

  /// @param value, u in the sign's own unit (u expanded, k=2); a sign the book does not have is left out.
  void number(std::string_view sign, double value, double u, const std::string& from,
              const std::string& remark = {});
  void bound(std::string_view sign, double value, const std::string& from);
  void word(std::string_view sign, const std::string& word, const std::string& from,
            const std::string& remark = {});

  [[nodiscard]] std::vector<Evidence> in_book_order() const;

 private:
  void offer(const Sign& sign, Evidence e);
  const FaultBook& book_;
  std::vector<Evidence> kept_;
};

/// A measured number of this id and its expanded uncertainty.
struct Number {
  double value = 0;
  double u = 0;
};
[[nodiscard]] std::optional<Number> number_of(const Readings& readings, std::string_view id);
[[nodiscard]] std::optional<std::string> text_of(const Readings& readings, std::string_view id);
[[nodiscard]] std::optional<double> bound_of(const Readings& readings, std::string_view id);

/// Ids' channel suffixes in this capture: {""} or {".left", ".right"} ...
[[nodiscard]] std::vector<std::string> suffixes_of(const Capture& capture);

void gather_audio(const std::vector<Capture>& captures, Gatherer& out);
void gather_video(const Capture& capture, const Site& site, Gatherer& out);
void gather_picture(const Capture& capture, Gatherer& out);
void gather_shared(const std::vector<Capture>& captures, Gatherer& out);

}  // namespace linebench::diagnose
