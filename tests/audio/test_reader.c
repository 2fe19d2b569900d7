/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Reading, against files that libsndfile wrote, whole ones and ones that were damaged byte by byte. */
#include "audio_test.h"

#include <fcntl.h>
#include <sys/stat.h>

#include "audio/reader.h"

enum { RATE_HZ = 48000, FRAMES = 48000 };

static float *sine_frames(int channels, double amplitude)
{
    float *samples = malloc(sizeof *samples * FRAMES * (size_t)channels);
    float *one = malloc(sizeof *one * FRAMES);
    assert_non_null(samples);
    assert_non_null(one);
    make_sine(one, FRAMES, 440.0, RATE_HZ, amplitude);
    for (size_t i = 0; i < FRAMES; i++)
        for (size_t c = 0; c < (size_t)channels; c++)
            samples[i * (size_t)channels + c] = one[i] / (float)(c + 1);
    free(one);
    return samples;
}

static void write_sine(const char *path, int format, int channels)
{
    float *samples = sine_frames(channels, 0.5);
    write_sound(path, format, RATE_HZ, channels, samples, FRAMES);
    free(samples);
}

/* Reads all of a file in blocks; returns the frames, -1 on error. samples has room for a block more than there is. */
static int64_t read_all(const char *path, int64_t block, float *samples, struct tt_audio_info *info,
                        struct tt_error *err)
{
    struct tt_reader *reader = tt_reader_open(path, info, err);
    if (reader == NULL)
        return -1;
    int64_t total = 0, got;
    while ((got = tt_reader_read(reader, samples + total * info->channel_count, block, err)) > 0)
        total += got;
    tt_reader_close(reader);
    return got < 0 ? -1 : total;
}

static void assert_open_fails(const char *path, const char *needle)
{
    struct tt_audio_info info;
    struct tt_error err = {0};
    assert_null(tt_reader_open(path, &info, &err));
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    if (strstr(err.message, needle) == NULL || strstr(err.message, path) == NULL)
        fail_msg("\"%s\" should say \"%s\" and name the file", err.message, needle);
}

