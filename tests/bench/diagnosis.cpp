// From evidence to ranked faults, over simulated jobs: one fault each, every fault of the book in turn; and
// what cannot be done without: the density of each sign that two faults both act on, for every way and
// severity of both.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cmath>
#include <linebench/diagnose/diagnose.hpp>
#include <vector>

#include "faultsim/cases.hpp"
#include "model.hpp"

namespace {

using namespace linebench;

const std::vector<std::vector<diagnose::Evidence>>& jobs() {
  static const auto made = [] {
    std::vector<std::vector<diagnose::Evidence>> out;
    const auto& faults = faultsim_test::shipped_book().faults;
    for (std::size_t i = 0; i < faults.size(); i += 8)
      out.push_back(faultsim_test::make_case({faults[i].id}, i).evidence);
    return out;
  }();
  return made;
}

void per_job(benchmark::State& state) { state.counters["jobs"] = static_cast<double>(jobs().size()); }

void evidence_to_faults(benchmark::State& state) {
  const auto& book = faultsim_test::shipped_book();
  for (auto _ : state)
    for (const auto& e : jobs()) benchmark::DoNotOptimize(diagnose::diagnose(book, e));
  per_job(state);
}
BENCHMARK(evidence_to_faults)->Unit(benchmark::kMillisecond);

// The ranking alone, without what to do next.
void ranking(benchmark::State& state) {
  const auto& book = faultsim_test::shipped_book();
  for (auto _ : state)
    for (const auto& e : jobs()) benchmark::DoNotOptimize(diagnose::build_model(book, e));
  per_job(state);
}
BENCHMARK(ranking)->Unit(benchmark::kMillisecond);

// Densities of the single faults' cells, and of the pairs of cells that act on the same sign.
std::size_t densities(const diagnose::Model& m) {
  std::size_t count = 0;
  for (const auto& t : m.tables) count += t.cells.size() * t.touched.size();
  for (const auto& h : m.hypotheses) {
    if (h.second < 0) continue;
    const auto& a = m.tables[static_cast<std::size_t>(h.first)];
    const auto& b = m.tables[static_cast<std::size_t>(h.second)];
    for (std::size_t i = 0; i < a.touched.size(); ++i) {
      const auto at = std::find(b.touched.begin(), b.touched.end(), a.touched[i]);
      if (at == b.touched.end()) continue;
      const auto j = static_cast<std::size_t>(at - b.touched.begin());
      const auto acting = [](const diagnose::FaultTable& t, std::size_t k) {
        return static_cast<std::size_t>(
            std::count_if(t.cells.begin(), t.cells.end(), [&](const auto& c) { return c.causes[k].acts; }));
      };
      count += acting(a, i) * acting(b, j);
    }
  }
  return count;
}

void floor_diagnosis(benchmark::State& state) {
  const auto& book = faultsim_test::shipped_book();
  std::size_t count = 0;
  for (const auto& e : jobs()) count += densities(diagnose::build_model(book, e));
  for (auto _ : state) {
    // Levels of two causes and the path's own add as powers; then the density of the reading.
    double sum = 0, level = -40;
    for (std::size_t i = 0; i < count; ++i) {
      level += 1e-6;
      const double power = std::exp(0.23 * level) + std::exp(0.2 * level);
      const double d = (4.3 * std::log(power) + 38) / 3;
      sum += std::log(0.99 * std::exp(-0.5 * d * d) + 0.01);
    }
    benchmark::DoNotOptimize(sum);
  }
  state.counters["densities"] = static_cast<double>(count);
}
BENCHMARK(floor_diagnosis)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
