// The book's readers among themselves.
#pragma once

#include <linebench/diagnose/fault_book.hpp>

#include "toml_reader.hpp"

namespace linebench::diagnose {

/// Adds the signs and captures of this text to the book; a sign of the same id takes the earlier one's place.
void read_signs(const TomlReader& reader, std::string_view text, FaultBook& book);

}  // namespace linebench::diagnose
