/* SPDX-License-Identifier: GPL-2.0-or-later */
/* usage: noise_libraries speex -15|-25 | webrtc moderate|high  < SAMPLES > SAMPLES
 * Two general-purpose libraries as a yardstick for eval-noise: the preprocessor of libspeexdsp, and the noise suppression of
 * webrtc-audio-processing 0.3, each with nothing but its suppression on. SAMPLES: raw floats of this machine, one channel, 48 kHz. What comes
 * out is later by the library's delay, and longer by a few frames. Used by the evaluation only; no part of the program links it. */
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <vector>

#include <speex/speex_preprocess.h>
#include <webrtc/modules/audio_processing/include/audio_processing.h>

static const int RATE_HZ = 48000;
static const size_t SPEEX_FRAME = RATE_HZ / 50;   /* 20 ms, the longest that its header recommends */
static const size_t WEBRTC_FRAME = RATE_HZ / 100; /* 10 ms, the only length it takes */

/* It works on 16 bits: the take's peak is brought to half of full scale, so that rounding counts for as little as it can. */
static void run_speex(std::vector<float> &samples, int suppress_db)
{
    float peak = 1e-9f;
    for (float sample : samples)
        peak = std::fmax(peak, std::fabs(sample));
    const float scale = 16384 / peak;
    SpeexPreprocessState *state = speex_preprocess_state_init((int)SPEEX_FRAME, RATE_HZ);
    int on = 1;
    speex_preprocess_ctl(state, SPEEX_PREPROCESS_SET_DENOISE, &on);
    speex_preprocess_ctl(state, SPEEX_PREPROCESS_SET_NOISE_SUPPRESS, &suppress_db);
    spx_int16_t frame[SPEEX_FRAME];
    for (size_t at = 0; at + SPEEX_FRAME <= samples.size(); at += SPEEX_FRAME) {
        for (size_t i = 0; i < SPEEX_FRAME; i++)
            frame[i] = (spx_int16_t)std::lrint(samples[at + i] * scale);
        speex_preprocess_run(state, frame);
        for (size_t i = 0; i < SPEEX_FRAME; i++)
            samples[at + i] = (float)frame[i] / scale;
    }
    speex_preprocess_state_destroy(state);
}

static bool run_webrtc(std::vector<float> &samples, webrtc::NoiseSuppression::Level level)
{
    std::unique_ptr<webrtc::AudioProcessing> processing(webrtc::AudioProcessing::Create());
    const webrtc::StreamConfig config(RATE_HZ, 1, false);
    if (!processing || processing->noise_suppression()->set_level(level) != 0 || processing->noise_suppression()->Enable(true) != 0)
        return false;
    for (size_t at = 0; at + WEBRTC_FRAME <= samples.size(); at += WEBRTC_FRAME) {
        float *channel = &samples[at];
        if (processing->ProcessStream(&channel, config, config, &channel) != 0)
            return false;
    }
    return true;
}

int main(int count, char **words)
{
    std::vector<float> samples;
    float block[4096];
    for (size_t n; (n = fread(block, sizeof *block, 4096, stdin)) > 0;)
        samples.insert(samples.end(), block, block + n);
    const size_t length = samples.size();
    samples.resize((length / SPEEX_FRAME + 8) * SPEEX_FRAME);
    bool ok = count == 3;
    if (ok && strcmp(words[1], "speex") == 0)
        run_speex(samples, atoi(words[2]));
    else if (ok && strcmp(words[1], "webrtc") == 0)
        ok = run_webrtc(samples, strcmp(words[2], "high") == 0 ? webrtc::NoiseSuppression::kHigh : webrtc::NoiseSuppression::kModerate);
    else
        ok = false;
    if (!ok)
        fprintf(stderr, "noise_libraries: wrong usage, or the library would not start\n");
    return ok && fwrite(samples.data(), sizeof(float), samples.size(), stdout) == samples.size() ? 0 : 1;
}
