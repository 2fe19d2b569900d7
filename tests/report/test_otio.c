/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Read back with jansson; the schemas' names and fields are those that OpenTimelineIO's own readers ask for (its
 * src/opentimelineio, read_from). */
#include "hive_session.h"

#include "json_test.h"

#include "report/report.h"

static json_t *make(const struct tt_session_report *session)
{
    struct tt_text text = {0};
    struct tt_error err = {0};
    if (!tt_report_otio(session, &text, &err))
        fail_msg("%s", err.message);
    return parse_text(&text);
}

static void assert_time(const json_t *object, const char *key, double value, double rate)
{
    const json_t *time = get(object, key);
    assert_string_equal(string(time, "OTIO_SCHEMA"), "RationalTime.1");
    assert_true(json_is_real(get(time, "value")) && json_is_real(get(time, "rate")));
    assert_true(json_real_value(get(time, "value")) == value);
    assert_true(json_real_value(get(time, "rate")) == rate);
}

static void assert_range(const json_t *object, const char *key, double start, double start_rate, double duration,
                         double rate)
{
    const json_t *range = get(object, key);
    assert_string_equal(string(range, "OTIO_SCHEMA"), "TimeRange.1");
    assert_time(range, "start_time", start, start_rate);
    assert_time(range, "duration", duration, rate);
}

static const json_t *children_of(const json_t *timeline)
{
    return get(json_array_get(get(get(timeline, "tracks"), "children"), 0), "children");
}

/* Schema names and the fields that a reader wants or that an item has. */
static void assert_schemas(const json_t *value)
{
    static const struct {
        const char *schema, *fields[8];
    } schemas[] = {
        {"Timeline.1", {"metadata", "name", "global_start_time", "tracks"}},
        {"Stack.1", {"metadata", "name", "source_range", "effects", "markers", "enabled", "children"}},
        {"Track.1", {"metadata", "name", "source_range", "effects", "markers", "enabled", "children", "kind"}},
        {"Clip.2",
         {"metadata", "name", "source_range", "effects", "markers", "enabled", "media_references",
          "active_media_reference_key"}},
        {"Gap.1", {"metadata", "name", "source_range", "effects", "markers", "enabled"}},
        {"ExternalReference.1", {"metadata", "name", "available_range", "available_image_bounds", "target_url"}},
        {"Marker.2", {"metadata", "name", "color", "marked_range", "comment"}},
        {"TimeRange.1", {"start_time", "duration"}},
        {"RationalTime.1", {"value", "rate"}},
    };
    const json_t *schema = json_object_get(value, "OTIO_SCHEMA");
    size_t known = 0, count = sizeof schemas / sizeof *schemas;
    while (schema && known < count && strcmp(schemas[known].schema, json_string_value(schema)) != 0)
        known++;
    if (schema && known == count)
        fail_msg("unknown schema %s", json_string_value(schema));
    for (size_t i = 0; schema && i < 8 && schemas[known].fields[i]; i++)
        get(value, schemas[known].fields[i]);
    const char *key;
    json_t *child;
    size_t index;
    json_object_foreach((json_t *)(uintptr_t)value, key, child) assert_schemas(child);
    json_array_foreach(value, index, child) assert_schemas(child);
}

static void every_object_has_the_fields_of_its_schema(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *timeline = make(&hive.session);
    assert_string_equal(string(timeline, "OTIO_SCHEMA"), "Timeline.1");
    assert_schemas(timeline);
    const json_t *track = json_array_get(get(get(timeline, "tracks"), "children"), 0);
    assert_string_equal(string(track, "OTIO_SCHEMA"), "Track.1");
    assert_string_equal(string(track, "kind"), "Audio");
    json_decref(timeline);
}

static void the_track_holds_the_narration_sample_by_sample(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *timeline = make(&hive.session);
    const json_t *children = children_of(timeline);
    static const struct {
        const char *schema;
        double start, rate, duration;
    } expected[] = {
        {"Gap.1", 0, 48000, 24000},
        {"Clip.2", 1728000000., 48000, 96000},
        {"Clip.2", 1728264000., 48000, 187200},
        {"Clip.2", 1728508800., 48000, 115200},
        {"Gap.1", 0, 48000, 192000},
        {"Clip.2", 1728624000., 48000, 336000},
        {"Gap.1", 0, 48000, 33600},
        {"Clip.2", 0, 44100, 480000},
        {"Gap.1", 0, 48000, 24000},
    };
    assert_int_equal(json_array_size(children), 9);
    double total = 0;
    for (size_t i = 0; i < 9; i++) {
        const json_t *child = json_array_get(children, i);
        assert_string_equal(string(child, "OTIO_SCHEMA"), expected[i].schema);
        assert_range(child, "source_range", expected[i].start, expected[i].rate, expected[i].duration, 48000);
        total += json_real_value(get(get(get(child, "source_range"), "duration"), "value"));
    }
    assert_true(total == 1488000);
    json_decref(timeline);
}

