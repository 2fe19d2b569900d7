/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The frame of a page, with its Content-Security-Policy (W3C CSP Level 3). */

#include "base/file.h"
#include "report/html.h"
#include "report/plain.h"

static void add_lines(struct tt_text *out, const char *const *lines)
{
    for (; *lines; lines++)
        tt_text_add(out, *lines);
}

static void add_scripts(struct tt_text *out, const char *const *const *scripts)
{
    for (; *scripts; scripts++)
        add_lines(out, *scripts);
}

static unsigned hex_value(char digit) { return (unsigned)(digit <= '9' ? digit - '0' : digit - 'a' + 10); }

/* 'sha256-...' of a text: Base64 (RFC 4648 section 4) of its 32 bytes. */
static void add_source_hash(struct tt_text *out, const struct tt_text *text)
{
    static const char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char hex[65], base64[45];
    unsigned char bytes[33] = {0}; /* one zero more, so that groups of three come out */
    tt_sha256(text->data ? text->data : "", text->length, hex);
    for (int i = 0; i < 32; i++)
        bytes[i] = (unsigned char)(hex_value(hex[2 * i]) << 4 | hex_value(hex[2 * i + 1]));
    for (int i = 0; i < 11; i++) {
        unsigned long group =
            (unsigned long)bytes[3 * i] << 16 | (unsigned long)bytes[3 * i + 1] << 8 | bytes[3 * i + 2];
        for (int k = 0; k < 4; k++)
            base64[4 * i + k] = alphabet[group >> (18 - 6 * k) & 63];
    }
    base64[43] = '='; /* 32 bytes leave two in the last group */
    base64[44] = 0;
    tt_text_addf(out, "'sha256-%s'", base64);
}

static void add_policy(struct tt_text *out, const struct tt_text *style, const struct tt_text *script)
{
    tt_text_add(out, "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src ");
    add_source_hash(out, style);
    tt_text_add(out, "; script-src ");
    add_source_hash(out, script);
    /* 'self' is no help to every browser where a page is a file. */
    tt_text_add(out, "; media-src 'self' file: blob:; connect-src 'self'; img-src 'self' file:; base-uri 'none'; "
                     "form-action 'none'\">\n");
}

static void add_title(struct tt_text *out, const char *title)
{
    struct tt_text plain = {0};
    tt_plain_add(&plain, title); /* a window's title has no element that would keep a turn of direction within */
    if (plain.has_failed)
        out->has_failed = true;
    tt_text_add(out, "<title>");
    tt_html_text(out, plain.data);
    tt_text_add(out, "</title>\n");
    tt_text_free(&plain);
}

bool tt_html_open(struct tt_text *out, const struct tt_page_head *head, struct tt_error *err)
{
    struct tt_text style = {0}, script = {0};
    add_lines(&style, head->style);
    add_scripts(&script, head->scripts);
    bool has_failed = style.has_failed || script.has_failed;
    if (!has_failed) {
        tt_text_add(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
        add_policy(out, &style, &script);
        tt_text_add(
            out,
            "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
            "<meta name=\"color-scheme\" content=\"light dark\">\n<meta name=\"referrer\" content=\"no-referrer\">\n");
        add_title(out, head->title);
        tt_text_add(out, "<style>");
        tt_text_add_bytes(out, style.data ? style.data : "", style.length);
        tt_text_add(out, "</style>\n</head>\n<body>\n");
    }
    tt_text_free(&style);
    tt_text_free(&script);
    return !has_failed || tt_fail_memory(err);
}

void tt_html_close(struct tt_text *out, const struct tt_page_head *head, const char *data)
{
    if (*data) {
        tt_text_add(out, "<script type=\"application/json\" id=\"data\">");
        tt_text_add(out, data);
        tt_text_add(out, "</script>\n");
    }
    tt_text_add(out, "<script>");
    add_scripts(out, head->scripts);
    tt_text_add(out, "</script>\n</body>\n</html>\n");
}
