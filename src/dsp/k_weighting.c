/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A recursion waits for itself, so a step of 10 ms is filtered in eight parts side by side. The state in which a part
 * begins is linear in the state and the samples of the part before it, and is computed without recursion. */
#include "dsp/k_weighting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "base/wide.h"

enum { STATES = 4, PARTS = 8, PARTS_A_SECOND = 100 * PARTS };

/* One number for each part. */
typedef double lanes __attribute__((vector_size(PARTS * sizeof(double))));

struct coefficients {
    double shelf_b0, shelf_in1, shelf_in2, shelf_a1, shelf_a2;
    double highpass_in1, highpass_in2, highpass_a1, highpass_a2;
};

struct tt_k_weighting {
    struct coefficients c;
    double state[STATES]; /* two of the shelf, two of the high-pass */
    size_t part_samples;
    double over_part[STATES][STATES]; /* the state behind a part without input, for each state of one */
    double (*weights)[STATES];        /* what each sample of a part leaves in the state behind it */
    lanes *samples;                   /* of a step, those of its parts side by side */
};

/* Below this nothing can be heard or measured, and denormal numbers, which are slow, are still far away. */
static const double state_floor = 1e-30;

/* The standard prints coefficients for 48 kHz only. These design parameters give all of its digits, by the bilinear
 * transform of the analogue prototypes, and the same curves at other rates. They are known from free implementations of
 * the standard. */
struct tt_biquad tt_k_shelf(int rate_hz)
{
    const double corner_hz = 1681.974450955533, gain_db = 3.999843853973347, quality = 0.7071752369554196;
    const double k = tan(TT_PI * corner_hz / rate_hz), high = pow(10.0, gain_db / 20.0);
    const double band = pow(high, 0.4996667741545416), scale = 1.0 + k / quality + k * k;
    return (struct tt_biquad){
        .b0 = (high + band * k / quality + k * k) / scale,
        .b1 = 2.0 * (k * k - high) / scale,
        .b2 = (high - band * k / quality + k * k) / scale,
        .a1 = 2.0 * (k * k - 1.0) / scale,
        .a2 = (1.0 - k / quality + k * k) / scale,
    };
}

struct tt_biquad tt_k_highpass(int rate_hz)
{
    const double corner_hz = 38.13547087602444, quality = 0.5003270373238773;
    const double k = tan(TT_PI * corner_hz / rate_hz), scale = 1.0 + k / quality + k * k;
    return (struct tt_biquad){
        .b0 = 1.0,
        .b1 = -2.0,
        .b2 = 1.0,
        .a1 = 2.0 * (k * k - 1.0) / scale,
        .a2 = (1.0 - k / quality + k * k) / scale,
    };
}

/* Transposed direct form, arranged so that one multiplication and one addition lead from state to state. */
static struct coefficients coefficients_of(struct tt_biquad shelf, struct tt_biquad highpass)
{
    return (struct coefficients){
        .shelf_b0 = shelf.b0,
        .shelf_in1 = shelf.b1 - shelf.a1 * shelf.b0,
        .shelf_in2 = shelf.b2 - shelf.a2 * shelf.b0,
        .shelf_a1 = shelf.a1,
        .shelf_a2 = shelf.a2,
        .highpass_in1 = highpass.b1 - highpass.a1, /* its b0 is 1 */
        .highpass_in2 = highpass.b2 - highpass.a2,
        .highpass_a1 = highpass.a1,
        .highpass_a2 = highpass.a2,
    };
}

static double run_sample(const struct coefficients *c, double state[STATES], double sample)
{
    const double shelved = c->shelf_b0 * sample + state[0], weighted = shelved + state[2];
    const double shelf = (c->shelf_in1 * sample + state[1]) - c->shelf_a1 * state[0];
    state[1] = c->shelf_in2 * sample - c->shelf_a2 * state[0];
    state[0] = shelf;
    const double highpass = (c->highpass_in1 * shelved + state[3]) - c->highpass_a1 * state[2];
    state[3] = c->highpass_in2 * shelved - c->highpass_a2 * state[2];
    state[2] = highpass;
    return weighted;
}

static void prepare_parts(struct tt_k_weighting *filter)
{
    const size_t count = filter->part_samples;
    double state[STATES] = {0};
    for (size_t i = 0; i < count; i++) {
        run_sample(&filter->c, state, i == 0 ? 1.0 : 0.0);
        memcpy(&filter->weights[count - 1 - i], state, sizeof state);
    }
    for (int s = 0; s < STATES; s++) {
        memset(state, 0, sizeof state);
        state[s] = 1.0;
        for (size_t i = 0; i < count; i++)
            run_sample(&filter->c, state, 0.0);
        memcpy(&filter->over_part[s], state, sizeof state);
    }
}