static void clips_point_to_their_takes(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *timeline = make(&hive.session);
    const json_t *clip = json_array_get(children_of(timeline), 7),
                 *reference = get(get(clip, "media_references"), string(clip, "active_media_reference_key"));
    assert_string_equal(string(clip, "name"), "02 - ruche.wav");
    assert_string_equal(string(reference, "target_url"), "file:///films/hive/02%20-%20ruche.wav");
    assert_range(reference, "available_range", 0, 44100, 441000, 44100);
    reference = get(get(json_array_get(children_of(timeline), 1), "media_references"), "DEFAULT_MEDIA");
    assert_range(reference, "available_range", 1728000000., 48000, 960000, 48000);
    json_decref(timeline);
}

/* RFC 3986, section 2: '%', '#', '?', quotes, blanks and all bytes past ASCII are encoded. */
static void paths_become_urls(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].source_path = "/films/100% #1?/\"\xc3\xa9\xff\n.wav";
    json_t *timeline = make(&hive.session);
    const json_t *clip = json_array_get(children_of(timeline), 1);
    assert_string_equal(string(get(get(clip, "media_references"), "DEFAULT_MEDIA"), "target_url"),
                        "file:///films/100%25%20%231%3F/%22%C3%A9%FF%0A.wav");
    json_decref(timeline);
}

static void whole_takes_are_pointed_to_when_there(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.settings.deliver.whole = true;
    hive.takes[0].out_rate_hz = 96000;
    json_t *timeline = make(&hive.session);
    const json_t *clip = json_array_get(children_of(timeline), 2),
                 *reference = get(get(clip, "media_references"), "DEFAULT_MEDIA");
    assert_string_equal(string(reference, "target_url"), "file:///films/hive.tidy/whole/01.wav");
    /* With the recording's time of day, 10:00:00, in its bext. */
    assert_range(reference, "available_range", INT64_C(3456000000), 96000, 1920000, 96000);
    assert_range(clip, "source_range", INT64_C(3456528000), 96000, 187200, 48000);
    json_decref(timeline);
    hive.settings.deliver.format = TT_CONTAINER_FLAC; /* which has no bext */
    timeline = make(&hive.session);
    clip = json_array_get(children_of(timeline), 2);
    assert_range(clip, "source_range", 528000, 96000, 187200, 48000);
    json_decref(timeline);
}

static void markers_stand_in_the_narrations_time(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *timeline = make(&hive.session);
    const json_t *markers = get(get(timeline, "tracks"), "markers");
    static const struct {
        const char *name, *color;
        double start, duration;
    } expected[] = {
        {"01.wav", "YELLOW", 24000, 0},
        {"the queen", "GREEN", 374400, 0},
        {"gap smoke", "BLUE", 422400, 192000},
        {"misread? read again 00:00:15.200-00:00:17.000", "RED", 662400, 48000},
        {"02 - ruche.wav", "YELLOW", 984000, 0},
    };
    assert_int_equal(json_array_size(markers), 5);
    for (size_t i = 0; i < 5; i++) {
        const json_t *marker = json_array_get(markers, i);
        assert_string_equal(string(marker, "OTIO_SCHEMA"), "Marker.2");
        assert_string_equal(string(marker, "name"), expected[i].name);
        assert_string_equal(string(marker, "color"), expected[i].color);
        assert_range(marker, "marked_range", expected[i].start, 48000, expected[i].duration, 48000);
    }
    json_decref(timeline);
}

static void the_timeline_begins_at_its_timecode(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.settings.deliver.frame_rate = TT_FPS_2997DF;
    snprintf(hive.settings.deliver.start, sizeof hive.settings.deliver.start, "01:00:00;00");
    json_t *timeline = make(&hive.session);
    assert_time(timeline, "global_start_time", 107892, 30000 / 1001.0); /* all bits of the rate: readers compare them */
    json_decref(timeline);
}

static bool make_timeline(const void *of, struct tt_error *err)
{
    struct tt_text text = {0};
    bool ok = tt_report_otio(of, &text, err);
    tt_text_free(&text);
    return ok;
}

static void every_failed_allocation_is_an_error(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    assert_each_allocation_is_checked(make_timeline, &hive.session, 300);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_object_has_the_fields_of_its_schema),
        cmocka_unit_test(the_track_holds_the_narration_sample_by_sample),
        cmocka_unit_test(clips_point_to_their_takes),
        cmocka_unit_test(paths_become_urls),
        cmocka_unit_test(whole_takes_are_pointed_to_when_there),
        cmocka_unit_test(markers_stand_in_the_narrations_time),
        cmocka_unit_test(the_timeline_begins_at_its_timecode),
        cmocka_unit_test(every_failed_allocation_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
