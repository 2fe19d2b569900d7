/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Values for our JSON files. Any of them may be NULL when out of memory: the object they are put into then says so. */
#ifndef TT_REPORT_JSON_VALUES_H
#define TT_REPORT_JSON_VALUES_H

#include <jansson.h>

#include "report/report.h"

/* Digits behind the point, so that files are stable and short: levels in 1/1000 dB, times to the microsecond. */
enum { TT_DECIMALS_LEVEL = 3, TT_DECIMALS_SECONDS = 6 };

/* Of session.json and of a take's report: ten hours of dense decisions are some ten megabytes. */
enum { TT_JSON_MOST_BYTES = 256 << 20 };

double tt_rounded(double value, int decimals);      /* what is not finite stays as it is */
json_t *tt_json_number(double value, int decimals); /* null when not finite */
json_t *tt_json_utf8(const char *text);             /* null for NULL; bytes that are no UTF-8 become U+FFFD */

/* {"name":"tidytake","version":...} */
json_t *tt_json_program(void);
/* The figures of before{} and after{}. */
json_t *tt_json_measured(const struct tt_after *measured);
json_t *tt_json_warning(const char *code, const char *message, double at_s);
json_t *tt_json_warnings(const struct tt_warning *warnings, size_t count);

/* Puts value (owned from now on) at key, or appends it; false when something was out of memory. */
bool tt_json_put(json_t *object, const char *key, json_t *value);
bool tt_json_push(json_t *array, json_t *value);

/* Adds the text of a file with so many digits in its numbers: enough for microseconds in days of sound (17 would show
 * 0.1 as 0.10000000000000001), or enough for any number to be read back the same. */
enum { TT_DIGITS_SHORT = 14, TT_DIGITS_EXACT = 17 };
bool tt_json_add_text(const json_t *object, int digits, struct tt_text *out, struct tt_error *err);

/* Reading back: false when there is no such key of that kind. `number` takes null as `fallback`. */
bool tt_json_get_number(const json_t *object, const char *key, double fallback, double *value);
bool tt_json_get_whole(const json_t *object, const char *key, int64_t least, int64_t most, int64_t *value);
bool tt_json_get_rate(const json_t *object, int *rate_hz); /* "rate_hz" */
#define TT_JSON_MOST_FRAMES (INT64_C(1) << 53)             /* what JSON readers hold exactly: RFC 8259, section 6 */
/* A place or length in sound. */
bool tt_json_get_frames(const json_t *object, const char *key, int64_t *frames);
bool tt_json_get_text(const json_t *object, const char *key, char *text, size_t capacity);
bool tt_json_get_measured(const json_t *object, struct tt_after *measured);

#endif
