/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool reserve(struct tt_text *text, size_t more)
{
    if (text->has_failed)
        return false;
    if (more >= SIZE_MAX - text->length) {
        text->has_failed = true;
        return false;
    }
    size_t needed = text->length + more + 1;
    if (needed <= text->capacity)
        return true;
    size_t capacity = text->capacity > SIZE_MAX / 2 ? needed : 2 * text->capacity;
    if (capacity < needed)
        capacity = needed;
    if (capacity < 64)
        capacity = 64;
    char *data = realloc(text->data, capacity);
    if (!data) {
        text->has_failed = true;
        return false;
    }
    text->data = data;
    text->capacity = capacity;
    return true;
}

void tt_text_add_bytes(struct tt_text *text, const char *bytes, size_t count)
{
    if (!reserve(text, count))
        return;
    if (count)
        memcpy(text->data + text->length, bytes, count);
    text->length += count;
    text->data[text->length] = '\0';
}

void tt_text_add(struct tt_text *text, const char *string) { tt_text_add_bytes(text, string, strlen(string)); }

void tt_text_addf(struct tt_text *text, const char *format, ...)
{
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0)
        text->has_failed = true;
    if (length >= 0 && reserve(text, (size_t)length)) {
        vsnprintf(text->data + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
}

void tt_text_free(struct tt_text *text)
{
    if (!text)
        return;
    free(text->data);
    *text = (struct tt_text){0};
}

char *tt_copy_string(const char *string)
{
    size_t size = strlen(string) + 1;
    char *copy = malloc(size);
    if (copy)
        memcpy(copy, string, size);
    return copy;
}

char *tt_format(const char *format, ...)
{
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    char *made = length < 0 ? NULL : malloc((size_t)length + 1);
    if (made)
        vsnprintf(made, (size_t)length + 1, format, again);
    va_end(again);
    return made;
}

const char *tt_shown(const char *text, char buffer[TT_SHOWN_CHARS])
{
    size_t length = TT_SHOWN_CHARS - sizeof "...";
    if (strlen(text) <= length)
        return text;
    while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80)
        length--; /* whole characters */
    memcpy(buffer, text, length);
    memcpy(buffer + length, "...", sizeof "...");
    return buffer;
}
