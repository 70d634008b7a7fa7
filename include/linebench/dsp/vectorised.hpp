// Hot loops over floats, eight at a time.
#pragma once

#include <cstring>

// Marks a function to be compiled twice, for plain x86-64 and for AVX2, the right one picked when the program
// starts. Sums keep their written order lane by lane (no fused multiply-add), so both give the same bits. At
// -O2 GCC leaves loops of unknown length alone unless it is told to weigh them.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define LINEBENCH_VECTORISED \
  __attribute__((optimize("vect-cost-model=dynamic"), target_clones("avx2", "default")))
#else
#define LINEBENCH_VECTORISED
#endif

namespace linebench::dsp {

/// Eight floats (GCC and Clang vector extension): two registers without AVX, one with. Local to a function
/// only.
using Eight = float __attribute__((vector_size(32)));

/// Eight floats from any address. A macro, since a vector may not cross a call between differently compiled
/// functions.
#define LINEBENCH_LOAD_EIGHT(to, from) std::memcpy(&(to), (from), sizeof(linebench::dsp::Eight))
#define LINEBENCH_STORE_EIGHT(to, from) std::memcpy((to), &(from), sizeof(linebench::dsp::Eight))

}  // namespace linebench::dsp
