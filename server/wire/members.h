/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a record's JSON members are, as tables: one row a member, with its type and where it lives in the record. The reader, the writer, CSV and the form all
 * go by the same rows, so a member is added in one place. Not for other rooms.
 */
#ifndef BIASBOOK_WIRE_MEMBERS_H
#define BIASBOOK_WIRE_MEMBERS_H

#include "parse.h"
#include "wire.h"

enum member_type {
    MEMBER_TEXT,   /* char[room + 1], one line, "" not given */
    MEMBER_YEAR,   /* the same; a year written as a number is taken too */
    MEMBER_SLUG,   /* the same of an id: spaces around it do not count in CSV and forms */
    MEMBER_NOTES,  /* const char *, in the arena, several lines, NULL not given */
    MEMBER_NUMBER, /* double, ABSENT not given */
    MEMBER_WHOLE,  /* int, `not_given` not given */
    MEMBER_LARGE,  /* int64_t, -1 not given */
    MEMBER_FLAG,   /* bool, `not_given` when not given */
    MEMBER_CHOICE, /* an enum, `not_given` when not given; room 1: then never written */
    MEMBER_TIME,   /* int64_t microseconds; room is where the int offset minutes lives */
    MEMBER_UUID,   /* struct uuid, all zero not given */
    MEMBER_INNER,  /* an object or array with functions of its own; write NULL = not written by the table */
    MEMBER_PLACE,  /* one of the position members of a calibration: not_given is its kind; room is where the kind lives */
    MEMBER_SERVER, /* what GET adds: taken back and ignored */
};

struct reading {
    struct fault *f;
    struct arena *a;
    char prefix[64]; /* "moves[3]." */
    bool fine;
};
struct member {
    const char *name;
    enum member_type type;
    size_t at, room;
    int not_given;
    const char *(*choice)(int value); /* name of an enum value, NULL past the last */
    void (*read)(struct reading *r, const char *name, const json_t *value, void *record);
    void (*write)(struct buffer *b, const char *name, const void *record, bool as_line);
};

/* Tables end with a row without a name. */
#define MEMBERS_END                                                                                                                        \
    {                                                                                                                                      \
        .name = NULL                                                                                                                       \
    }
#define MEMBER_ROOM(record, m) (sizeof(((record *)0)->m) - 1)
#define TEXT(record, m)                                                                                                                    \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_TEXT, .at = offsetof(record, m), .room = MEMBER_ROOM(record, m)                                         \
    }
#define YEAR(record, m)                                                                                                                    \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_YEAR, .at = offsetof(record, m), .room = MEMBER_ROOM(record, m)                                         \
    }
#define SLUG(record, m)                                                                                                                    \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_SLUG, .at = offsetof(record, m), .room = MEMBER_ROOM(record, m)                                         \
    }
#define NOTES(record)                                                                                                                      \
    {                                                                                                                                      \
        .name = "notes", .type = MEMBER_NOTES, .at = offsetof(record, notes)                                                               \
    }
#define NUMBER(record, m)                                                                                                                  \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_NUMBER, .at = offsetof(record, m)                                                                       \
    }
#define WHOLE(record, m, none)                                                                                                             \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_WHOLE, .at = offsetof(record, m), .not_given = none                                                     \
    }
#define FLAG(record, m, none)                                                                                                              \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_FLAG, .at = offsetof(record, m), .not_given = none                                                      \
    }
#define CHOICE(record, m, list, none)                                                                                                      \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_CHOICE, .at = offsetof(record, m), .choice = list, .not_given = none                                    \
    }
#define CHOICE_OR_NONE(record, m, list, none)                                                                                              \
    {                                                                                                                                      \
        .name = #m, .type = MEMBER_CHOICE, .at = offsetof(record, m), .room = 1, .choice = list, .not_given = none                         \
    }
#define MADE_AT(record)                                                                                                                    \
    {                                                                                                                                      \
        .name = "made_at", .type = MEMBER_TIME, .at = offsetof(record, made_at_us), .room = offsetof(record, made_at_offset_minutes)       \
    }
#define UUID(record)                                                                                                                       \
    {                                                                                                                                      \
        .name = "id", .type = MEMBER_UUID, .at = offsetof(record, id)                                                                      \
    }
#define INNER(member_name, reader, writer)                                                                                                 \
    {                                                                                                                                      \
        .name = member_name, .type = MEMBER_INNER, .read = reader, .write = writer                                                         \
    }
#define SERVER(member_name)                                                                                                                \
    {                                                                                                                                      \
        .name = member_name, .type = MEMBER_SERVER                                                                                         \
    }

extern const struct member deck_members[], stock_members[], calibration_members[];
extern const struct member service_members[], check_members[];           /* own kind is `kind`, as in a PUT */
extern const struct member service_line_members[], check_line_members[]; /* own kind is service_kind, check_kind */
extern const struct member dial_members[], setup_members[], move_members[], proof_members[];
extern const struct member added_members[];    /* what GET adds to a record: ignored in a PUT */
extern const struct member line_members[];     /* what a line adds to a record (struct line) */
extern const struct member line_end_members[]; /* struct line */

const struct member *member_find(const struct member *table, const char *name); /* NULL: unknown */

/* ---- reading ---- */
void reading_start(struct reading *r, struct arena *a, struct fault *f);
/* Adds a fault at prefix + name. */
void reading_wrong(struct reading *r, const char *name, const char *code, const char *format, ...) __attribute__((format(printf, 4, 5)));
void reading_memory(struct reading *r);
struct member_set {
    const struct member *table;
    void *record;
};
/* All members of an object, each looked up in the sets in turn; null is not given; unknown ones are refused by name. `what` is for the detail: "a deck". */
void read_members(struct reading *r, const json_t *object, const struct member_set *sets, int set_count, const char *what);
/* One inner object with its own prefix `name.` (or `name[index].` when index >= 0). */
void read_inner(struct reading *r, const char *name, int index, const json_t *value, const struct member *table, void *record,
                const char *what);
/* An array of at most `limit`; false when it is none. */
bool read_array(struct reading *r, const char *name, const json_t *value, size_t limit, size_t *count);
bool read_number(struct reading *r, const char *name, const json_t *value, double *out);
/* A text of one line into char[room + 1]. */
bool read_text(struct reading *r, const char *name, const json_t *value, char *out, size_t room);

/* ---- writing: given members as `,"name":value`; with as_line those that have their default are left out too ---- */
void write_members(struct buffer *b, const struct member *table, const void *record, bool as_line);

/* ---- names of enum values ---- */
const char *class_choice(int v), *medium_choice(int v), *plus_choice(int v), *scale_choice(int v), *direction_choice(int v),
    *channel_choice(int v), *side_choice(int v), *stop_choice(int v), *method_choice(int v), *check_kind_choice(int v), *plan_choice(int v);

#endif
