#include <fftw3.h>

#include <linebench/dsp/fft.hpp>
#include <map>
#include <memory>
#include <mutex>
#include <new>
#include <stdexcept>
#include <type_traits>

namespace linebench::dsp {
namespace {

// FFTW's planner is not safe for threads; its execute functions are.
std::mutex& planner_mutex() {
  static std::mutex m;
  return m;
}

struct FftwFree {
  void operator()(void* p) const noexcept { fftw_free(p); }
};

template <typename T>
std::unique_ptr<T[], FftwFree> aligned_array(std::size_t n) {
  auto* p = static_cast<T*>(fftw_malloc(sizeof(T) * n));
  if (p == nullptr) throw std::bad_alloc();
  for (std::size_t i = 0; i < n; ++i) new (p + i) T{};
  return std::unique_ptr<T[], FftwFree>(p);
}

struct PlanFree {
  void operator()(fftw_plan p) const noexcept { fftw_destroy_plan(p); }
};
using Plan = std::unique_ptr<std::remove_pointer_t<fftw_plan>, PlanFree>;

// The plans of one length, made once and kept: planning costs as much as dozens of transforms, and a
// measurement makes many short-lived transforms of the same few lengths. FFTW's new-array execute runs them
// on any aligned buffers.
struct Plans {
  Plan forward;
  Plan inverse;
};

enum class Way { Forward, Inverse };

// A plan is made when first wanted, under the lock; ESTIMATE leaves the buffers' contents alone and gives the
// same plan, and so the same bits, on every run.
fftw_plan plan_for(std::size_t n, Way way, double* real, fftw_complex* bins) {
  static std::map<std::size_t, Plans> kept;
  const std::lock_guard lock(planner_mutex());
  Plans& plans = kept[n];
  Plan& plan = way == Way::Forward ? plans.forward : plans.inverse;
  if (plan == nullptr) {
    const int length = static_cast<int>(n);
    plan.reset(way == Way::Forward ? fftw_plan_dft_r2c_1d(length, real, bins, FFTW_ESTIMATE)
                                   : fftw_plan_dft_c2r_1d(length, bins, real, FFTW_ESTIMATE));
    if (plan == nullptr) throw std::runtime_error("FFTW could not plan a transform");
  }
  return plan.get();
}

}  // namespace

struct RealFft::Impl {
  std::size_t n;
  std::unique_ptr<double[], FftwFree> in;
  std::unique_ptr<std::complex<double>[], FftwFree> out;
  fftw_plan forward = nullptr;
  fftw_plan inverse = nullptr;

  explicit Impl(std::size_t size)
      : n(size), in(aligned_array<double>(size)), out(aligned_array<std::complex<double>>(size / 2 + 1)) {}

  // std::complex<double> is laid out as fftw_complex [C++ complex.numbers, FFTW manual 4.1.1].
  [[nodiscard]] fftw_complex* bins() const { return reinterpret_cast<fftw_complex*>(out.get()); }
};

RealFft::RealFft(std::size_t n) {
  if (n < 2) throw std::invalid_argument("RealFft: length must be at least 2");
  impl_ = std::make_unique<Impl>(n);
}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::size_t RealFft::size() const noexcept { return impl_->n; }
std::span<double> RealFft::input() noexcept { return {impl_->in.get(), impl_->n}; }
std::span<std::complex<double>> RealFft::output() noexcept { return {impl_->out.get(), impl_->n / 2 + 1}; }
void RealFft::forward() {
  Impl& m = *impl_;
  if (m.forward == nullptr) m.forward = plan_for(m.n, Way::Forward, m.in.get(), m.bins());
  fftw_execute_dft_r2c(m.forward, m.in.get(), m.bins());
}
void RealFft::inverse() {
  Impl& m = *impl_;
  if (m.inverse == nullptr) m.inverse = plan_for(m.n, Way::Inverse, m.in.get(), m.bins());
  fftw_execute_dft_c2r(m.inverse, m.bins(), m.in.get());
}

std::size_t next_fast_size(std::size_t n) {
  for (std::size_t candidate = n < 2 ? 2 : n;; ++candidate) {
    std::size_t rest = candidate;
    for (const std::size_t p : {2U, 3U, 5U}) {
      while (rest % p == 0) rest /= p;
    }
    if (rest == 1) return candidate;
  }
}

}  // namespace linebench::dsp
