/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * JSON written straight into a buffer (RFC 8259): no tree, no allocation but the buffer's own. Hot replies go through here, so runs of plain bytes are
 * copied as one.
 */
#include "wire.h"

#include "utf8.h"

#include <stdint.h>
#include <string.h>

/* Bytes that may stand in a JSON string as they are: printable ASCII but quote and backslash. */
static inline bool plain(unsigned char c)
{
    return c >= 0x20 && c < 0x7F && c != '"' && c != '\\';
}

#define EACH(byte) (UINT64_C(0x0101010101010101) * (byte))

/* The same of eight bytes at once. Each term sets the top bit of a byte that may not stand: a borrow can only add bits above such a byte, so none is missed. */
static inline bool plain_eight(const char *p)
{
    uint64_t w;
    memcpy(&w, p, sizeof w);
    uint64_t quote = w ^ EACH('"'), back = w ^ EACH('\\'), del = w ^ EACH(0x7F);
    uint64_t bad = w | (w - EACH(0x20)) | (quote - EACH(1)) | (back - EACH(1)) | (del - EACH(1));
    return !(bad & EACH(0x80));
}

static void escaped(struct buffer *b, unsigned char c)
{
    static const char hex[] = "0123456789abcdef";
    char text[6] = {'\\', 'u', '0', '0', hex[c >> 4], hex[c & 15]};
    const char *shorter = c == '"' ? "\\\"" : c == '\\' ? "\\\\" : c == '\n' ? "\\n" : c == '\r' ? "\\r" : c == '\t' ? "\\t" : NULL;
    if (shorter)
        buffer_add(b, shorter, 2);
    else
        buffer_add(b, text, sizeof text);
}

void json_text(struct buffer *b, const char *text)
{
    const char *p = text ? text : "", *end = p + strlen(p);
    buffer_char(b, '"');
    while (p < end) {
        const char *run = p;
        while (end - p >= 8 && plain_eight(p))
            p += 8;
        while (p < end && plain((unsigned char)*p))
            p++;
        buffer_add(b, run, (size_t)(p - run));
        if (p == end)
            break;
        size_t step = utf8_step(p, (size_t)(end - p));
        if (step == 1)
            escaped(b, (unsigned char)*p);
        else if (step)
            buffer_add(b, p, step);
        else
            buffer_text(b, "\xEF\xBF\xBD"); /* U+FFFD */
        p += step ? step : 1;
    }
    buffer_char(b, '"');
}

void json_name(struct buffer *b, const char *name)
{
    char last = b->length ? b->data[b->length - 1] : '{';
    if (last != '{' && last != '[')
        buffer_char(b, ',');
    buffer_char(b, '"');
    buffer_text(b, name);
    buffer_add(b, "\":", 2);
}

void json_member_text(struct buffer *b, const char *name, const char *text)
{
    json_name(b, name);
    json_text(b, text);
}

void json_member_number(struct buffer *b, const char *name, double value)
{
    json_name(b, name);
    buffer_double(b, value);
}

void json_member_fixed(struct buffer *b, const char *name, double value, int decimals)
{
    json_name(b, name);
    buffer_fixed(b, value, decimals);
}

void json_member_whole(struct buffer *b, const char *name, int64_t value)
{
    json_name(b, name);
    buffer_int(b, value);
}

void json_member_flag(struct buffer *b, const char *name, bool value)
{
    json_name(b, name);
    buffer_text(b, value ? "true" : "false");
}

void json_member_time(struct buffer *b, const char *name, int64_t us, int offset_minutes)
{
    char text[CLOCK_TEXT];
    json_name(b, name);
    if (us == CLOCK_NONE)
        buffer_text(b, "null");
    else
        json_text(b, clock_format(us, offset_minutes, text));
}
