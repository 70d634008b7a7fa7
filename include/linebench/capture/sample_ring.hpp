// Samples handed from one thread to one other without locks: between the sound card's callback, which must
// never wait, and the loop that talks to the disk.
#pragma once

#include <algorithm>
#include <atomic>
#include <bit>
#include <cstddef>
#include <span>
#include <vector>

namespace linebench::capture {

/// One writer, one reader, bounded. Neither side ever blocks or allocates.
class SampleRing {
 public:
  /// @param capacity samples it must hold at least (rounded up to a power of two).
  explicit SampleRing(std::size_t capacity) : samples_(std::bit_ceil(std::max<std::size_t>(capacity, 2))) {}

  /// Stores as much as fits, in order. Writer only. @return how many were stored.
  std::size_t write(std::span<const float> in) noexcept {
    const std::size_t at = written_.load(std::memory_order_relaxed);
    const std::size_t n = std::min(in.size(), samples_.size() - (at - read_.load(std::memory_order_acquire)));
    const std::size_t start = at & (samples_.size() - 1);
    const std::size_t first = std::min(n, samples_.size() - start);
    std::copy_n(in.data(), first, samples_.data() + start);
    std::copy_n(in.data() + first, n - first, samples_.data());
    written_.store(at + n, std::memory_order_release);
    return n;
  }

  /// Takes out up to out.size() samples, oldest first. Reader only. @return how many there were.
  std::size_t read(std::span<float> out) noexcept {
    const std::size_t at = read_.load(std::memory_order_relaxed);
    const std::size_t n = std::min(out.size(), written_.load(std::memory_order_acquire) - at);
    const std::size_t start = at & (samples_.size() - 1);
    const std::size_t first = std::min(n, samples_.size() - start);
    std::copy_n(samples_.data() + start, first, out.data());
    std::copy_n(samples_.data(), n - first, out.data() + first);
    read_.store(at + n, std::memory_order_release);
    return n;
  }

  /// Samples waiting; exact for the reader, a lower bound for the writer's use of writable().
  [[nodiscard]] std::size_t readable() const noexcept {
    return written_.load(std::memory_order_acquire) - read_.load(std::memory_order_acquire);
  }
  [[nodiscard]] std::size_t writable() const noexcept { return samples_.size() - readable(); }
  [[nodiscard]] std::size_t capacity() const noexcept { return samples_.size(); }

 private:
  std::vector<float> samples_;
  alignas(64) std::atomic<std::size_t> written_{
      0};  // apart, so that the two threads do not share a cache line
  alignas(64) std::atomic<std::size_t> read_{0};
};

}  // namespace linebench::capture
