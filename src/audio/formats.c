/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/formats.h"

#include <sndfile.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "audio/camera.h"

struct coding {
    int subtype;
    int bits;         /* 0 when lossy */
    int sample_bytes; /* 0 when compressed */
    bool is_float;
    const char *name;
};

static const struct coding codings[] = {
    {SF_FORMAT_PCM_S8, 8, 1, false, "8 bit"},         {SF_FORMAT_PCM_U8, 8, 1, false, "8 bit"},
    {SF_FORMAT_PCM_16, 16, 2, false, "16 bit"},       {SF_FORMAT_PCM_24, 24, 3, false, "24 bit"},
    {SF_FORMAT_PCM_32, 32, 4, false, "32 bit"},       {SF_FORMAT_FLOAT, 32, 4, true, "32 bit float"},
    {SF_FORMAT_DOUBLE, 64, 8, true, "64 bit float"},  {SF_FORMAT_ALAC_16, 16, 0, false, "ALAC 16 bit"},
    {SF_FORMAT_ALAC_20, 20, 0, false, "ALAC 20 bit"}, {SF_FORMAT_ALAC_24, 24, 0, false, "ALAC 24 bit"},
    {SF_FORMAT_ALAC_32, 32, 0, false, "ALAC 32 bit"}, {SF_FORMAT_ULAW, 0, 0, false, "mu-law"},
    {SF_FORMAT_ALAW, 0, 0, false, "A-law"},           {SF_FORMAT_IMA_ADPCM, 0, 0, false, "IMA ADPCM"},
    {SF_FORMAT_MS_ADPCM, 0, 0, false, "MS ADPCM"},    {SF_FORMAT_GSM610, 0, 0, false, "GSM 6.10"},
    {SF_FORMAT_VORBIS, 0, 0, false, "Vorbis"},        {SF_FORMAT_OPUS, 0, 0, false, "Opus"},
    {SF_FORMAT_MPEG_LAYER_I, 0, 0, false, "MP1"},     {SF_FORMAT_MPEG_LAYER_II, 0, 0, false, "MP2"},
    {SF_FORMAT_MPEG_LAYER_III, 0, 0, false, "MP3"},
};
static const struct coding other_coding = {0, 0, 0, false, "other coding"};

static const struct {
    int major;
    const char *name;
} containers[] = {
    {SF_FORMAT_WAV, "WAV"},   {SF_FORMAT_WAVEX, "WAV"}, {SF_FORMAT_W64, "W64"}, {SF_FORMAT_RF64, "RF64"},
    {SF_FORMAT_AIFF, "AIFF"}, {SF_FORMAT_AU, "AU"},     {SF_FORMAT_CAF, "CAF"}, {SF_FORMAT_FLAC, "FLAC"},
    {SF_FORMAT_OGG, "Ogg"},   {SF_FORMAT_MPEG, "MPEG"},
};

static const struct coding *find_coding(int sndfile_format)
{
    for (size_t i = 0; i < sizeof codings / sizeof codings[0]; i++)
        if (codings[i].subtype == (sndfile_format & SF_FORMAT_SUBMASK))
            return &codings[i];
    return &other_coding;
}

static const char *container_name(int sndfile_format)
{
    for (size_t i = 0; i < sizeof containers / sizeof containers[0]; i++)
        if (containers[i].major == (sndfile_format & SF_FORMAT_TYPEMASK))
            return containers[i].name;
    return "sound file";
}

/* Common practice: no standard says what a browser plays. 64 bit float and the telephone codings are left out. */
static bool plays_in_browser(int sndfile_format, const struct coding *coding)
{
    switch (sndfile_format & SF_FORMAT_TYPEMASK) {
    case SF_FORMAT_WAV:
    case SF_FORMAT_WAVEX:
        return coding->sample_bytes > 0 && coding->bits <= 32;
    case SF_FORMAT_FLAC:
        return true;
    case SF_FORMAT_OGG:
        return coding->subtype == SF_FORMAT_VORBIS || coding->subtype == SF_FORMAT_OPUS;
    case SF_FORMAT_MPEG:
        return coding->subtype == SF_FORMAT_MPEG_LAYER_III;
    default:
        return false;
    }
}

void tt_format_describe(int sndfile_format, struct tt_audio_info *info)
{
    const struct coding *coding = find_coding(sndfile_format);
    info->bits = coding->bits;
    info->is_float = coding->is_float;
    info->plays_in_browser = plays_in_browser(sndfile_format, coding);
    if ((sndfile_format & SF_FORMAT_TYPEMASK) == SF_FORMAT_MPEG)
        (void)snprintf(info->format_name, sizeof info->format_name, "%s", coding->name);
    else
        (void)snprintf(info->format_name, sizeof info->format_name, "%s, %s", container_name(sndfile_format),
                       coding->name);
}

bool tt_format_counts_exactly(int sndfile_format)
{
    return tt_format_sample_bytes(sndfile_format) > 0 || (sndfile_format & SF_FORMAT_TYPEMASK) == SF_FORMAT_FLAC;
}

int tt_format_sample_bytes(int sndfile_format)
{
    if ((sndfile_format & SF_FORMAT_TYPEMASK) == SF_FORMAT_FLAC)
        return 0; /* its subtype is that of what it unpacks to */
    return find_coding(sndfile_format)->sample_bytes;
}

bool tt_format_is_little_endian_24(int sndfile_format)
{
    const int type = sndfile_format & SF_FORMAT_TYPEMASK;
    return (sndfile_format & SF_FORMAT_SUBMASK) == SF_FORMAT_PCM_24 &&
           (sndfile_format & SF_FORMAT_ENDMASK) != SF_ENDIAN_BIG &&
           (type == SF_FORMAT_WAV || type == SF_FORMAT_WAVEX || type == SF_FORMAT_W64 || type == SF_FORMAT_RF64);
}

static bool ends_like_one_of(const char *name, const char *const *endings, size_t count)
{
    const char *dot = strrchr(name, '.');
    if (name[0] == '.' || dot == NULL)
        return false;
    for (size_t i = 0; i < count; i++)
        if (strcasecmp(dot + 1, endings[i]) == 0)
            return true;
    return false;
}

bool tt_is_camera_name(const char *name)
{
    static const char *const endings[] = {"mp4", "m4a", "m4v", "mov", "mkv", "3gp", "3g2", "webm", "mka"};
    return ends_like_one_of(name, endings, sizeof endings / sizeof endings[0]);
}

bool tt_is_sound_name(const char *name)
{
    static const char *const endings[] = {"wav",  "w64", "rf64", "bwf",  "aif", "aiff", "aifc",
                                          "flac", "ogg", "oga",  "opus", "mp3", "au",   "caf"};
    return ends_like_one_of(name, endings, sizeof endings / sizeof endings[0]) ||
           (tt_is_camera_name(name) && tt_camera_is_built_in());
}
