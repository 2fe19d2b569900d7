/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Looking into pages. Included behind hive_session.h. */
#ifndef PAGE_TEST_H
#define PAGE_TEST_H

#include <nettle/base64.h>
#include <nettle/sha2.h>

/* Quotes, brackets, an end of script, an emoji, a new line, a right-to-left mark and an override. */
#define HOSTILE "a\"b'<script>alert(1)</script><!--&\n\xF0\x9F\x90\x9D\xE2\x80\x8F\xE2\x80\xAE.wav"

static inline void assert_has(const char *page, const char *part)
{
    if (!strstr(page, part))
        fail_msg("not in the page: %s", part);
}

static inline void assert_lacks(const char *page, const char *part)
{
    if (strstr(page, part))
        fail_msg("in the page: %s", part);
}

static inline size_t count_of(const char *page, const char *part)
{
    size_t count = 0;
    for (const char *at = page; (at = strstr(at, part)) != NULL; at += strlen(part))
        count++;
    return count;
}

/* A copy of what stands between two marks. */
static inline char *between(const char *page, const char *from, const char *to)
{
    const char *start = strstr(page, from);
    if (!start)
        fail_msg("not in the page: %s", from);
    start += strlen(from);
    const char *end = strstr(start, to);
    if (!end)
        fail_msg("not in the page: %s", to);
    char *copy = calloc(1, (size_t)(end - start) + 1);
    assert_non_null(copy);
    memcpy(copy, start, (size_t)(end - start));
    return copy;
}

/* The policy names an element's content by its hash, worked out here by nettle alone (W3C CSP Level 3, 2.3.1). */
static inline void assert_allowed(const char *page, const char *from, const char *to, const char *directive)
{
    char *content = between(page, from, to), wanted[128];
    uint8_t digest[SHA256_DIGEST_SIZE];
    char base64[BASE64_ENCODE_RAW_LENGTH(SHA256_DIGEST_SIZE) + 1] = {0};
    struct sha256_ctx context;
    sha256_init(&context);
    sha256_update(&context, strlen(content), (const uint8_t *)content);
    sha256_digest(&context, sizeof digest, digest);
    base64_encode_raw(base64, sizeof digest, digest);
    snprintf(wanted, sizeof wanted, "%s 'sha256-%s';", directive, base64);
    assert_has(page, wanted);
    free(content);
}

/* Nothing from outside became an element, and nothing is asked from elsewhere. */
static inline void assert_harmless(const char *page)
{
    assert_lacks(page, "<script>alert");
    assert_lacks(page, "alert(1)</script");
    assert_lacks(page, "http:");
    assert_lacks(page, "https:");
    assert_lacks(page, " style=");
    assert_has(page, "default-src 'none'");
    assert_allowed(page, "<style>", "</style>", "style-src");
    assert_allowed(page, "<script>", "</script>", "script-src");
    assert_int_equal(count_of(page, "<script"), count_of(page, "</script"));
}

#endif
