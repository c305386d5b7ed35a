/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Records as JSON objects, for replies and for lines of an export.
 */
#include "members.h"

#include "../trade/check.h"

static void begin(struct buffer *b, const char *kind, bool as_line)
{
    buffer_char(b, '{');
    if (as_line)
        json_member_text(b, "kind", kind);
}

static void write_stamp(struct buffer *b, const struct stamp *s, bool as_line)
{
    if (!s)
        return;
    if (!as_line)
        json_member_whole(b, "seq", s->seq);
    json_member_whole(b, "revision", s->revision);
    if (*s->member)
        json_member_text(b, "member", s->member);
    if (!as_line)
        json_member_time(b, "logged_at", s->stored_us, 0);
    if (*s->origin)
        json_member_text(b, "origin", s->origin);
    if (s->is_void) {
        json_name(b, "void");
        buffer_char(b, '{');
        json_member_text(b, "reason", s->void_reason);
        buffer_char(b, '}');
    }
}

static void write_record(struct buffer *b, const char *kind, const struct member *table, const void *record, const struct stamp *stamp,
                         bool as_line)
{
    begin(b, kind, as_line);
    write_members(b, table, record, as_line);
    write_stamp(b, stamp, as_line);
    buffer_char(b, '}');
}

/* A line holds what was typed; a reply also tells what holds where nothing was: a deck's tones and its setup, a calibration's setup. */
void wire_write_deck(struct buffer *b, const struct deck *d, const struct stamp *stamp, bool as_line)
{
    if (as_line) {
        write_record(b, "deck", deck_members, d, stamp, true);
        return;
    }
    struct deck told = *d;
    told.low_hz = deck_low_hz(d);
    told.high_hz = deck_high_hz(d);
    told.tone_db = deck_tone_db(d);
    write_record(b, "deck", deck_members, &told, stamp, false);
}

void wire_write_stock(struct buffer *b, const struct stock *s, const struct stamp *stamp, bool as_line)
{
    write_record(b, "stock", stock_members, s, stamp, as_line);
}

void wire_write_calibration(struct buffer *b, const struct calibration *c, const struct stamp *stamp, bool as_line)
{
    begin(b, "calibration", as_line);
    write_members(b, calibration_members, c, as_line);
    if (!as_line && !*c->setup)
        json_member_text(b, "setup", "main");
    if (!as_line && c->position_kind != POSITION_S && given(c->position_s))
        json_member_fixed(b, "place_s", c->position_s, 1);
    write_stamp(b, stamp, as_line);
    buffer_char(b, '}');
}

void wire_write_service(struct buffer *b, const struct service *s, const struct stamp *stamp, bool as_line)
{
    write_record(b, "service", as_line ? service_line_members : service_members, s, stamp, as_line);
}

void wire_write_check(struct buffer *b, const struct deck_check *c, const struct stamp *stamp, bool as_line)
{
    write_record(b, "check", as_line ? check_line_members : check_members, c, stamp, as_line);
}
