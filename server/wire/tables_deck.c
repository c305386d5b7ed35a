/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members of decks and stocks, with the inner ones: dials, setups, counter, aliases.
 */
#include "members.h"

#include <stdio.h>

/* ---- dial ---- */

static void read_points(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct dial *d = record;
    size_t count;
    if (!read_array(r, name, value, LIMIT_DIAL_POINTS, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        char field[32];
        const json_t *pair = json_array_get(value, i);
        snprintf(field, sizeof field, "%s[%zu]", name, i);
        if (!json_is_array(pair) || json_array_size(pair) != 2) {
            reading_wrong(r, field, "wrong-type", "a pair [reading, dB] is needed");
            return;
        }
        for (size_t k = 0; k < 2; k++)
            if (!read_number(r, field, json_array_get(pair, k), &d->points[i][k]))
                return;
    }
    d->point_count = (int)count;
}

static void write_points(struct buffer *b, const char *name, const void *record, bool as_line)
{
    (void)as_line;
    const struct dial *d = record;
    if (!d->point_count)
        return;
    json_name(b, name);
    for (int i = 0; i < d->point_count; i++) {
        buffer_text(b, i ? ",[" : "[[");
        buffer_double(b, d->points[i][0]);
        buffer_char(b, ',');
        buffer_double(b, d->points[i][1]);
        buffer_char(b, ']');
    }
    buffer_char(b, ']');
}

const struct member dial_members[] = {
    TEXT(struct dial, unit),
    NUMBER(struct dial, low),
    NUMBER(struct dial, high),
    NUMBER(struct dial, step),
    NUMBER(struct dial, zero),
    CHOICE(struct dial, plus, plus_choice, PLUS_MORE),
    CHOICE(struct dial, scale, scale_choice, SCALE_NONE),
    NUMBER(struct dial, db_per_unit),
    INNER("points", read_points, write_points),
    MEMBERS_END,
};

static struct dial *dial_of(const void *record, const char *name)
{
    struct deck *d = (void *)(uintptr_t)record;
    return name[0] == 'b' ? &d->bias_dial : name[0] == 'l' ? &d->level_dial : &d->eq_dial;
}

static void read_dial(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct dial *d = dial_of(record, name);
    d->present = true;
    read_inner(r, name, -1, value, dial_members, d, "a dial");
}

static void write_dial(struct buffer *b, const char *name, const void *record, bool as_line)
{
    const struct dial *d = dial_of(record, name);
    if (!d->present && as_line)
        return;
    json_name(b, name);
    if (!d->present) {
        buffer_text(b, "null");
        return;
    }
    buffer_char(b, '{');
    write_members(b, dial_members, d, as_line);
    buffer_char(b, '}');
}

/* ---- setups ---- */

const struct member setup_members[] = {
    SLUG(struct setup, id),
    NUMBER(struct setup, speed_mm_s),
    TEXT(struct setup, equalisation),
    TEXT(struct setup, selector),
    CHOICE(struct setup, direction, direction_choice, DIRECTION_FORWARD),
    MEMBERS_END,
};

static void read_setups(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct deck *d = record;
    size_t count;
    if (!read_array(r, name, value, LIMIT_SETUPS, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        d->setups[i].speed_mm_s = ABSENT;
        read_inner(r, name, (int)i, json_array_get(value, i), setup_members, &d->setups[i], "a setup");
    }
    d->setup_count = (int)count;
}

static void write_setups(struct buffer *b, const char *name, const void *record, bool as_line)
{
    const struct deck *d = record;
    if (!d->setup_count && as_line)
        return;
    json_name(b, name);
    if (!d->setup_count) { /* what every deck has */
        buffer_text(b, "[{\"id\":\"main\",\"direction\":\"forward\"}]");
        return;
    }
    buffer_char(b, '[');
    for (int i = 0; i < d->setup_count; i++) {
        buffer_text(b, i ? ",{" : "{");
        write_members(b, setup_members, &d->setups[i], as_line);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

/* ---- counter ---- */

static const char *counter_choice(int v)
{
    static const char *const names[] = {
        [COUNTER_NONE] = "none", [COUNTER_TIME] = "time", [COUNTER_TURNS] = "turns", [COUNTER_POINTS] = "points"};
    return v >= 0 && v <= COUNTER_POINTS ? names[v] : NULL;
}

static const struct member counter_point_members[] = {
    NUMBER(struct counter_point, side_minutes), NUMBER(struct counter_point, c1),   NUMBER(struct counter_point, t1_s),
    NUMBER(struct counter_point, c2),           NUMBER(struct counter_point, t2_s), MEMBERS_END,
};

static void read_counter_points(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct counter *c = record;
    size_t count;
    if (!read_array(r, name, value, LIMIT_COUNTER_POINTS, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        c->points[i] = (struct counter_point){ABSENT, ABSENT, ABSENT, ABSENT, ABSENT};
        read_inner(r, name, (int)i, json_array_get(value, i), counter_point_members, &c->points[i], "a counter point");
    }
    c->point_count = (int)count;
}

static void write_counter_points(struct buffer *b, const char *name, const void *record, bool as_line)
{
    const struct counter *c = record;
    if (!c->point_count)
        return;
    json_name(b, name);
    buffer_char(b, '[');
    for (int i = 0; i < c->point_count; i++) {
        buffer_text(b, i ? ",{" : "{");
        write_members(b, counter_point_members, &c->points[i], as_line);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static const struct member counter_members[] = {
    CHOICE(struct counter, kind, counter_choice, COUNTER_NONE),
    NUMBER(struct counter, turns_per_count),
    INNER("points", read_counter_points, write_counter_points),
    MEMBERS_END,
};

static void read_counter(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct counter *c = &((struct deck *)record)->counter;
    read_inner(r, name, -1, value, counter_members, c, "a counter");
    if (r->fine && c->kind == COUNTER_NONE && !json_object_get(value, "kind"))
        reading_wrong(r, "counter.kind", "required", "say what it counts: time, turns or points");
    if (c->kind != COUNTER_TURNS && given(c->turns_per_count))
        reading_wrong(r, "counter.turns_per_count", "not-for-kind", "it belongs to a counter of kind 'turns' only; leave it out");
    if (c->kind != COUNTER_POINTS && c->point_count)
        reading_wrong(r, "counter.points", "not-for-kind", "they belong to a counter of kind 'points' only; leave them out");
}

static void write_counter(struct buffer *b, const char *name, const void *record, bool as_line)
{
    const struct counter *c = &((const struct deck *)record)->counter;
    if (c->kind == COUNTER_NONE)
        return;
    json_name(b, name);
    buffer_char(b, '{');
    write_members(b, counter_members, c, as_line);
    buffer_char(b, '}');
}

const struct member deck_members[] = {
    SLUG(struct deck, id),
    TEXT(struct deck, name),
    TEXT(struct deck, model),
    CHOICE(struct deck, medium, medium_choice, MEDIUM_NONE),
    WHOLE(struct deck, heads, -1),
    WHOLE(struct deck, tracks, -1),
    INNER("bias_dial", read_dial, write_dial),
    INNER("level_dial", read_dial, write_dial),
    INNER("eq_dial", read_dial, write_dial),
    FLAG(struct deck, per_channel, false),
    INNER("setups", read_setups, write_setups),
    INNER("counter", read_counter, write_counter),
    NUMBER(struct deck, low_hz),
    NUMBER(struct deck, high_hz),
    NUMBER(struct deck, tone_db),
    NUMBER(struct deck, reference_nwb_m),
    NUMBER(struct deck, meter_step_db),
    NUMBER(struct deck, warm_up_minutes),
    NOTES(struct deck),
    MEMBERS_END,
};

/* ---- stock ---- */

static void read_aliases(struct reading *r, const char *name, const json_t *value, void *record)
{
    struct stock *s = record;
    size_t count;
    if (!read_array(r, name, value, LIMIT_ALIASES, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        char field[32];
        snprintf(field, sizeof field, "%s[%zu]", name, i);
        read_text(r, field, json_array_get(value, i), s->aliases[i], LIMIT_NAME);
    }
    s->alias_count = (int)count;
}

static void write_aliases(struct buffer *b, const char *name, const void *record, bool as_line)
{
    (void)as_line;
    const struct stock *s = record;
    if (!s->alias_count)
        return;
    json_name(b, name);
    buffer_char(b, '[');
    for (int i = 0; i < s->alias_count; i++) {
        if (i)
            buffer_char(b, ',');
        json_text(b, s->aliases[i]);
    }
    buffer_char(b, ']');
}

const struct member stock_members[] = {
    SLUG(struct stock, id),
    TEXT(struct stock, name),
    TEXT(struct stock, family),
    {.name = "class", .type = MEMBER_CHOICE, .at = offsetof(struct stock, tape_class), .choice = class_choice, .not_given = CLASS_NONE},
    CHOICE(struct stock, medium, medium_choice, MEDIUM_NONE),
    INNER("aliases", read_aliases, write_aliases),
    TEXT(struct stock, wrapper),
    YEAR(struct stock, made_from),
    YEAR(struct stock, made_to),
    NUMBER(struct stock, side_minutes),
    NUMBER(struct stock, length_m),
    NUMBER(struct stock, thickness_um),
    NUMBER(struct stock, hub_mm),
    NUMBER(struct stock, sheet_bias_db),
    NUMBER(struct stock, sheet_level_db),
    NOTES(struct stock),
    MEMBERS_END,
};
