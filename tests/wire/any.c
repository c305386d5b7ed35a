/* SPDX-License-Identifier: GPL-3.0-or-later
 * See any.h. */
#include "any.h"

#include "trade/check.h"
#include "trade/classes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

long below(long n)
{
    return random() % n;
}

static bool often(void)
{
    return below(4) != 0;
}

double any_number(void)
{
    double x;
    switch (below(6)) {
    case 0: return (double)(below(2001) - 1000);
    case 1: x = (double)(below(2000001) - 1000000) / 1e4; break;
    case 2: x = (double)random() / 3e7 - 30; break;
    case 3: x = ldexp((double)random(), (int)below(200) - 100); break;
    default: x = (double)(below(401) - 200) / 10; break;
    }
    return x < 0 || x > 0 ? x : 0.5;
}

static double maybe(void)
{
    return often() ? any_number() : ABSENT;
}

void any_bytes(char *out, size_t n, const char *likely)
{
    size_t count = strlen(likely);
    for (size_t i = 0; i < n; i++)
        out[i] = (char)(below(2) ? (unsigned char)likely[below((long)count)] : (unsigned char)below(256));
}

/* A text of up to `room` bytes of pieces that are hard on quoting, formulas and encodings. */
static const char *any_text(size_t room, bool notes)
{
    static char out[LIMIT_NOTES_BYTES + 1];
    static const char *const pieces[] = {
        "a",  "Blue 90", "=1+1", "+", "-", "@",    "'",    "\"",  ",", ";", " ", "\xC3\xA9", "\\", "\xE2\x82\xAC", "\xF0\x9F\x8E\x9B",
        "-5", "1.5",     "\"\"", "{", "]", "null", "true", "C90", "''"};
    static const char *const breaks[] = {"\n", "\r\n", "\t", "\n\n"};
    size_t used = 0;
    out[0] = '\0';
    for (long left = below(8) + 1; left > 0; left--) {
        const char *piece = notes && below(4) == 0 ? breaks[below(4)] : pieces[below(sizeof pieces / sizeof *pieces)];
        if (used + strlen(piece) > room)
            break;
        strcpy(out + used, piece);
        used += strlen(piece);
    }
    return out;
}

static void fill(char *to, size_t room)
{
    if (often())
        strcpy(to, any_text(room, false));
}
#define FILL(field) fill(field, sizeof(field) - 1)

static const char *any_notes(struct arena *a)
{
    const char *text = often() ? any_text(LIMIT_NOTES_BYTES, true) : "";
    return *text ? arena_text(a, text, strlen(text)) : NULL;
}

static void any_slug(char out[LIMIT_SLUG + 1])
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyz0123456789-";
    long n = 1 + below(12);
    for (long i = 0; i < n; i++)
        out[i] = letters[below(i ? 37 : 36)];
    out[n] = '\0';
}

static struct uuid any_uuid(void)
{
    struct uuid u;
    any_bytes((char *)u.bytes, 16, "0");
    u.bytes[6] = (uint8_t)((below(2) ? 0x40 : 0x70) | (u.bytes[6] & 15));
    u.bytes[8] = (uint8_t)(0x80 | (u.bytes[8] & 63));
    return u;
}

static int64_t any_time(int *offset)
{
    *offset = (int)(below(3) ? 0 : below(27 * 60) - 12 * 60);
    return ((int64_t)random() - 500000000) * 1000000 + (below(3) ? 0 : below(1000000));
}

static void any_dial(struct dial *d)
{
    if (!often())
        return;
    d->present = true;
    FILL(d->unit);
    d->low = maybe(), d->high = maybe(), d->step = maybe(), d->zero = maybe(), d->db_per_unit = maybe();
    d->plus = (enum dial_plus)below(2);
    d->scale = (enum dial_scale)below(5);
    d->point_count = (int)below(LIMIT_DIAL_POINTS + 1);
    for (int i = 0; i < d->point_count; i++)
        d->points[i][0] = any_number(), d->points[i][1] = any_number();
}

static void any_counter(struct counter *c)
{
    c->kind = (enum counter_kind)below(4);
    if (c->kind == COUNTER_TURNS)
        c->turns_per_count = maybe();
    if (c->kind != COUNTER_POINTS)
        return;
    c->point_count = (int)below(LIMIT_COUNTER_POINTS + 1);
    for (int i = 0; i < c->point_count; i++)
        c->points[i] = (struct counter_point){maybe(), maybe(), maybe(), maybe(), maybe()};
}

void any_deck(struct deck *d, struct arena *a)
{
    deck_init(d);
    any_slug(d->id);
    FILL(d->name);
    FILL(d->model);
    d->medium = (enum medium)(below(3) - 1);
    d->heads = (int)(below(3) ? below(4) : -1);
    d->tracks = (int)(below(3) ? below(9) : -1);
    any_dial(&d->bias_dial), any_dial(&d->level_dial), any_dial(&d->eq_dial);
    d->per_channel = below(2);
    d->setup_count = (int)below(LIMIT_SETUPS + 1);
    for (int i = 0; i < d->setup_count; i++) {
        any_slug(d->setups[i].id);
        d->setups[i].speed_mm_s = maybe();
        FILL(d->setups[i].equalisation);
        FILL(d->setups[i].selector);
        d->setups[i].direction = (enum direction)below(2);
    }
    any_counter(&d->counter);
    d->low_hz = maybe(), d->high_hz = maybe(), d->tone_db = maybe(), d->reference_nwb_m = maybe(), d->meter_step_db = maybe(),
    d->warm_up_minutes = maybe();
    d->notes = any_notes(a);
}

