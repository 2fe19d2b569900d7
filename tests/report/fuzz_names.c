/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as the names and words of a session. They may change no tag of a page, no line of an edit
 * list, nothing on a terminal. */
#include "fuzz.h"

#include "hive_session.h"

enum { MOST_NAME = 255 };

/* Tags, quotes of attributes and lines are the page's own: as many as with a harmless name. */
static size_t count_of(const struct tt_text *text, char wanted)
{
    size_t count = 0;
    for (size_t i = 0; i < text->length; i++)
        count += text->data[i] == wanted;
    return count;
}

struct shape {
    size_t tags, ends, edl_lines;
};

static void check_terminal(const struct tt_text *text)
{
    for (size_t i = 0; i < text->length; i++) {
        unsigned char c = (unsigned char)text->data[i];
        if ((c < 32 && c != '\n') || c == 127 ||
            (c == 0xC2 && i + 1 < text->length && (unsigned char)text->data[i + 1] < 0xA0))
            abort();
    }
}

static struct shape show(struct hive *hive)
{
    struct tt_text page = {0}, index = {0}, edl = {0}, otio = {0}, json = {0}, summary = {0};
    struct tt_error err = {0};
    bool has_more;
    if (!tt_report_take_page(&hive->session, &hive->takes[0], &page, &err) ||
        !tt_report_session_page(&hive->session, &index, &err) ||
        !tt_report_edl(&hive->session, 0, &edl, &has_more, &err) || !tt_report_otio(&hive->session, &otio, &err) ||
        !tt_report_take_json(&hive->takes[0], &json, &err) || !tt_report_summary(&hive->session, true, &summary, &err))
        abort();
    struct shape shape = {count_of(&page, '<') + count_of(&index, '<'), count_of(&page, '>') + count_of(&index, '>'),
                          count_of(&edl, '\n')};
    check_terminal(&summary);
    for (size_t i = 0; i < edl.length; i++)
        if ((unsigned char)edl.data[i] < 32 && edl.data[i] != '\n' && edl.data[i] != '\r')
            abort();
    tt_text_free(&page), tt_text_free(&index), tt_text_free(&edl), tt_text_free(&otio), tt_text_free(&json),
        tt_text_free(&summary);
    return shape;
}

static struct shape shape_with(const char *name)
{
    static struct hive hive;
    hive_start(&hive);
    hive.takes[0].name = name;
    hive.takes[0].stem = name;
    hive.sheets[0].take = (char *)(uintptr_t)name;
    hive.session.name = name;
    snprintf(hive.takes[2].error, sizeof hive.takes[2].error, "%s", name);
    snprintf(hive.warnings[0].message, sizeof hive.warnings[0].message, "%.200s", name);
    hive.rows[4].note = (char *)(uintptr_t)name;
    return show(&hive);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct shape harmless;
    char name[MOST_NAME + 1];
    if (harmless.tags == 0)
        harmless = shape_with("x");
    size_t length = size < MOST_NAME ? size : MOST_NAME;
    memcpy(name, data, length);
    name[length] = '\0';
    for (size_t i = 0; i < length; i++)
        if (name[i] == '/' || name[i] == '\0')
            name[i] = '_';
    if (length == 0)
        return 0;
    struct shape found = shape_with(name);
    if (found.tags != harmless.tags || found.ends != harmless.ends || found.edl_lines != harmless.edl_lines)
        abort();
    return 0;
}
