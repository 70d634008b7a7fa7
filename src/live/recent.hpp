// The last so many samples of a stream, in one piece.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

namespace linebench::live {

/// Memory is twice the length kept, whatever is pushed.
class Recent {
 public:
  explicit Recent(std::size_t length) : length_(std::max<std::size_t>(1, length)) {
    samples_.reserve(2 * length_);
  }

  void push(std::span<const float> x) {
    x = x.last(std::min(x.size(), length_));
    if (samples_.size() + x.size() > 2 * length_) {
      const std::size_t keep = std::min(samples_.size(), length_ - x.size());
      samples_.erase(samples_.begin(), samples_.end() - static_cast<std::ptrdiff_t>(keep));
    }
    samples_.insert(samples_.end(), x.begin(), x.end());
  }
  /// The newest n samples, oldest first; fewer where there are no more.
  [[nodiscard]] std::span<const float> last(std::size_t n) const {
    n = std::min({n, samples_.size(), length_});
    return std::span(samples_).last(n);
  }
  [[nodiscard]] std::size_t size() const { return std::min(samples_.size(), length_); }

 private:
  std::size_t length_;
  std::vector<float> samples_;
};

}  // namespace linebench::live
