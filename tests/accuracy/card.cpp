#include "accuracy/card.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/text.hpp>
#include <map>
#include <set>
#include <sstream>
#include <stdexcept>

namespace accuracy {
namespace {

using linebench::find_kind;
using linebench::ReadingKind;

const ReadingKind& kind_of(std::string_view id) {
  const ReadingKind* kind = find_kind(id);
  if (kind == nullptr) throw std::logic_error("the catalogue knows no " + std::string(id));
  return *kind;
}

std::string figure(double v) { return fmt::format("{:.2g}", v); }

}  // namespace

void Trial::expect(std::string_view id, double truth, double bound) {
  const linebench::Reading* r = linebench::find_reading(readings_, id);
  const bool given = r != nullptr && std::holds_alternative<double>(r->value);
  found_.push_back({std::string(kind_of(id).id),
                    given ? r->number() : std::numeric_limits<double>::quiet_NaN(),
                    given ? r->uncertainty.value_or(0) : 0, truth, bound});
}

void Trial::expect_point(std::string_view id, double x, const std::function<double(double)>& truth) {
  const linebench::Reading* r = linebench::find_reading(readings_, id);
  Found f{std::string(kind_of(id).id), std::numeric_limits<double>::quiet_NaN(), 0, 0, 0};
  if (r != nullptr && std::holds_alternative<linebench::Curve>(r->value)) {
    const linebench::Curve& c = r->curve();
    for (std::size_t i = 0; i < c.x.size(); ++i) {
      if (std::abs(c.x[i] - x) > 0.02 * x) continue;
      f.measured = c.y[i];
      f.truth = truth(c.x[i]);
      f.uncertainty = i < c.uncertainty.size() ? c.uncertainty[i] : r->uncertainty.value_or(0);
    }
  }
  found_.push_back(f);
}

double Draw::octaves(double low, double high) { return low * std::pow(high / low, between(0, 1)); }
double Draw::one_of(std::initializer_list<double> list) { return list.begin()[random_() % list.size()]; }

std::vector<Case> all_cases() {
  std::vector<Case> all;
  add_tone_cases(all);
  add_noise_and_hum_cases(all);
  add_pair_cases(all);
  add_path_cases(all);
  add_waveform_cases(all);
  add_waveform_path_cases(all);
  add_lowband_cases(all);
  add_picture_cases(all);
  std::map<std::string, int> numbers;
  for (Case& c : all) c.key = fmt::format("{}{}", c.view.front(), ++numbers[c.view]);
  return all;
}

std::vector<Row> rows_of(const Case& c) {
  struct Sum {
    int wanted = 0, given = 0, inside = 0, bounded = 0;
    double squares = 0, worst = 0, claimed = 0, bound_squares = 0;
  };
  std::map<std::string, Sum> sums;
  for (int i = 0; i < c.trials; ++i) {
    for (const Found& f : c.run(static_cast<unsigned>(i + 1))) {
      Sum& s = sums[f.id];
      ++s.wanted;
      if (std::isnan(f.measured)) continue;
      ++s.given;
      const double error = std::abs(f.measured - f.truth);
      s.inside += error <= f.uncertainty ? 1 : 0;
      s.squares += error * error;
      s.worst = std::max(s.worst, error);
      s.claimed += f.uncertainty;
      if (f.bound > 0) {
        ++s.bounded;
        s.bound_squares += std::pow(error / f.bound, 2);
      }
    }
  }
  std::vector<Row> rows;
  for (const auto& [id, s] : sums) {
    Row r{c.view, id, c.key, std::string(kind_of(id).unit), c.trials, s.given, s.wanted};
    if (s.given > 0) {
      r.rms = std::sqrt(s.squares / s.given);
      r.worst = s.worst;
      r.claimed = s.claimed / s.given;
      r.coverage = static_cast<double>(s.inside) / s.given;
    }
    if (s.bounded > 0) r.times_bound = std::sqrt(s.bound_squares / s.bounded);
    rows.push_back(r);
  }
  return rows;
}

std::string wrong_with(const Row& row) {
  if (2 * row.given < row.wanted)
    return fmt::format("{} {}: only {} of {} readings were given", row.view, row.id, row.given, row.wanted);
  // Readings of one capture share its noise: the trials count, not the readings.
  const int n = std::min(row.given, row.tried);
  const double least = 0.93 - 2 * std::sqrt(0.95 * 0.05 / n);
  if (row.coverage < least)
    return fmt::format("{} {}: claimed uncertainty is too small, truth inside {:.1f} % of {} trials",
                       row.view, row.id, 100 * row.coverage, n);
  return {};
}

std::string line_of(const Row& row) {
  return fmt::format("| {} | `{}` | {} | {}/{} | {} | {} | {} | {:.1f} | {} |\n", row.sweep, row.id, row.unit,
                     row.given, row.wanted, figure(row.rms), figure(row.worst), figure(row.claimed),
                     100 * row.coverage, row.times_bound > 0 ? figure(row.times_bound) : "");
}

std::string legend(const std::vector<Case>& cases) {
  std::string out;
  for (const Case& c : cases)
    out += fmt::format("- {}, {}: {} ({} captures)\n", c.key, c.view, c.sweep, c.trials);
  return out;
}

std::string table(const std::vector<Row>& rows) {
  std::string out =
      "| sweep | reading | unit | given | rms error | worst | claimed (k = 2) | inside, % | rms : bound |\n"
      "|---|---|---|---|---|---|---|---|---|\n";
  for (const Row& row : rows) out += line_of(row);
  for (const Without& w : without_figures())
    out += fmt::format("| {} | `{}` | none: {} |\n", w.view, w.id, w.why);
  return out;
}

std::vector<Row> rows_in(std::string_view markdown, const std::vector<Case>& cases) {
  std::vector<Row> rows;
  std::istringstream lines{std::string(markdown)};
  for (std::string line; std::getline(lines, line);) {
    std::vector<std::string> cells;
    std::istringstream parts(line);
    for (std::string cell; std::getline(parts, cell, '|');)
      cells.push_back(std::string(linebench::trimmed(cell)));
    if (cells.size() < 10 || !cells[2].starts_with('`')) continue;
    Row r;
    r.sweep = cells[1];
    for (const Case& c : cases) {
      if (c.key == r.sweep) r.view = c.view, r.tried = c.trials;
    }
    r.id = cells[2].substr(1, cells[2].size() - 2);
    r.unit = cells[3];
    const std::size_t slash = cells[4].find('/');
    r.given = std::stoi(cells[4].substr(0, slash));
    r.wanted = std::stoi(cells[4].substr(slash + 1));
    r.rms = std::stod(cells[5]);
    r.worst = std::stod(cells[6]);
    r.claimed = std::stod(cells[7]);
    r.coverage = std::stod(cells[8]) / 100;
    r.times_bound = cells[9].empty() ? 0 : std::stod(cells[9]);
    rows.push_back(r);
  }
  return rows;
}

std::vector<std::string> gaps(const std::vector<std::pair<std::string, std::string>>& with_rows) {
  std::set<std::pair<std::string, std::string>> rows(with_rows.begin(), with_rows.end());
  std::set<std::pair<std::string, std::string>> reasons;
  std::vector<std::string> out;
  for (const Without& w : without_figures()) {
    const std::pair<std::string, std::string> key{w.view, w.id};
    if (find_kind(w.id) == nullptr)
      out.push_back(key.first + " " + key.second + ": the catalogue knows none such");
    if (w.why.empty()) out.push_back(key.first + " " + key.second + ": no reason");
    if (rows.contains(key))
      out.push_back(key.first + " " + key.second + ": has figures and a reason for none");
    reasons.insert(key);
  }
  const auto check = [&](std::string view, std::string_view id) {
    const std::pair<std::string, std::string> key{std::move(view), id};
    if (!rows.contains(key) && !reasons.contains(key))
      out.push_back(key.first + " " + key.second + ": neither figures nor a reason");
  };
  for (const ReadingKind& k : linebench::audio_reading_kinds()) check("audio", k.id);
  for (const ReadingKind& k : linebench::video_reading_kinds()) {
    if (k.id.starts_with("picture.")) {
      check("picture", k.id);
    } else if (!k.id.starts_with("video.vertical_sync")) {  // those are the lowband view's
      check("waveform", k.id);
    }
  }
  return out;
}

}  // namespace accuracy
