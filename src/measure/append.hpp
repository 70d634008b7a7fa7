// Readings of several measurements put into one list.
#pragma once

#include <iterator>
#include <linebench/base/reading.hpp>

namespace linebench::measure {

inline void append(Readings& to, Readings&& from) {
  to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
}

}  // namespace linebench::measure
