// Test pictures as recipes: kind "test-picture", parameters as in PictureSpec.
#pragma once

#include <linebench/signals/kinds.hpp>
#include <linebench/signals/recipe.hpp>
#include <linebench/signals/video_picture.hpp>
#include <optional>

namespace linebench::signals {

/// The kind that video recipes have.
[[nodiscard]] const SignalKind& test_picture_kind();

/// What a recipe draws. std::logic_error when it is of another kind.
[[nodiscard]] PictureSpec picture_spec(const Recipe& recipe);

/// Length of a file of it, s, unless asked otherwise.
[[nodiscard]] double picture_seconds(const Recipe& recipe);

/// Sample rate of a file of it, Hz, unless asked otherwise.
[[nodiscard]] double picture_sample_rate_hz(const Recipe& recipe);

}  // namespace linebench::signals
