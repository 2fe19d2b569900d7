/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One lock around FFTW's planner: everything but executing a plan must hold it (FFTW manual, 'Thread safety'). Who
 * first takes it tells the planner of the plans that are known. */
#ifndef TT_DSP_FFT_LOCK_H
#define TT_DSP_FFT_LOCK_H

void tt_fft_lock(void);
void tt_fft_unlock(void);

#endif
