// Loops over arrays of numbers, compiled twice: for any x86-64 processor, and for those with 256-bit vectors. Which
// runs is decided when the program starts.
//
// Both do the same operations on each number, in the same order and each rounded by itself (256-bit vectors bring no
// fused multiply-add here), so that answers do not depend on the machine.
#pragma once

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__)
#define RIMWRIGHT_WIDE_LOOPS __attribute__((target_clones("avx2", "default")))
#else
#define RIMWRIGHT_WIDE_LOOPS  // clang serves the sanitizers, which start before such a choice can be made
#endif
