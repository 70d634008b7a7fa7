// Movies in, for the picture module.
#pragma once

#include <linebench/signals/picture_module.hpp>

namespace linebench::picture {

/// Throws std::runtime_error with the reason.
[[nodiscard]] std::unique_ptr<signals::MovieReader> read_movie(const std::string& path);

}  // namespace linebench::picture
