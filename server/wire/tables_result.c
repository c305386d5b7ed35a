/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members of calibrations, services and checks, and what a line of an export adds to any record.
 */
#include "members.h"

/* ---- calibration ---- */

const struct member move_members[] = {
    NUMBER(struct move, bias), NUMBER(struct move, level), NUMBER(struct move, low_db), NUMBER(struct move, high_db), MEMBERS_END,
};

const struct member proof_members[] = {
    NUMBER(struct proof, hz),
    NUMBER(struct proof, left_db),
    NUMBER(struct proof, right_db),
    MEMBERS_END,
};

static void read_moves(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct calibration *c = record;
    size_t count;
    if (!read_array(r, name, value, LIMIT_MOVES, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        c->moves[i] = (struct move){ABSENT, ABSENT, ABSENT, ABSENT};
        read_inner(r, name, (int)i, json_array_get(value, i), move_members, &c->moves[i], "a move");
    }
    c->move_count = (int)count;
}

static void read_proof(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct calibration *c = record;
    size_t count;
    if (!read_array(r, name, value, LIMIT_PROOF, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        c->proof[i] = (struct proof){ABSENT, ABSENT, ABSENT};
        read_inner(r, name, (int)i, json_array_get(value, i), proof_members, &c->proof[i], "a proof tone");
    }
    c->proof_count = (int)count;
}

static void write_list(struct buffer *b, const char *name, const struct member *table, const void *first, size_t size, int count)
{
    if (!count)
        return;
    json_name(b, name);
    buffer_char(b, '[');
    for (int i = 0; i < count; i++) {
        buffer_text(b, i ? ",{" : "{");
        write_members(b, table, (const char *)first + size * (size_t)i, true);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_moves(struct buffer *b, const char *name, const void *record, bool as_line)
{
    (void)as_line;
    const struct calibration *c = record;
    write_list(b, name, move_members, c->moves, sizeof *c->moves, c->move_count);
}

static void write_proof(struct buffer *b, const char *name, const void *record, bool as_line)
{
    (void)as_line;
    const struct calibration *c = record;
    write_list(b, name, proof_members, c->proof, sizeof *c->proof, c->proof_count);
}

#define PLACE(member_name, kind)                                                                                                           \
    {                                                                                                                                      \
        .name = member_name, .type = MEMBER_PLACE, .at = offsetof(struct calibration, position_typed),                                     \
        .room = offsetof(struct calibration, position_kind), .not_given = kind                                                             \
    }

const struct member calibration_members[] = {
    UUID(struct calibration),
    SLUG(struct calibration, deck),
    SLUG(struct calibration, stock),
    SLUG(struct calibration, setup),
    CHOICE(struct calibration, channel, channel_choice, CHANNEL_BOTH),
    CHOICE_OR_NONE(struct calibration, side, side_choice, SIDE_NONE),
    TEXT(struct calibration, batch),
    TEXT(struct calibration, tape),
    MADE_AT(struct calibration),
    PLACE("position_s", POSITION_S),
    PLACE("position_turns", POSITION_TURNS),
    PLACE("position_counter", POSITION_COUNTER),
    PLACE("position_part", POSITION_PART),
    WHOLE(struct calibration, recordings, -1),
    NUMBER(struct calibration, bias),
    NUMBER(struct calibration, level),
    NUMBER(struct calibration, eq),
    CHOICE(struct calibration, bias_stop, stop_choice, STOP_NONE),
    CHOICE(struct calibration, level_stop, stop_choice, STOP_NONE),
    CHOICE(struct calibration, bias_method, method_choice, METHOD_FLAT),
    NUMBER(struct calibration, drop_db),
    NUMBER(struct calibration, drop_hz),
    NUMBER(struct calibration, low_db),
    NUMBER(struct calibration, high_db),
    NUMBER(struct calibration, low_balance_db),
    NUMBER(struct calibration, high_balance_db),
    NUMBER(struct calibration, low_hz),
    NUMBER(struct calibration, high_hz),
    NUMBER(struct calibration, tone_db),
    NUMBER(struct calibration, treble_db),
    NUMBER(struct calibration, unsteady_db),
    FLAG(struct calibration, settled, true),
    FLAG(struct calibration, noise_reduction, false),
    FLAG(struct calibration, mpx_filter, false),
    FLAG(struct calibration, for_noise_reduction, false),
    INNER("moves", read_moves, write_moves),
    INNER("proof", read_proof, write_proof),
    NUMBER(struct calibration, peak_db),
    NOTES(struct calibration),
    MEMBERS_END,
};

/* ---- service and check: in a PUT the own kind is `kind`; in a line that word says what the line is ---- */

#define SERVICE_MEMBERS(kind_name)                                                                                                         \
    {                                                                                                                                      \
        UUID(struct service), SLUG(struct service, deck), MADE_AT(struct service),                                                         \
            {.name = kind_name, .type = MEMBER_TEXT, .at = offsetof(struct service, kind), .room = MEMBER_ROOM(struct service, kind)},     \
            {.name = "resets", .type = MEMBER_FLAG, .at = offsetof(struct service, resets), .not_given = -1 /* always written */},         \
            NUMBER(struct service, bias_shift_db), NUMBER(struct service, level_shift_db), NOTES(struct service), MEMBERS_END              \
    }
const struct member service_members[] = SERVICE_MEMBERS("kind");
const struct member service_line_members[] = SERVICE_MEMBERS("service_kind");

#define CHECK_MEMBERS(kind_name)                                                                                                           \
    {                                                                                                                                      \
        UUID(struct deck_check), SLUG(struct deck_check, deck), MADE_AT(struct deck_check),                                                \
            {.name = kind_name,                                                                                                            \
             .type = MEMBER_CHOICE,                                                                                                        \
             .at = offsetof(struct deck_check, kind),                                                                                      \
             .choice = check_kind_choice,                                                                                                  \
             .not_given = -1},                                                                                                             \
            NUMBER(struct deck_check, low_db), NUMBER(struct deck_check, high_db), NUMBER(struct deck_check, low_balance_db),              \
            NUMBER(struct deck_check, high_balance_db), NOTES(struct deck_check), MEMBERS_END                                              \
    }
const struct member check_members[] = CHECK_MEMBERS("kind");
const struct member check_line_members[] = CHECK_MEMBERS("check_kind");

/* ---- what the book adds ---- */

const struct member added_members[] = {
    SERVER("seq"),  SERVER("revision"), SERVER("member"),  SERVER("logged_at"), SERVER("void"),
    SERVER("etag"), SERVER("origin"),   SERVER("place_s"), MEMBERS_END,
};

static void read_void(struct reading *r, const char *name, const json_t *value, void *record)
{
    static const struct member reason[] = {
        {.name = "reason", .type = MEMBER_TEXT, .at = offsetof(struct line, void_reason), .room = LIMIT_REASON},
        MEMBERS_END,
    };
    if (json_is_boolean(value)) { /* others may say no more than that */
        ((struct line *)record)->is_void = json_is_true(value);
        return;
    }
    ((struct line *)record)->is_void = true;
    if (json_is_object(value) && json_object_size(value) == 0) /* true says it without one; an object left empty is a slip */
        reading_wrong(r, "void.reason", "required", "say why it is void, as {\"reason\":\"…\"}, or write \"void\":true");
    read_inner(r, name, -1, value, reason, record, "void");
}

const struct member line_members[] = {
    WHOLE(struct line, revision, 0),
    TEXT(struct line, member),
    SLUG(struct line, origin),
    INNER("void", read_void, NULL) /* written from the stamp: records_out.c */,
    SERVER("kind"), /* read before the others */
    SERVER("seq"),
    SERVER("logged_at"),
    SERVER("etag"),
    SERVER("place_s"),
    MEMBERS_END,
};

const struct member line_end_members[] = {
    SERVER("kind"),
    {.name = "rows", .type = MEMBER_LARGE, .at = offsetof(struct line, end_rows)},
    {.name = "sha256", .type = MEMBER_TEXT, .at = offsetof(struct line, end_sha256), .room = 64},
    MEMBERS_END,
};
