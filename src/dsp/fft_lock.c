/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/fft_lock.h"

#include <fftw3.h>
#include <pthread.h>

static pthread_mutex_t planner_lock = PTHREAD_MUTEX_INITIALIZER;

/* What FFTW_PATIENT found, as FFTW 3.3.10 with AVX exports it: complex transforms of 240, 480 and 960 (takes of 22.05,
 * 44.1 and 88.2 kHz), of which its estimate takes 2.4 times as long at 480 (measured); of 512 and 1024 with the parts
 * apart (48 and 96 kHz), 1.07 and 1.1 times; and the real one of 32768 that looks for hum, 1.8 times. Nor are they
 * searched for at each start, 2 ms. An FFTW with other codelets, or on a processor without AVX, does not know these and
 * plans by its estimate. Being fixed, and not measured where the program runs, they give the same bits each time. */
static const char known_plans[] =
    "(fftw-3.3.10 fftwf_wisdom #x9e7d4dee #xdb14fed1 #x34bf76a4 #xeb6e8fdf"
    "(fftwf_codelet_t2bv_10_avx 0 #x11048 #x11048 #x0 #x3f55342e #xa9b3cff1 #x266d232e #xb7ad79dc)"
    "(fftwf_codelet_t2fv_4_avx 0 #x11048 #x11048 #x0 #x28b14b2f #xf6550589 #x4ad209e0 #xf8847999)"
    "(fftwf_codelet_n2bv_12_avx 0 #x11048 #x11048 #x0 #x543482bc #xdb8840ab #x0f100d8c #x0879128b)"
    "(fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #xa12f9ade #x65af43a4 #xf45082de #x56f5f0f1)"
    "(fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x08279b1f #x88b354ef #x64236f0e #xfa58834f)"
    "(fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x40879910 #xa1017992 #x087d3dcd #x14ad3cd7)"
    "(fftwf_codelet_t2fv_4_avx 0 #x11048 #x11048 #x0 #x8e67299c #x7a7f2659 #x70764918 #xd1a71aec)"
    "(fftwf_codelet_t2fv_20_avx 0 #x11048 #x11048 #x0 #xf79e079a #x0925af65 #x6aa428bd #xe5859c33)"
    "(fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #xc1151782 #x0538bb4e #xc9487f93 #xb914b726)"
    "(fftwf_codelet_n2fv_12_avx 0 #x11048 #x11048 #x0 #xe1068e67 #x0ba805a1 #x6607f266 #x35470a54)"
    "(fftwf_codelet_n2fv_12_avx 0 #x11048 #x11048 #x0 #x0852c96f #x02466e90 #xf50d8c4f #xb0906925)"
    "(fftwf_codelet_n2fv_12_avx 0 #x11048 #x11048 #x0 #x0c1c0a05 #xe0c90ceb #x73f95c38 #x81a48a01)"
    "(fftwf_codelet_t2fv_20_avx 0 #x11048 #x11048 #x0 #x7df5c30b #xcd616f7b #xd5ff5d80 #xcdde6443)"
    "(fftwf_codelet_t2bv_20_avx 0 #x11048 #x11048 #x0 #x0b444ac1 #x5fe71f88 #x9ac1bef0 #xa15d3b6b)"
    "(fftwf_codelet_n2bv_12_avx 0 #x11048 #x11048 #x0 #x318c9323 #xfee48fc0 #x16e55b04 #x2e8893e5)"
    "(fftwf_codelet_n2bv_12_avx 0 #x11048 #x11048 #x0 #x89674387 #x32457c79 #xb5997071 #xaa40cd96)"
    "(fftwf_codelet_t2bv_20_avx 0 #x11048 #x11048 #x0 #x26a807db #xbdfcc3cd #x756090e8 #xe1018f61)"
    "(fftwf_codelet_t2bv_4_avx 0 #x11048 #x11048 #x0 #xe4832ac3 #xa58b7846 #x8641b180 #x22ee16b8)"
    "(fftwf_codelet_t2bv_4_avx 0 #x11048 #x11048 #x0 #x40f737ed #x7bfc3404 #x4ae8b548 #x8dce3cd2)"
    "(fftwf_codelet_t2fv_10_avx 0 #x11048 #x11048 #x0 #x198ca718 #x41a0690f #x89d6a59f #x93c817c2)"
    "(fftwf_codelet_r2cfII_16 2 #x11048 #x11048 #x0 #xe58164ba #x2c4ca632 #x86d55de0 #xa838f0c8)"
    "(fftwf_codelet_t1sv_16_avx 0 #x11048 #x11048 #x0 #xd749a4c3 #x41f90e60 #x58dcd6d8 #xb95480c2)"
    "(fftwf_codelet_n2sv_32_avx 0 #x11048 #x11048 #x0 #xa4cd6616 #xa84458df #xf2092e21 #x62eb3938)"
    "(fftwf_codelet_t2fv_32_avx 0 #x11048 #x11048 #x0 #x8a755267 #x6378e3be #x20af89ad #xb4a633e9)"
    "(fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x77c3640e #x794e4bba #x2bd5842e #x3ac66eac)"
    "(fftwf_codelet_n2sv_32_avx 0 #x11048 #x11048 #x0 #xeb74d349 #x8d78debe #xf5e23b82 #x44014286)"
    "(fftwf_codelet_hc2cfdftv_16_sse2 0 #x11048 #x11048 #x0 #x3a703b4b #x398198b2 #x01557430 #x7f273845)"
    "(fftwf_codelet_t1sv_16_avx 0 #x11048 #x11048 #x0 #x2fefc0d8 #x02d625e2 #x56d90902 #x24e80f30)"
    "(fftwf_codelet_n2fv_64_avx 0 #x11048 #x11048 #x0 #x3168db6d #xe803cec7 #x42fc17b8 #x4aa0096b)"
    "(fftwf_codelet_r2cf_16 2 #x11048 #x11048 #x0 #x8fbb059a #x1f1894e1 #x93f6c48f #x7c9db97f)"
    "(fftwf_codelet_t1sv_32_avx 0 #x11048 #x11048 #x0 #x4c856f91 #x7aa26fe1 #xe8830982 #x8e3b8b72)"
    "(fftwf_codelet_t1sv_32_avx 0 #x11048 #x11048 #x0 #xe5bca212 #x60d15184 #x6e5095c1 #x7aef1735)"
    "(fftwf_codelet_n2sv_32_avx 0 #x11048 #x11048 #x0 #xc25da876 #xcc360f4a #x84ef7dae #xaf28849d)"
    "(fftwf_codelet_n2sv_32_avx 0 #x11048 #x11048 #x0 #xe36cf227 #xc0c29325 #x726e1079 #x1d98bb8f)"
    ")";

static void tell_known_plans(void) { fftwf_import_wisdom_from_string(known_plans); }

void tt_fft_lock(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_mutex_lock(&planner_lock);
    pthread_once(&once, tell_known_plans);
}

void tt_fft_unlock(void) { pthread_mutex_unlock(&planner_lock); }
