/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A line is put together in a fixed array and written with one call, so lines of several threads do not mix and logging works when memory is out.
 */
#include "log.h"

#include "clock.h"

#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>
#include <unistd.h>

#define LINE_BYTES 2048 /* a longer line is cut and ends in "..." */

static atomic_int lowest_level = LOG_INFO;

void log_set_level(enum log_level lowest)
{
    atomic_store(&lowest_level, (int)lowest);
}

struct line {
    char text[LINE_BYTES];
    size_t length;
    bool cut;
};

static void put(struct line *l, const char *bytes, size_t n)
{
    if (l->cut || n > sizeof l->text - 5 - l->length) { /* room for "...\n" stays */
        l->cut = true;
        return;
    }
    memcpy(l->text + l->length, bytes, n);
    l->length += n;
}

/* Characters that end a line or turn the direction of what follows in viewers that heed them, or are not seen at all (Unicode: Zl, Zp, Cf). */
static bool misleads(const unsigned char *p, size_t n)
{
    unsigned long c = n == 2   ? (p[0] & 0x1Ful) << 6 | (p[1] & 0x3Fu)
                      : n == 3 ? (p[0] & 0x0Ful) << 12 | (p[1] & 0x3Ful) << 6 | (p[2] & 0x3Fu)
                      : n == 4 ? (p[0] & 0x07ul) << 18 | (p[1] & 0x3Ful) << 12 | (p[2] & 0x3Ful) << 6 | (p[3] & 0x3Fu)
                               : 0;
    return c == 0xAD || c == 0x61C || c == 0x180E || (c >= 0x200B && c <= 0x200F) || (c >= 0x2028 && c <= 0x202E) ||
           (c >= 0x2060 && c <= 0x206F) || c == 0xFEFF || (c >= 0xFFF9 && c <= 0xFFFB) || (c >= 0xE0000 && c <= 0xE007F);
}

/* Length of the well-formed UTF-8 character at p (which is NUL-terminated), 0 when it is not one, is a C1 control or misleads. */
static size_t character(const unsigned char *p)
{
    size_t n = p[0] < 0x80 ? 1 : p[0] >= 0xC2 && p[0] < 0xE0 ? 2 : p[0] >= 0xE0 && p[0] < 0xF0 ? 3 : p[0] >= 0xF0 && p[0] < 0xF5 ? 4 : 0;
    for (size_t i = 1; i < n; i++)
        if ((p[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (p[0] == 0xE0 && p[1] < 0xA0) || (p[0] == 0xF0 && p[1] < 0x90);
    bool surrogate = p[0] == 0xED && p[1] >= 0xA0, beyond = p[0] == 0xF4 && p[1] >= 0x90, control = p[0] == 0xC2 && p[1] < 0xA0;
    return overlong || surrogate || beyond || control || misleads(p, n) ? 0 : n;
}

static bool needs_quotes(const char *value)
{
    if (!*value)
        return true;
    for (const unsigned char *p = (const unsigned char *)value; *p; p++)
        if (*p <= ' ' || *p == '"' || *p == '=' || *p == '\\' || *p >= 0x7F)
            return true;
    return false;
}

static void put_value(struct line *l, const char *value)
{
    static const char digit[] = "0123456789abcdef";
    if (!needs_quotes(value)) {
        put(l, value, strlen(value));
        return;
    }
    put(l, "\"", 1);
    for (const unsigned char *p = (const unsigned char *)value; *p;) {
        size_t n = character(p);
        if (*p == '"' || *p == '\\') {
            char escaped[2] = {'\\', (char)*p};
            put(l, escaped, 2);
        } else if (n == 0 || *p < ' ' || *p == 0x7F) {
            char escaped[4] = {'\\', 'x', digit[*p >> 4], digit[*p & 15]};
            put(l, escaped, 4);
            n = 1;
        } else {
            put(l, (const char *)p, n);
        }
        p += n;
    }
    put(l, "\"", 1);
}

void log_line(enum log_level level, const char *what, ...)
{
    static const char *const names[] = {"debug", "info", "warn", "error"};
    if ((int)level < atomic_load_explicit(&lowest_level, memory_order_relaxed))
        return;
    struct line l = {.length = 0, .cut = false};
    char now[CLOCK_TEXT];
    clock_format(clock_now_us(), 0, now);
    put(&l, now, strlen(now));
    put(&l, " ", 1);
    put(&l, names[level], strlen(names[level]));
    put(&l, " ", 1);
    put(&l, what, strlen(what));
    va_list ap;
    va_start(ap, what);
    for (const char *key; (key = va_arg(ap, const char *)) != NULL;) {
        const char *value = va_arg(ap, const char *);
        put(&l, " ", 1);
        put(&l, key, strlen(key));
        put(&l, "=", 1);
        put_value(&l, value ? value : "");
    }
    va_end(ap);
    const char *end = l.cut ? "...\n" : "\n";
    memcpy(l.text + l.length, end, strlen(end));
    l.length += strlen(end);
    ssize_t written = write(STDERR_FILENO, l.text, l.length);
    (void)written; /* nowhere left to complain */
}
