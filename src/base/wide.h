/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_BASE_WIDE_H
#define TT_BASE_WIDE_H

/* In front of a function whose loops should run as wide as the processor can: the loader picks a variant. The
 * arithmetic is the same in each (no contraction to fused operations), so the bits are, too; builds with TT_HALF_WIDE
 * and TT_NARROW, which lack the widest or have one only, are there to compare with (make check-paths). Not under the
 * sanitisers, which start after the loader has asked, and not with clang, whose version 14 gives the resolvers of
 * static functions one name each program. */
#if defined(TT_NARROW)
#define TT_WIDE
#elif defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(__clang__) &&                         \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#ifdef TT_HALF_WIDE
#define TT_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define TT_WIDE __attribute__((target_clones("arch=x86-64-v4", "avx2", "default")))
#endif
#else
#define TT_WIDE
#endif

#endif
