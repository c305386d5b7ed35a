/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * JSON <-> plain records. wire/ is the only room that includes jansson; jansson parses, a small streaming writer writes.
 *
 * Readers: `false` and a fault (FAULT_MALFORMED not parsable; FAULT_UNACCEPTABLE unknown member, wrong type, too long, not in a list;
 * FAULT_MEMORY out of memory). All faults of one record are collected up to LIMIT_FAULTS; the field is the member's path, e.g. "moves[3].bias". Unknown members
 * are refused by name; duplicates too; numbers are finite; null is the same as not given. They only decode: whether a value makes sense is trade/check.h's
 * business. Texts land in the record or in the arena.
 *
 * `id` in a path and in the body must agree; a body without one takes the path's (`id` NULL = the body must have it). What a GET adds (seq, revision, member,
 * logged_at, void, etag, origin, place_s) is taken back and ignored, so that a record can be fetched, edited and put.
 */
#ifndef BIASBOOK_WIRE_WIRE_H
#define BIASBOOK_WIRE_WIRE_H

#include "../ground/buffer.h"
#include "../ground/fault.h"
#include "../ground/memory.h"
#include "../trade/records.h"

/* Once before the threads; readers call it themselves as well. */
void wire_start(void);

bool wire_read_deck(const char *json, size_t n, const char *id, struct arena *a, struct deck *out, struct fault *f);
bool wire_read_stock(const char *json, size_t n, const char *id, struct arena *a, struct stock *out, struct fault *f);
bool wire_read_calibration(const char *json, size_t n, const struct uuid *id, struct arena *a, struct calibration *out, struct fault *f);
/* `resets` is what the kind suggests when it is not given. */
bool wire_read_service(const char *json, size_t n, const char *deck, const struct uuid *id, struct arena *a, struct service *out,
                       struct fault *f);
bool wire_read_check(const char *json, size_t n, const char *deck, const struct uuid *id, struct arena *a, struct deck_check *out,
                     struct fault *f);
/* {"reason":"…"}, not blank */
bool wire_read_void(const char *json, size_t n, char reason[LIMIT_REASON + 1], struct fault *f);

/* ---- one line of NDJSON or one row of CSV (turned into the same members) ---- */
enum line_kind { LINE_DECK, LINE_STOCK, LINE_CALIBRATION, LINE_SERVICE, LINE_CHECK, LINE_END };
/* A line's `kind` says which record it is; a service's own kind is then `service_kind`, a check's `check_kind`. */
struct line {
    enum line_kind kind;
    union {
        struct deck deck;
        struct stock stock;
        struct calibration calibration;
        struct service service;
        struct deck_check check;
    } as;
    int revision; /* 0 = not given */
    bool is_void;
    char void_reason[LIMIT_REASON + 1];
    char member[LIMIT_NAME + 1]; /* "" = not given */
    char origin[LIMIT_SLUG + 1]; /* "" = not given */
    int64_t end_rows;            /* LINE_END */
    char end_sha256[65];
};
bool wire_read_line(const char *json, size_t n, struct arena *a, struct line *out, struct fault *f);

/* ---- writers: append one JSON object. Members not given are left out. With `stamp`, adds seq, revision, member, logged_at, origin, void {"reason"}.
 * Without `as_line` choices and flags are written also where they have their default, absent dials are null, and the place on the reel that was worked out from what was typed
 * is added as `place_s` (exactly one of the position_* members is in a record). With `as_line`, begins with "kind", leaves out defaults and what only this server knows (seq,
 * logged_at, place_s), and ends without a line end. What a writer writes, the reader reads back to the same record. ---- */
void wire_write_deck(struct buffer *b, const struct deck *d, const struct stamp *stamp, bool as_line);
void wire_write_stock(struct buffer *b, const struct stock *s, const struct stamp *stamp, bool as_line);
void wire_write_calibration(struct buffer *b, const struct calibration *c, const struct stamp *stamp, bool as_line);
void wire_write_service(struct buffer *b, const struct service *s, const struct stamp *stamp, bool as_line);
void wire_write_check(struct buffer *b, const struct deck_check *c, const struct stamp *stamp, bool as_line);

/* ---- pieces for hot replies ---- */
/* JSON text of a string, quotes included; invalid UTF-8 becomes U+FFFD. NULL is "". */
void json_text(struct buffer *b, const char *text);
/* Writes `"name":` with a comma before it unless right after { or [. The name is written as it is. */
void json_name(struct buffer *b, const char *name);
/* Name and value. Numbers that are not finite become null; so does CLOCK_NONE. */
void json_member_text(struct buffer *b, const char *name, const char *text);
void json_member_number(struct buffer *b, const char *name, double value); /* reads back to the same double */
void json_member_fixed(struct buffer *b, const char *name, double value, int decimals);
void json_member_whole(struct buffer *b, const char *name, int64_t value);
void json_member_flag(struct buffer *b, const char *name, bool value);
void json_member_time(struct buffer *b, const char *name, int64_t us, int offset_minutes);

/* RFC 9457: {"type","title","status","detail","errors":[{"field","code","detail"}]} and a line end. */
void wire_write_problem(struct buffer *b, int status, const struct fault *f);

#endif
