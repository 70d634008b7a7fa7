// A file under a temporary name until it is complete.
#pragma once

#include <filesystem>
#include <linebench/base/error.hpp>
#include <string>

namespace linebench {

/// The temporary file lies in the target's folder, keeps its ending (writers go by it) and is removed with
/// this object unless it was kept.
class Draft {
 public:
  explicit Draft(std::filesystem::path target);
  ~Draft();
  Draft(const Draft&) = delete;
  Draft& operator=(const Draft&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return draft_; }
  [[nodiscard]] const std::filesystem::path& target() const { return target_; }
  /// A complaint about the draft as one about the file the user named.
  [[nodiscard]] Error about_target(const Error& e) const;
  /// Takes the target's place. Throws Error(Unusable) where it cannot, with the system's reason.
  void keep() const;

 private:
  std::filesystem::path target_;
  std::filesystem::path draft_;
};

/// Two files that belong together take their places at once: nobody who does the same to the same names comes
/// between, so that they are of one writer. Throws as Draft::keep().
void keep_both(const Draft& one, const Draft& other);

/// The error of a file that cannot be written: "NAME: cannot be written: WHY; what to do".
[[nodiscard]] Error cannot_write(const std::filesystem::path& file, const std::string& why);

}  // namespace linebench
