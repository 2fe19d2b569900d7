/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What hearing depends on beside the recording. */
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "pipeline/hear.h"

bool tt_hearing_key(const struct tt_settings *settings, const struct tt_channel_choice *channel, char key[65],
                    struct tt_error *err)
{
    struct tt_text text = {0};
    /* The number grows whenever the same recording is heard otherwise than before. */
    tt_text_addf(&text, "%s hear 5\nchannel %d\nhighpass %.17g\nwindow %.17g\nhum %d\nroom %s\n", TIDYTAKE_VERSION,
                 channel->channel, settings->take.highpass_hz, settings->floor.window_s, (int)settings->gate.hum,
                 settings->floor.room_tone);
    if (channel->safety_number > 0)
        tt_text_addf(&text, "safety %d %.17g\n", channel->safety_number, channel->safety_gain);
    if (channel->listener_number > 0)
        tt_text_addf(&text, "listener %d\n", channel->listener_number);
    if (strcmp(settings->floor.room_tone, "auto") != 0) {
        char digest[65];
        if (!tt_file_sha256(settings->floor.room_tone, digest, err)) {
            tt_error_context(err, "room_tone (auto does without one)");
            tt_text_free(&text);
            return false;
        }
        tt_text_addf(&text, "%s\n", digest);
    }
    bool ok = !text.has_failed || tt_fail_memory(err);
    if (ok)
        tt_sha256(text.data, text.length, key);
    tt_text_free(&text);
    return ok;
}