struct tt_k_weighting *tt_k_weighting_create(int rate_hz, struct tt_error *err)
{
    struct tt_k_weighting *filter = calloc(1, sizeof *filter);
    if (filter != NULL) {
        filter->part_samples = (size_t)(rate_hz / PARTS_A_SECOND);
        filter->weights = calloc(filter->part_samples + 1, sizeof *filter->weights);
        filter->samples = aligned_alloc(sizeof *filter->samples, (filter->part_samples + 1) * sizeof *filter->samples);
    }
    if (filter == NULL || filter->weights == NULL || filter->samples == NULL) {
        tt_k_weighting_destroy(filter);
        tt_fail_memory(err);
        return NULL;
    }
    filter->c = coefficients_of(tt_k_shelf(rate_hz), tt_k_highpass(rate_hz));
    prepare_parts(filter);
    return filter;
}

void tt_k_weighting_destroy(struct tt_k_weighting *filter)
{
    if (filter == NULL)
        return;
    free(filter->weights);
    free(filter->samples);
    free(filter);
}

/* Puts the samples of the parts side by side, and finds what they alone leave in the state behind each. */
TT_WIDE static void lay_out(struct tt_k_weighting *filter, const float *samples, lanes left[STATES])
{
    const size_t count = filter->part_samples;
    for (size_t i = 0; i < count; i++)
        for (size_t p = 0; p < PARTS; p++)
            filter->samples[i][p] = (double)samples[p * count + i];
    lanes sums[STATES] = {{0}};
    for (size_t i = 0; i < count; i++)
        for (int s = 0; s < STATES; s++)
            sums[s] += filter->weights[i][s] * filter->samples[i];
    memcpy(left, sums, sizeof sums);
}

/* The states in which the parts begin. */
static void states_between(const struct tt_k_weighting *filter, const lanes left[STATES], lanes starts[STATES])
{
    double state[STATES];
    memcpy(state, filter->state, sizeof state);
    for (int part = 0; part < PARTS; part++) {
        double next[STATES];
        for (int to = 0; to < STATES; to++) {
            starts[to][part] = state[to];
            next[to] = left[to][part];
            for (int from = 0; from < STATES; from++)
                next[to] += filter->over_part[from][to] * state[from];
        }
        memcpy(state, next, sizeof state);
    }
}

/* The same as run_sample, for all parts of a step side by side. */
TT_WIDE static void run_lanes(struct tt_k_weighting *filter, const lanes starts[STATES], lanes *energies)
{
    const struct coefficients c = filter->c;
    lanes s1 = starts[0], s2 = starts[1], h1 = starts[2], h2 = starts[3], energy = {0};
    for (size_t i = 0; i < filter->part_samples; i++) {
        const lanes sample = filter->samples[i];
        const lanes shelved = c.shelf_b0 * sample + s1, weighted = shelved + h1;
        const lanes shelf = (c.shelf_in1 * sample + s2) - c.shelf_a1 * s1;
        s2 = c.shelf_in2 * sample - c.shelf_a2 * s1;
        s1 = shelf;
        const lanes highpass = (c.highpass_in1 * shelved + h2) - c.highpass_a1 * h1;
        h2 = c.highpass_in2 * shelved - c.highpass_a2 * h1;
        h1 = highpass;
        energy += weighted * weighted;
    }
    const double after[STATES] = {s1[PARTS - 1], s2[PARTS - 1], h1[PARTS - 1], h2[PARTS - 1]};
    memcpy(filter->state, after, sizeof after);
    *energies = energy;
}

static double run_parts(struct tt_k_weighting *filter, const float *samples)
{
    lanes left[STATES], starts[STATES], energies;
    lay_out(filter, samples, left);
    states_between(filter, left, starts);
    run_lanes(filter, starts, &energies);
    double energy = 0.0;
    for (int p = 0; p < PARTS; p++)
        energy += energies[p];
    return energy;
}

double tt_k_weighting_energy(struct tt_k_weighting *filter, const float *samples, size_t count)
{
    double energy = 0.0;
    size_t i = 0;
    if (count >= PARTS * filter->part_samples) {
        energy = run_parts(filter, samples);
        i = PARTS * filter->part_samples;
    }
    for (; i < count; i++) {
        const double weighted = run_sample(&filter->c, filter->state, (double)samples[i]);
        energy += weighted * weighted;
    }
    for (int s = 0; s < STATES; s++)
        if (fabs(filter->state[s]) < state_floor || !isfinite(filter->state[s]))
            filter->state[s] = 0.0;
    return isfinite(energy) ? energy : 0.0;
}
