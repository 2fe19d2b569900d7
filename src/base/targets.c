/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Delivery targets. A new one is a row here: what it sets, what it is judged by, and who says so. */
#include "base/targets.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/setting_row.h"
#include "base/wrap.h"

#define PRACTICE "common practice, no source"
#define LIST(...) ((const char *const[]){__VA_ARGS__, NULL})
/* Limits that a target by loudness does not have. */
/* clang-format off */
#define BY_LOUDNESS                                                                                                   \
    .least_rms_dbfs = NAN, .most_rms_dbfs = NAN, .most_sample_peak_dbfs = NAN, .most_floor_dbfs = NAN, .most_minutes = NAN

static const struct tt_target targets[] = {
    /* R 128: -23.0 LUFS, 0.2 LU for errors of measurement in quality control; the wider 1 LU is for live programmes. */
    { .name = "ebu-r128", .source = "EBU R 128 v5.0 (2023)", .use = "programmes for European broadcast",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-23", "loudness.ceiling_dbtp=-1"),
      .least_lufs = -23.2, .most_lufs = -22.8, .most_dbtp = -1, BY_LOUDNESS },
    /* A/85 gives about 2 dB for measurement. */
    { .name = "atsc-a85", .source = "ATSC A/85", .use = "programmes for North American broadcast",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-24", "loudness.ceiling_dbtp=-2"),
      .least_lufs = -26, .most_lufs = -22, .most_dbtp = -2, BY_LOUDNESS },
    /* Speech at -18 LUFS; that 1 LU to either side will do is quoted second-hand. */
    { .name = "aes-td1008", .source = "AES TD1008 (2021)", .use = "speech that is streamed",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-18", "loudness.ceiling_dbtp=-1"),
      .least_lufs = -19, .most_lufs = -17, .most_dbtp = -1, BY_LOUDNESS },
    { .name = "web", .source = PRACTICE, .use = "films on the web",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-14", "loudness.ceiling_dbtp=-1"),
      .least_lufs = -15, .most_lufs = -13, .most_dbtp = -1, BY_LOUDNESS },
    { .name = "spoken", .source = PRACTICE, .use = "spoken word to listen to on the way",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-16", "loudness.ceiling_dbtp=-1"),
      .least_lufs = -17, .most_lufs = -15, .most_dbtp = -1, BY_LOUDNESS },
    { .name = "spoken-mono", .source = PRACTICE, .use = "the same from a mono file that is played on two loudspeakers",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-19", "loudness.ceiling_dbtp=-1"),
      .least_lufs = -20, .most_lufs = -18, .most_dbtp = -1, BY_LOUDNESS },
    { .name = "audiobook", .source = PRACTICE, .use = "chapters of an audiobook",
      .assignments = LIST("loudness.aim=rms", "loudness.target_rms_dbfs=-20", "loudness.ceiling_dbtp=-3",
                          "deliver.rate_hz=44100", "deliver.head_ms=750", "deliver.tail_ms=3000"),
      .least_lufs = NAN, .most_lufs = NAN, .least_rms_dbfs = -23, .most_rms_dbfs = -18, .most_dbtp = NAN,
      .most_sample_peak_dbfs = -3, .most_floor_dbfs = -60, .most_minutes = 120, .rate_hz = 44100 },
    { .name = "mix", .source = PRACTICE, .use = "a mixing desk: by gain alone, nothing is limited",
      .assignments = LIST("loudness.aim=lufs", "loudness.target_lufs=-23", "loudness.limit_most_db=0"),
      .least_lufs = -24, .most_lufs = -22, .most_dbtp = NAN, BY_LOUDNESS },
};
/* clang-format on */
enum { TARGET_COUNT = sizeof targets / sizeof *targets };

const struct tt_target *tt_targets(size_t *count)
{
    *count = TARGET_COUNT;
    return targets;
}

const struct tt_target *tt_target_find(const char *name)
{
    for (size_t i = 0; i < TARGET_COUNT; i++)
        if (strcmp(targets[i].name, name) == 0)
            return &targets[i];
    return NULL;
}

