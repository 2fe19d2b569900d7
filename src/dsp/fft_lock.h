/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One lock around FFTW's planner: everything but executing a plan must hold it (FFTW manual, 'Thread safety'). */
#ifndef TT_DSP_FFT_LOCK_H
#define TT_DSP_FFT_LOCK_H

void tt_fft_lock(void);
void tt_fft_unlock(void);

#endif
