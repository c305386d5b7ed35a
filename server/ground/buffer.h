/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Growing bytes with a maximum from birth. A failed append sets `failed` (sticky) and leaves the rest unharmed, so a
 * writer checks once at the end. Numbers are written without the locale, shortest form for the decimals asked.
 */
#ifndef BIASBOOK_GROUND_BUFFER_H
#define BIASBOOK_GROUND_BUFFER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

struct buffer {
    char *data; /* NUL-terminated whenever not NULL; the NUL is not counted */
    size_t length, capacity, max;
    bool failed;    /* out of memory or past max */
    bool too_large; /* it was the maximum */
};

void buffer_init(struct buffer *b, size_t max);                        /* allocates nothing */
void buffer_free(struct buffer *b);                                    /* usable again afterwards with the same max */
void buffer_clear(struct buffer *b);                                   /* length 0, failed false, memory kept */
void buffer_add_slowly(struct buffer *b, const void *bytes, size_t n); /* grows first; for buffer_add alone */
/* Replies are hundreds of small pieces: what fits is copied in place, so that pieces of known length cost a store or two. */
static inline void buffer_add(struct buffer *b, const void *bytes, size_t n)
{
    if (b->failed || b->capacity - b->length <= n) {
        buffer_add_slowly(b, bytes, n);
        return;
    }
    memcpy(b->data + b->length, bytes, n);
    b->length += n;
    b->data[b->length] = '\0';
}
/* After writing what a scratch buffer held: what is missing there is missing here. */
static inline void buffer_inherit(struct buffer *b, const struct buffer *scratch)
{
    b->failed = b->failed || scratch->failed;
}
static inline void buffer_text(struct buffer *b, const char *text) /* NULL: nothing */
{
    if (text)
        buffer_add(b, text, strlen(text));
}
static inline void buffer_char(struct buffer *b, char c)
{
    buffer_add(b, &c, 1);
}
void buffer_int(struct buffer *b, int64_t value);
/* `value` rounded half away from zero to `decimals` (0..9), trailing zeros dropped, never "-0"; not finite: "null". |value| >= 1e15: %.17g. */
void buffer_fixed(struct buffer *b, double value, int decimals);
/* Shortest text that reads back to the same double; not finite: "null". */
void buffer_double(struct buffer *b, double value);
void buffer_format(struct buffer *b, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Gives the bytes away (caller frees with mem_free); the buffer is empty afterwards. NULL when nothing was written. */
char *buffer_steal(struct buffer *b) __attribute__((warn_unused_result));

/* Parses a whole decimal number, point only, no locale, no hex/inf/nan. True when all of text[0..n) was used and it is finite. */
bool number_parse(const char *text, size_t n, double *out);

#endif