static bool fail_unknown(const char *name, struct tt_error *err)
{
    const char *names[TARGET_COUNT];
    char buffer[TT_SHOWN_CHARS];
    for (size_t i = 0; i < TARGET_COUNT; i++)
        names[i] = targets[i].name;
    const char *nearest = tt_nearest_name(name, names, TARGET_COUNT), *shown = tt_shown(name, buffer);
    if (nearest)
        return tt_fail(err, TT_ERROR_USAGE, "--for %s: no such target; did you mean %s?", shown, nearest);
    struct tt_text list = {0};
    for (size_t i = 0; i < TARGET_COUNT; i++)
        tt_text_addf(&list, "%s%s", i ? ", " : "", names[i]);
    if (list.has_failed)
        tt_fail_memory(err);
    else
        tt_fail(err, TT_ERROR_USAGE, "--for %s: no such target; there are %s", shown, list.data);
    tt_text_free(&list);
    return false;
}

/* The parts of "SECTION.KEY=VALUE", which is well formed: it stands in the table above. */
struct assignment {
    char section[32], key[32];
    const char *value;
};

static struct assignment split(const char *text)
{
    struct assignment parts;
    const char *dot = strchr(text, '.'), *mark = strchr(text, '=');
    snprintf(parts.section, sizeof parts.section, "%.*s", (int)(dot - text), text);
    snprintf(parts.key, sizeof parts.key, "%.*s", (int)(mark - dot - 1), dot + 1);
    parts.value = mark + 1;
    return parts;
}

bool tt_target_apply(const char *name, struct tt_settings *settings, struct tt_setting_origins *origins,
                     struct tt_error *err)
{
    const struct tt_target *target = tt_target_find(name);
    if (!target)
        return fail_unknown(name, err);
    char origin[64];
    snprintf(origin, sizeof origin, "--for %s", target->name);
    for (const char *const *text = target->assignments; *text; text++) {
        struct assignment parts = split(*text);
        if (!tt_settings_set(settings, parts.section, parts.key, parts.value, origin, origins, err))
            return false;
    }
    return true;
}

/* "at most -1 dBTP" or "-23.2 to -22.8 LUFS"; nothing where there is no limit. */
static void add_limit(double least, double most, const char *unit, struct tt_text *out)
{
    if (isnan(most))
        return;
    if (out->length && out->data[out->length - 1] != ' ')
        tt_text_add(out, ", ");
    if (isnan(least))
        tt_text_add(out, "at most ");
    else
        tt_setting_add_number(least, out);
    if (!isnan(least))
        tt_text_add(out, " to ");
    tt_setting_add_number(most, out);
    tt_text_addf(out, " %s", unit);
}

static void print_target(const struct tt_target *target, struct tt_text *out)
{
    struct tt_text title = {0}, source = {0}, limits = {0};
    tt_text_addf(&title, "%s: %s", target->name, target->use);
    tt_text_addf(&source, "source: %s", target->source);
    tt_text_add(&limits, "judged by: ");
    add_limit(target->least_lufs, target->most_lufs, "LUFS", &limits);
    add_limit(target->least_rms_dbfs, target->most_rms_dbfs, "dBFS RMS", &limits);
    add_limit(NAN, target->most_dbtp, "dBTP", &limits);
    add_limit(NAN, target->most_sample_peak_dbfs, "dBFS sample peak", &limits);
    add_limit(NAN, target->most_floor_dbfs, "dBFS noise floor", &limits);
    add_limit(NAN, target->most_minutes, "minutes a file", &limits);
    if (target->rate_hz)
        tt_text_addf(&limits, ", %d Hz", target->rate_hz);
    if (title.has_failed || source.has_failed || limits.has_failed)
        out->has_failed = true;
    else {
        tt_wrap_add(out, "; ", title.data);
        tt_wrap_add(out, "; ", source.data);
        tt_wrap_add(out, "; ", limits.data);
    }
    tt_text_free(&title);
    tt_text_free(&source);
    tt_text_free(&limits);
    char section[32] = "";
    for (const char *const *text = target->assignments; *text; text++) {
        struct assignment parts = split(*text);
        if (strcmp(section, parts.section) != 0)
            tt_text_addf(out, "[%s]\n", parts.section);
        memcpy(section, parts.section, sizeof section);
        tt_text_addf(out, "%s = %s\n", parts.key, parts.value);
    }
}

void tt_targets_print(struct tt_text *out)
{
    tt_text_add(out, "; tidytake clean --for NAME sets what stands under the name.\n");
    for (size_t i = 0; i < TARGET_COUNT; i++) {
        tt_text_add(out, "\n");
        print_target(&targets[i], out);
    }
}