void any_stock(struct stock *s, struct arena *a)
{
    stock_init(s);
    any_slug(s->id);
    FILL(s->name);
    FILL(s->family);
    s->tape_class = (enum tape_class)(below(CLASS_COUNT + 1) - 1);
    s->medium = (enum medium)(below(3) - 1);
    s->alias_count = (int)below(LIMIT_ALIASES + 1);
    for (int i = 0; i < s->alias_count; i++)
        FILL(s->aliases[i]);
    FILL(s->wrapper);
    FILL(s->made_from);
    FILL(s->made_to);
    s->side_minutes = maybe(), s->length_m = maybe(), s->thickness_um = maybe(), s->hub_mm = maybe(), s->sheet_bias_db = maybe(),
    s->sheet_level_db = maybe();
    s->notes = any_notes(a);
}

void any_calibration(struct calibration *c, struct arena *a)
{
    calibration_init(c);
    c->id = any_uuid();
    any_slug(c->deck);
    any_slug(c->stock);
    if (often())
        any_slug(c->setup);
    c->channel = (enum channel)below(3);
    c->side = (enum side)below(3);
    FILL(c->batch);
    FILL(c->tape);
    if (often())
        c->made_at_us = any_time(&c->made_at_offset_minutes);
    c->position_kind = (enum position_kind)below(5);
    if (c->position_kind != POSITION_NONE)
        c->position_typed = any_number();
    c->recordings = (int)(below(2) ? -1 : below(1000));
    c->bias = maybe(), c->level = maybe(), c->eq = maybe();
    c->bias_stop = (enum stop)below(3), c->level_stop = (enum stop)below(3);
    c->bias_method = (enum bias_method)below(METHOD_COUNT);
    c->drop_db = maybe(), c->drop_hz = maybe(), c->low_db = maybe(), c->high_db = maybe(), c->low_balance_db = maybe(),
    c->high_balance_db = maybe();
    c->low_hz = maybe(), c->high_hz = maybe(), c->tone_db = maybe(), c->treble_db = maybe(), c->unsteady_db = maybe(), c->peak_db = maybe();
    c->settled = below(2), c->noise_reduction = below(2), c->mpx_filter = below(2), c->for_noise_reduction = below(2);
    c->move_count = (int)below(LIMIT_MOVES + 1);
    for (int i = 0; i < c->move_count; i++)
        c->moves[i] = (struct move){maybe(), maybe(), maybe(), maybe()};
    c->proof_count = (int)below(LIMIT_PROOF + 1);
    for (int i = 0; i < c->proof_count; i++)
        c->proof[i] = (struct proof){maybe(), maybe(), maybe()};
    c->notes = any_notes(a);
}

void any_service(struct service *s, struct arena *a)
{
    service_init(s);
    s->id = any_uuid();
    any_slug(s->deck);
    s->made_at_us = any_time(&s->made_at_offset_minutes);
    strcpy(s->kind, below(2) ? "belts" : "heads-replaced");
    s->resets = below(2);
    s->bias_shift_db = maybe(), s->level_shift_db = maybe();
    s->notes = any_notes(a);
}

void any_check(struct deck_check *c, struct arena *a)
{
    deck_check_init(c);
    c->id = any_uuid();
    any_slug(c->deck);
    c->made_at_us = any_time(&c->made_at_offset_minutes);
    c->kind = (enum check_kind)below(2);
    c->low_db = maybe(), c->high_db = maybe(), c->low_balance_db = maybe(), c->high_balance_db = maybe();
    c->notes = any_notes(a);
}

void any_stamp(struct stamp *s)
{
    memset(s, 0, sizeof *s);
    s->seq = 1 + below(1000000);
    s->revision = (int)(1 + below(9));
    s->stored_us = any_time(&(int){0});
    FILL(s->member);
    s->is_void = below(3) == 0;
    if (s->is_void)
        FILL(s->void_reason);
    if (below(2))
        any_slug(s->origin);
}

void any_line(struct buffer *b, int which, struct arena *a)
{
    static struct {
        struct deck d;
        struct stock s;
        struct calibration c;
        struct service v;
        struct deck_check k;
    } x;
    struct stamp stamp;
    any_stamp(&stamp);
    switch (which % 6) {
    case 0: any_deck(&x.d, a), wire_write_deck(b, &x.d, &stamp, true); break;
    case 1: any_stock(&x.s, a), wire_write_stock(b, &x.s, &stamp, true); break;
    case 2: any_calibration(&x.c, a), wire_write_calibration(b, &x.c, &stamp, true); break;
    case 3: any_service(&x.v, a), wire_write_service(b, &x.v, &stamp, true); break;
    case 4: any_check(&x.k, a), wire_write_check(b, &x.k, &stamp, true); break;
    default: buffer_format(b, "{\"kind\":\"end\",\"rows\":%ld,\"sha256\":\"%064lx\"}", below(100000), below(100000)); break;
    }
}

#define SAME(type, function)                                                                                                               \
    bool function(type a, type b)                                                                                                          \
    {                                                                                                                                      \
        bool notes = !strcmp(a.notes ? a.notes : "", b.notes ? b.notes : "");                                                              \
        a.notes = b.notes = NULL;                                                                                                          \
        return notes && !memcmp(&a, &b, sizeof a);                                                                                         \
    }
SAME(struct deck, same_deck)
SAME(struct stock, same_stock)
SAME(struct calibration, same_calibration)
SAME(struct service, same_service)
SAME(struct deck_check, same_check)
