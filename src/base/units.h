/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Conversions between decibels and linear values, times and frames. */
#ifndef TT_BASE_UNITS_H
#define TT_BASE_UNITS_H

#include <math.h>
#include <stdint.h>

#define TT_PI 3.14159265358979323846

static inline double tt_db_from_power(double power) { return 10.0 * log10(power); } /* -inf at 0 */
static inline double tt_power_from_db(double db) { return pow(10.0, db / 10.0); }
static inline double tt_db_from_amplitude(double amplitude) { return 20.0 * log10(amplitude); } /* -inf at 0 */
static inline double tt_amplitude_from_db(double db) { return pow(10.0, db / 20.0); }

/* Times of sheets and settings are milliseconds; sound is counted in frames. Rounded to nearest. */
static inline int64_t tt_frames_from_ms(double ms, int rate_hz) { return (int64_t)llround(ms * rate_hz / 1000.0); }
static inline double tt_ms_from_frames(int64_t frames, int rate_hz) { return 1000.0 * (double)frames / rate_hz; }

#endif
