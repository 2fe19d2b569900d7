/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/third_octaves.h"

#include <math.h>

static const double first_centre = 20; /* 10^(20/10) = 100 Hz */

double tt_third_centre_hz(int band) { return pow(10, (first_centre + band) / 10); }

void tt_third_octaves(struct tt_stft_shape shape, const double *power, double *thirds)
{
    const double bin_hz = (double)shape.rate_hz / shape.window_samples, to_edge = pow(10, 0.05);
    for (int band = 0; band < TT_THIRDS; band++) {
        double low_hz = tt_third_centre_hz(band) / to_edge, high_hz = tt_third_centre_hz(band) * to_edge;
        thirds[band] = 0;
        for (int k = 1; k < shape.bin_count; k++) {
            double share = (fmin(high_hz, (k + 0.5) * bin_hz) - fmax(low_hz, (k - 0.5) * bin_hz)) / bin_hz;
            if (share > 0)
                thirds[band] +=
                    share * 2 * power[k] / shape.window_samples; /* each bin stands for its mirror image, too */
        }
    }
}
