// Marks a hot loop over floats to be compiled twice, for plain x86-64 and for AVX2, the right one picked when
// the program starts. Sums keep their written order lane by lane (no fused multiply-add), so both give the
// same bits.
#pragma once

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define LINEBENCH_VECTORISED __attribute__((target_clones("avx2", "default")))
#else
#define LINEBENCH_VECTORISED
#endif