static const struct kind {
    const char *file, *name;
    int format, bits;
    bool is_float, plays, is_exact; /* exact: frames and samples come back as they went in */
} kinds[] = {
    {"a.wav", "WAV, 8 bit", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 8, false, true, true},
    {"b.wav", "WAV, 16 bit", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 16, false, true, true},
    {"c.wav", "WAV, 24 bit", SF_FORMAT_WAVEX | SF_FORMAT_PCM_24, 24, false, true, true},
    {"d.wav", "WAV, 32 bit", SF_FORMAT_WAV | SF_FORMAT_PCM_32, 32, false, true, true},
    {"e.wav", "WAV, 32 bit float", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 32, true, true, true},
    {"f.wav", "WAV, 64 bit float", SF_FORMAT_WAV | SF_FORMAT_DOUBLE, 64, true, false, true},
    {"g.wav", "WAV, A-law", SF_FORMAT_WAV | SF_FORMAT_ALAW, 0, false, false, false},
    {"h.wav", "WAV, IMA ADPCM", SF_FORMAT_WAV | SF_FORMAT_IMA_ADPCM, 0, false, false, false},
    {"i.w64", "W64, 24 bit", SF_FORMAT_W64 | SF_FORMAT_PCM_24, 24, false, false, true},
    {"j.rf64", "RF64, 24 bit", SF_FORMAT_RF64 | SF_FORMAT_PCM_24, 24, false, false, true},
    {"k.aiff", "AIFF, 24 bit", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, 24, false, false, true},
    {"l.aif", "AIFF, 32 bit float", SF_FORMAT_AIFF | SF_FORMAT_FLOAT, 32, true, false, true},
    {"m.flac", "FLAC, 24 bit", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 24, false, true, true},
    {"n.ogg", "Ogg, Vorbis", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 0, false, true, false},
    {"o.opus", "Ogg, Opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 0, false, true, false},
    {"p.mp3", "MP3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 0, false, true, false},
    {"q.au", "AU, 16 bit", SF_FORMAT_AU | SF_FORMAT_PCM_16, 16, false, false, true},
    {"r.caf", "CAF, 24 bit", SF_FORMAT_CAF | SF_FORMAT_PCM_24, 24, false, false, true},
};

static void assert_like_sine(const float *samples, int64_t frames, double tolerance)
{
    for (int64_t i = 4800; i < frames - 4800; i++) {
        double expected = 0.5 * sin(2.0 * 3.14159265358979323846 * 440.0 * (double)i / RATE_HZ);
        assert_near((double)samples[2 * i], expected, tolerance);
        assert_near((double)samples[2 * i + 1], expected / 2.0, tolerance);
    }
}

static void every_format_reads_as_it_was_written(void **state)
{
    (void)state;
    float *samples = malloc(sizeof *samples * 4 * FRAMES);
    assert_non_null(samples);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        const struct kind *kind = &kinds[i];
        const char *path = test_path(kind->file);
        struct tt_audio_info info;
        struct tt_error err = {0};
        write_sine(path, kind->format, 2);
        int64_t frames = read_all(path, 5000, samples, &info, &err);
        assert_ok(frames >= 0, err);
        assert_string_equal(info.format_name, kind->name);
        assert_int_equal(info.bits, kind->bits);
        assert_int_equal(info.is_float, kind->is_float);
        assert_int_equal(info.plays_in_browser, kind->plays);
        assert_int_equal(info.rate_hz, RATE_HZ);
        assert_int_equal(info.channel_count, 2);
        assert_false(info.is_truncated);
        assert_int_equal(info.time_reference, -1);
        assert_int_equal(frames, info.frame_count);
        if (kind->is_exact)
            assert_int_equal(frames, FRAMES);
        assert_like_sine(samples, FRAMES, kind->is_exact ? (kind->bits == 8 ? 0.01 : 1e-4) : 0.05);
    }
    free(samples);
}

static void float_files_keep_what_is_above_full_scale(void **state)
{
    (void)state;
    const float loud[4] = {0.0f, 3.5f, -2.25f, 1.0f};
    float samples[8];
    struct tt_audio_info info;
    struct tt_error err = {0};
    const char *path = test_path("loud.wav");
    write_sound(path, SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE_HZ, 1, loud, 4);
    assert_int_equal(read_all(path, 4, samples, &info, &err), 4);
    assert_memory_equal(samples, loud, sizeof loud);
}

static void block_sizes_do_not_change_what_is_read(void **state)
{
    (void)state;
    static const char *const files[] = {"blocks.wav", "blocks.flac", "blocks.ogg", "blocks.mp3"};
    static const int formats[] = {SF_FORMAT_WAV | SF_FORMAT_PCM_24, SF_FORMAT_FLAC | SF_FORMAT_PCM_16,
                                  SF_FORMAT_OGG | SF_FORMAT_VORBIS, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III};
    float *a = malloc(sizeof *a * 4 * FRAMES), *b = malloc(sizeof *b * 4 * FRAMES);
    for (size_t i = 0; i < 4; i++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        const char *path = test_path(files[i]);
        write_sine(path, formats[i], 1);
        int64_t frames = read_all(path, 16384, a, &info, &err);
        assert_ok(frames > 0, err);
        assert_int_equal(read_all(path, 777, b, &info, &err), frames);
        assert_memory_equal(a, b, sizeof *a * (size_t)frames);
    }
    free(a);
    free(b);
}

/* The usual takes go past libsndfile's own conversion: the bits must be the same, in either order of bytes. */
static void twenty_four_bits_read_as_libsndfile_reads_them(void **state)
{
    (void)state;
    static const int formats[] = {
        SF_FORMAT_WAV, SF_FORMAT_WAV | SF_ENDIAN_BIG, SF_FORMAT_WAVEX, SF_FORMAT_W64, SF_FORMAT_RF64, SF_FORMAT_AIFF};
    float *noise = malloc(sizeof *noise * 3 * FRAMES), *ours = malloc(sizeof *ours * 6 * FRAMES),
          *theirs = malloc(sizeof *theirs * 3 * FRAMES);
    assert_true(noise != NULL && ours != NULL && theirs != NULL);
    for (size_t i = 0; i < 3 * FRAMES; i++)
        noise[i] = (float)((double)(i * 2654435761u % 4294967296u) / 2147483648.0 - 1.0);
    for (size_t i = 0; i < sizeof formats / sizeof formats[0]; i++) {
        const char *path = test_path("packed");
        write_sound(path, formats[i] | SF_FORMAT_PCM_24, RATE_HZ, 3, noise, FRAMES - 1);
        struct tt_audio_info info;
        struct tt_error err = {0};
        assert_int_equal(read_all(path, 5003, ours, &info, &err), FRAMES - 1);
        SF_INFO sound = {0};
        SNDFILE *file = sf_open(path, SFM_READ, &sound);
        assert_int_equal(sf_readf_float(file, theirs, FRAMES), FRAMES - 1);
        sf_close(file);
        assert_memory_equal(ours, theirs, sizeof *ours * 3 * (FRAMES - 1));
    }
    free(noise);
    free(ours);
    free(theirs);
}

static void a_read_gives_all_that_was_asked_for_until_the_end(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    float *samples = malloc(sizeof *samples * 2 * FRAMES);
    const char *path = test_path("whole.opus");
    write_sine(path, SF_FORMAT_OGG | SF_FORMAT_OPUS, 1);
    struct tt_reader *reader = tt_reader_open(path, &info, &err);
    assert_non_null(reader);
    assert_int_equal(tt_reader_read(reader, samples, 30001, &err), 30001);
    assert_int_equal(tt_reader_read(reader, samples, 30001, &err), info.frame_count - 30001);
    assert_int_equal(tt_reader_read(reader, samples, 30001, &err), 0);
    tt_reader_close(reader);
    free(samples);
}

/* The coder's start is taken off to the sample, at the rates that recorders use. */
static void lossy_sound_lies_where_it_was_recorded(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        int format, rate_hz;
    } coded[] = {{"44.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 44100},
                 {"48.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 48000},
                 {"32.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 32000},
                 {"48.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 48000},
                 {"44.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 44100}};
    enum { COUNT = 60000, MOST_LAG = 3000 };
    float *noise = malloc(sizeof *noise * COUNT), *back = calloc(COUNT + 20000, sizeof *back);
    uint32_t seed = 11;
    float low = 0;
    for (int i = 0; i < COUNT; i++) /* below some kHz, where coders keep the shape */
        noise[i] = 2.0f * (low += 0.2f * (0.5f * test_noise(&seed) - low));
    for (size_t c = 0; c < sizeof coded / sizeof *coded; c++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        write_sound(test_path(coded[c].name), coded[c].format, coded[c].rate_hz, 1, noise, COUNT);
        struct tt_reader *reader = tt_reader_open(test_path(coded[c].name), &info, &err);
        assert_ok(reader != NULL, err);
        memset(back, 0, sizeof *back * (COUNT + 20000));
        const int64_t got = tt_reader_read(reader, back, COUNT + 20000, &err);
        tt_reader_close(reader);
        assert_int_equal(got, COUNT); /* nor is anything added behind it */
        double best = -1;
        int best_lag = 0;
        for (int lag = -MOST_LAG; lag <= MOST_LAG; lag++) {
            double sum = 0;
            for (int i = 20000; i < 30000; i++)
                sum += (double)(noise[i] * back[i + lag]);
            if (sum > best) {
                best = sum;
                best_lag = lag;
            }
        }
        if (best_lag != 0)
            fail_msg("%s: %d frames off", coded[c].name, best_lag);
    }
    free(noise);
    free(back);
}

static void what_is_left_out_changes_nothing_of_what_comes_behind_it(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        int format;
    } sorts[] = {{"a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24},         {"b.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16},
                 {"c.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT},          {"d.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24},
                 {"e.aif", SF_FORMAT_AIFF | SF_FORMAT_PCM_24},        {"f.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24},
                 {"g.w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24},         {"h.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS},
                 {"i.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III}};
    float *all = malloc(sizeof *all * 2 * FRAMES), *rest = malloc(sizeof *rest * 2 * FRAMES);
    for (size_t i = 0; i < sizeof sorts / sizeof *sorts; i++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        const char *path = test_path(sorts[i].name);
        const int64_t left_out = FRAMES / 2 + 17;
        write_sine(path, sorts[i].format, 1);
        struct tt_reader *reader = tt_reader_open(path, &info, &err);
        assert_non_null(reader);
        const int64_t count = tt_reader_read(reader, all, 2 * FRAMES, &err);
        tt_reader_close(reader);
        reader = tt_reader_open(path, &info, &err);
        assert_true(tt_reader_skip(reader, left_out, &err));
        assert_int_equal(tt_reader_read(reader, rest, 2 * FRAMES, &err), count - left_out);
        if (memcmp(rest, all + left_out * info.channel_count,
                   sizeof *rest * (size_t)((count - left_out) * info.channel_count)) != 0)
            fail_msg("%s: other samples behind what was left out", sorts[i].name);
        tt_reader_close(reader);
        reader = tt_reader_open(path, &info, &err);
        assert_true(tt_reader_skip(reader, count + 1000, &err)); /* beyond the end there is nothing */
        assert_int_equal(tt_reader_read(reader, rest, 10, &err), 0);
        tt_reader_close(reader);
    }
    free(all);
    free(rest);
}

static void sixty_four_channels_are_read_and_one_more_is_refused(void **state)
{
    (void)state;
    float *frames = calloc(65 * 10, sizeof *frames), *back = calloc(65 * 20, sizeof *back);
    struct tt_audio_info info;
    struct tt_error err = {0};
    frames[63] = 0.5f;
    write_sound(test_path("64.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, RATE_HZ, 64, frames, 10);
    assert_int_equal(read_all(test_path("64.wav"), 10, back, &info, &err), 10);
    assert_memory_equal(frames, back, sizeof *frames * 640);
    write_sound(test_path("65.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, RATE_HZ, 65, frames, 10);
    assert_open_fails(test_path("65.wav"), "65 channels");
    free(frames);
    free(back);
}

static void rates_from_8_to_192_khz_are_read(void **state)
{
    (void)state;
    const float frame = 0.0f;
    float back[8];
    struct tt_audio_info info;
    struct tt_error err = {0};
    write_sound(test_path("r.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 8000, 1, &frame, 1);
    assert_int_equal(read_all(test_path("r.wav"), 4, back, &info, &err), 1);
    write_sound(test_path("r.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 192000, 1, &frame, 1);
    assert_int_equal(read_all(test_path("r.wav"), 4, back, &info, &err), 1);
    write_sound(test_path("r.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 7999, 1, &frame, 1);
    assert_open_fails(test_path("r.wav"), "7999 Hz");
    write_sound(test_path("r.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 192001, 1, &frame, 1);
    assert_open_fails(test_path("r.wav"), "192001 Hz");
}

static void what_is_no_sound_file_says_so(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    save_bytes(test_path("nothing.wav"), "", 0);
    assert_open_fails(test_path("nothing.wav"), "empty file");
    const char text[] = "Opening the hive in spring, page 1.\nThe bees fly from ten degrees on.\n";
    save_bytes(test_path("text.wav"), text, sizeof text - 1);
    assert_open_fails(test_path("text.wav"), "not a sound file: ");
    save_bytes(test_path("text.au"), text,
               sizeof text - 1); /* by its name alone this could pass for headerless sound */
    assert_open_fails(test_path("text.au"), "not a sound file: ");
    save_bytes(test_path("text.mp3"), text, sizeof text - 1);
    assert_open_fails(test_path("text.mp3"), "not a sound file: ");
    assert_int_equal(mkdir(test_path("folder.wav"), 0700), 0);
    assert_open_fails(test_path("folder.wav"), "is a folder");
    assert_int_equal(mkfifo(test_path("pipe.wav"), 0600), 0);
    assert_open_fails(test_path("pipe.wav"), "is a pipe"); /* hangs here when it is opened blocking */
    assert_open_fails(test_path("missing.wav"), "No such file");
    assert_null(tt_reader_open(test_path("missing.wav"), &info, &err));
    assert_int_equal(info.channel_count, 0);
    if (geteuid() != 0) {
        save_bytes(test_path("locked.wav"), text, 4);
        assert_int_equal(chmod(test_path("locked.wav"), 0), 0);
        assert_open_fails(test_path("locked.wav"), "Permission denied");
    }
}

/* A file of one channel, 16 bit, with four bytes of it replaced, and cut by some bytes. */
static void damage(const char *path, int format, long at, const char *four_bytes, size_t cut)
{
    size_t size;
    write_sine(path, format, 1);
    unsigned char *bytes = load_bytes(path, &size);
    if (four_bytes != NULL)
        memcpy(bytes + at, four_bytes, 4);
    save_bytes(path, bytes, size - cut);
    free(bytes);
}

static void a_header_without_channels_or_rate_is_refused(void **state)
{
    (void)state;
    const int wav = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
    damage(test_path("z.wav"), wav, 22, "\0\0\x80\xBB", 0); /* channels, and half of the rate */
    assert_open_fails(test_path("z.wav"), "z.wav");
    damage(test_path("z.wav"), wav, 24, "\0\0\0\0", 0);
    assert_open_fails(test_path("z.wav"), "z.wav");
    damage(test_path("z.wav"), wav, 24, "\xFF\xFF\xFF\xFF", 0);
    assert_open_fails(test_path("z.wav"), "z.wav");
}

static void files_cut_short_are_read_as_far_as_they_go(void **state)
{
    (void)state;
    static const struct {
        const char *file;
        int format;
    } cut[] = {
        {"cut.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16},   {"cut24.wav", SF_FORMAT_WAVEX | SF_FORMAT_PCM_16},
        {"cut.rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_16}, {"cut.w64", SF_FORMAT_W64 | SF_FORMAT_PCM_16},
        {"cut.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16}, {"cut.au", SF_FORMAT_AU | SF_FORMAT_PCM_16},
        {"cut.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_16},   {"cut.rifx", SF_FORMAT_WAV | SF_FORMAT_PCM_16 | SF_ENDIAN_BIG},
    };
    float *samples = malloc(sizeof *samples * 2 * FRAMES), *whole = sine_frames(1, 0.5);
    for (size_t i = 0; i < sizeof cut / sizeof cut[0]; i++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        damage(test_path(cut[i].file), cut[i].format, 0, NULL, 20001);
        int64_t frames = read_all(test_path(cut[i].file), 5000, samples, &info, &err);
        assert_ok(frames >= 0, err);
        if (!info.is_truncated)
            fail_msg("%s: not seen that it is cut", cut[i].file);
        assert_in_range(frames, FRAMES - 10001 - 40,
                        FRAMES - 10000); /* a few bytes of chunks may stand behind the sound */
        if (info.frame_count != frames)
            fail_msg("%s: %lld frames promised, %lld read", cut[i].file, (long long)info.frame_count,
                     (long long)frames);
        assert_near((double)samples[frames - 1], (double)whole[frames - 1], 1e-4);
    }
    free(samples);
    free(whole);
}

static void a_flac_file_cut_short_is_read_as_far_as_it_goes(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    float *samples = malloc(sizeof *samples * 2 * FRAMES), *whole = sine_frames(1, 0.5);
    damage(test_path("cut.flac"), SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 0, NULL, 9000);
    int64_t frames = read_all(test_path("cut.flac"), 5000, samples, &info, &err);
    assert_ok(frames > 0, err);
    assert_true(info.is_truncated);
    assert_true(frames < FRAMES);
    for (int64_t i = 0; i < frames; i++)
        assert_near((double)samples[i], (double)whole[i], 1e-4);
    free(samples);
    free(whole);
}

static void a_header_whose_sizes_were_never_filled_in_is_no_lie(void **state)
{
    (void)state;
    static const char *const marks[] = {"\0\0\0\0", "\xFF\xFF\xFF\xFF", "\xFF\xFF\xFF\x7F"};
    float *samples = malloc(sizeof *samples * 2 * FRAMES);
    for (size_t i = 0; i < 3; i++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        size_t size;
        write_sine(test_path("open.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1);
        unsigned char *bytes = load_bytes(test_path("open.wav"), &size);
        memcpy(bytes + 4, marks[i], 4); /* the size of the whole, the size of data */
        memcpy(bytes + 40, marks[i], 4);
        save_bytes(test_path("open.wav"), bytes, size);
        free(bytes);
        assert_int_equal(read_all(test_path("open.wav"), 16384, samples, &info, &err), FRAMES);
        assert_false(info.is_truncated);
        assert_int_equal(info.frame_count, FRAMES);
    }
    free(samples);
}

static void a_file_without_sound_but_with_chunks_behind_has_no_frames(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    const unsigned char bytes[] = "RIFF\x32\0\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x80\xBB\0\0\0\x77\1\0\2\0\x10\0"
                                  "data\0\0\0\0LIST\6\0\0\0INFO\0\0";
    float sample[8];
    save_bytes(test_path("silent.wav"), bytes, 58);
    assert_int_equal(read_all(test_path("silent.wav"), 8, sample, &info, &err), 0);
    assert_int_equal(info.frame_count, 0);
    assert_false(info.is_truncated);
}

/* The size 0xFFFFFFE8 inside the LIST sent libsndfile 1.2 round and round; the alarm ends this program should it do so
 * again. */
static void a_list_whose_parts_lead_backwards_holds_nothing_up(void **state)
{
    (void)state;
    enum { LIST_BYTES = 112, BACK_AT = 52, SOUND_BYTES = 9600 };
    static unsigned char bytes[44 + 8 + LIST_BYTES + SOUND_BYTES] =
        "RIFF\xFC\x25\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x80\xBB\0\0\0\x77\1\0\2\0\x10\0LIST\x70\0\0\0";
    unsigned char *list = bytes + 44;
    struct tt_audio_info info;
    struct tt_error err = {0};
    static float samples[SOUND_BYTES]; /* room for a block behind the last one */
    memset(list, 0xFF, LIST_BYTES);
    list[0] = 0;
    list[BACK_AT] = 0xE8;
    memcpy(list + LIST_BYTES, "data\x80\x25\0\0", 8);
    save_bytes(test_path("list.wav"), bytes, sizeof bytes);
    alarm(60);
    assert_int_equal(read_all(test_path("list.wav"), SOUND_BYTES / 2, samples, &info, &err), SOUND_BYTES / 2);
    alarm(0);
}

static void a_flac_stream_that_does_not_tell_its_length_is_counted(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    size_t size;
    float *samples = malloc(sizeof *samples * 2 * FRAMES);
    const char *path = test_path("live.flac");
    write_sine(path, SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1);
    unsigned char *bytes = load_bytes(path, &size);
    bytes[21] &= 0xF0; /* RFC 9639 section 8.2: 36 bits of sample count, 0 is unknown */
    memset(bytes + 22, 0, 4);
    save_bytes(path, bytes, size);
    assert_int_equal(read_all(path, 5000, samples, &info, &err), FRAMES);
    assert_int_equal(info.frame_count, FRAMES);
    assert_false(info.is_truncated);
    free(bytes);
    free(samples);
}

static void a_fault_in_the_middle_is_an_error_that_names_the_time(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    size_t size;
    uint32_t noise = 1;
    float *samples = malloc(sizeof *samples * 4 * FRAMES);
    const char *path = test_path("hurt.flac");
    for (size_t i = 0; i < 4 * FRAMES; i++)
        samples[i] = 0.5f * test_noise(&noise);
    write_sound(path, SF_FORMAT_FLAC | SF_FORMAT_PCM_16, RATE_HZ, 1, samples, 4 * FRAMES);
    unsigned char *bytes = load_bytes(path, &size);
    memset(bytes + size / 2, 0x55, 30000); /* more than one FLAC frame */
    save_bytes(path, bytes, size);
    assert_int_equal(read_all(path, 5000, samples, &info, &err), -1);
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    assert_non_null(
        strstr(err.message, "cannot be read at 00:00:01.")); /* in the block of 0.1 s before the middle of 4 s */
    assert_non_null(strstr(err.message, "damaged there"));
    free(bytes);
    free(samples);
}

static void a_file_that_shrinks_while_being_read_is_an_error(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    float *samples = malloc(sizeof *samples * 2 * FRAMES);
    const char *path = test_path("shrinks.wav");
    write_sine(path, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1);
    struct tt_reader *reader = tt_reader_open(path, &info, &err);
    assert_ok(reader != NULL, err);
    assert_int_equal(tt_reader_read(reader, samples, 24000, &err), 24000);
    assert_int_equal(truncate(path, 44 + 2 * 30000), 0);
    assert_int_equal(tt_reader_read(reader, samples, 24000, &err), -1);
    assert_non_null(strstr(err.message, "at 00:00:00.6"));
    tt_reader_close(reader);
    free(samples);
}

static void reading_leaves_the_file_as_it_is(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    struct stat before, after;
    size_t size_before, size_after;
    float *samples = malloc(sizeof *samples * 2 * FRAMES);
    damage(test_path("kept.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 40, "\xFF\xFF\xFF\xFF", 0);
    unsigned char *bytes_before = load_bytes(test_path("kept.wav"), &size_before);
    assert_int_equal(stat(test_path("kept.wav"), &before), 0);
    assert_int_equal(read_all(test_path("kept.wav"), 5000, samples, &info, &err), FRAMES);
    assert_int_equal(stat(test_path("kept.wav"), &after), 0);
    unsigned char *bytes_after = load_bytes(test_path("kept.wav"), &size_after);
    assert_int_equal(size_before, size_after);
    assert_memory_equal(bytes_before, bytes_after, size_before);
    assert_true(before.st_mtim.tv_sec == after.st_mtim.tv_sec && before.st_mtim.tv_nsec == after.st_mtim.tv_nsec);
    free(bytes_before);
    free(bytes_after);
    free(samples);
}

struct seen {
    const unsigned char *expected;
    int64_t size, most;
};

static void compare_seen(void *opaque, int64_t offset, const void *data, size_t size)
{
    struct seen *seen = opaque;
    const int64_t end = offset + (int64_t)size;
    assert_true(offset >= 0 && end <= seen->size);
    assert_memory_equal(data, seen->expected + offset, size);
    seen->most = end > seen->most ? end : seen->most;
}

static void bytes_are_shown_as_they_lie_in_the_file(void **state)
{
    (void)state;
    static const int formats[] = {SF_FORMAT_WAV | SF_FORMAT_PCM_16, SF_FORMAT_WAV | SF_FORMAT_PCM_24,
                                  SF_FORMAT_FLAC | SF_FORMAT_PCM_16};
    float *samples = malloc(sizeof *samples * FRAMES);
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        size_t size;
        write_sine(test_path("seen"), formats[i], 1);
        unsigned char *bytes = load_bytes(test_path("seen"), &size);
        struct seen seen = {.expected = bytes, .size = (int64_t)size};
        struct tt_reader *reader = tt_reader_open(test_path("seen"), &info, &err);
        assert_ok(reader, err);
        tt_reader_show_bytes(reader, compare_seen, &seen);
        assert_int_equal(tt_reader_read(reader, samples, FRAMES, &err), FRAMES);
        tt_reader_close(reader);
        assert_true(seen.most > seen.size - 64); /* to the end of the sound */
        free(bytes);
    }
    free(samples);
}

static void write_with_bext(const char *path, int format, const char *date, const char *time, uint64_t time_reference)
{
    const float frame = 0.0f;
    SF_BROADCAST_INFO bext;
    memset(&bext, 0, sizeof bext);
    memcpy(bext.origination_date, date, 10);
    memcpy(bext.origination_time, time, 8);
    bext.time_reference_low = (uint32_t)time_reference;
    bext.time_reference_high = (uint32_t)(time_reference >> 32);
    SF_INFO info = {.samplerate = 96000, .channels = 1, .format = format};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    assert_non_null(file);
    assert_int_equal(sf_command(file, SFC_SET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
    assert_int_equal(sf_writef_float(file, &frame, 1), 1);
    assert_int_equal(sf_close(file), 0);
}

/* EBU Tech 3285: 13:00:00 at 96 kHz is 4 492 800 000 frames since midnight, which needs the high word. */
static void the_broadcast_extension_tells_when_a_take_began(void **state)
{
    (void)state;
    static const int formats[] = {SF_FORMAT_WAV | SF_FORMAT_PCM_24, SF_FORMAT_RF64 | SF_FORMAT_PCM_24};
    struct tt_audio_info info;
    struct tt_error err = {0};
    for (size_t i = 0; i < 2; i++) {
        write_with_bext(test_path("when.wav"), formats[i], "2024:04:03", "13-00-00", UINT64_C(4492800000));
        struct tt_reader *reader = tt_reader_open(test_path("when.wav"), &info, &err);
        assert_ok(reader != NULL, err);
        assert_int_equal(info.time_reference, INT64_C(4492800000));
        assert_string_equal(info.origination, "2024-04-03 13:00:00");
        tt_reader_close(reader);
    }
    write_with_bext(test_path("when.wav"), formats[0], "0000-00-00", "00:00:00", 0);
    struct tt_reader *reader = tt_reader_open(test_path("when.wav"), &info, &err);
    assert_ok(reader != NULL, err);
    assert_int_equal(info.time_reference, 0);
    assert_string_equal(info.origination, "");
    tt_reader_close(reader);
}

static void sound_names_are_known_by_their_ending(void **state)
{
    (void)state;
    static const char *const yes[] = {"01.wav",           "a.W64",  "a.rf64", "a.bwf",    "a.aif",
                                      "a.AIFF",           "a.flac", "a.ogg",  "a.oga",    "a.opus",
                                      "hive, take 2.Mp3", "a.au",   "a.caf",  "a.txt.wav"};
    static const char *const no[] = {"",       "wav",   ".wav", ".01.wav.12-1.part", ".hidden.wav", "a.wav.part",
                                     "a.wave", "a.txt", "a."};
    for (size_t i = 0; i < sizeof yes / sizeof yes[0]; i++)
        assert_true(tt_is_sound_name(yes[i]));
    for (size_t i = 0; i < sizeof no / sizeof no[0]; i++)
        assert_false(tt_is_sound_name(no[i]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_format_reads_as_it_was_written),
        cmocka_unit_test(float_files_keep_what_is_above_full_scale),
        cmocka_unit_test(block_sizes_do_not_change_what_is_read),
        cmocka_unit_test(twenty_four_bits_read_as_libsndfile_reads_them),
        cmocka_unit_test(a_read_gives_all_that_was_asked_for_until_the_end),
        cmocka_unit_test(what_is_left_out_changes_nothing_of_what_comes_behind_it),
        cmocka_unit_test(lossy_sound_lies_where_it_was_recorded),
        cmocka_unit_test(sixty_four_channels_are_read_and_one_more_is_refused),
        cmocka_unit_test(rates_from_8_to_192_khz_are_read),
        cmocka_unit_test(what_is_no_sound_file_says_so),
        cmocka_unit_test(a_header_without_channels_or_rate_is_refused),
        cmocka_unit_test(files_cut_short_are_read_as_far_as_they_go),
        cmocka_unit_test(a_flac_file_cut_short_is_read_as_far_as_it_goes),
        cmocka_unit_test(a_header_whose_sizes_were_never_filled_in_is_no_lie),
        cmocka_unit_test(a_file_without_sound_but_with_chunks_behind_has_no_frames),
        cmocka_unit_test(a_list_whose_parts_lead_backwards_holds_nothing_up),
        cmocka_unit_test(a_flac_stream_that_does_not_tell_its_length_is_counted),
        cmocka_unit_test(a_fault_in_the_middle_is_an_error_that_names_the_time),
        cmocka_unit_test(a_file_that_shrinks_while_being_read_is_an_error),
        cmocka_unit_test(reading_leaves_the_file_as_it_is),
        cmocka_unit_test(bytes_are_shown_as_they_lie_in_the_file),
        cmocka_unit_test(the_broadcast_extension_tells_when_a_take_began),
        cmocka_unit_test(sound_names_are_known_by_their_ending),
    };
    return cmocka_run_group_tests(tests, make_test_folder, remove_test_folder);
}
