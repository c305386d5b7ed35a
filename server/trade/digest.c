/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was typed, as 32 bytes: two records with the same digest say the same. Each member that was given adds its name and value; one that
 * was not, or has its default, adds nothing, so that a member added to the product later leaves the digests of older rows as they are.
 * Derived members (position_s) stay out. Nothing allocates, so a digest cannot fail.
 */
#include "check.h"
#include "classes.h"

#include "../ground/secrets.h"

#include <string.h>

/* The pieces are short, and the sum takes long ones much faster: they are gathered first. */
struct said {
    struct sum sum;
    size_t count;
    uint8_t bytes[1024];
};

static void said_start(struct said *s)
{
    sum_start(&s->sum);
    s->count = 0;
}

static void said_more(struct said *s, const void *bytes, size_t n)
{
    if (n > sizeof s->bytes - s->count) {
        sum_add(&s->sum, s->bytes, s->count);
        s->count = 0;
    }
    if (n > sizeof s->bytes) {
        sum_add(&s->sum, bytes, n);
    } else if (n) {
        memcpy(s->bytes + s->count, bytes, n);
        s->count += n;
    }
}

static void said_finish(struct said *s, uint8_t out[32])
{
    sum_add(&s->sum, s->bytes, s->count);
    sum_finish(&s->sum, out);
}

static void add_bytes(struct said *s, const char *name, const void *bytes, size_t n)
{
    uint8_t length[4] = {(uint8_t)n, (uint8_t)(n >> 8), (uint8_t)(n >> 16), (uint8_t)(n >> 24)};
    said_more(s, name, strlen(name) + 1);
    said_more(s, length, sizeof length);
    said_more(s, bytes, n);
}

static void add_text(struct said *s, const char *name, const char *text)
{
    if (text && *text)
        add_bytes(s, name, text, strlen(text));
}

static void add_whole(struct said *s, const char *name, int64_t value)
{
    uint8_t bytes[8];
    for (int i = 0; i < 8; i++)
        bytes[i] = (uint8_t)((uint64_t)value >> (8 * i));
    add_bytes(s, name, bytes, sizeof bytes);
}

static void add_number(struct said *s, const char *name, double value)
{
    if (!given(value))
        return;
    double plain = value + 0.0; /* -0 is 0 */
    uint64_t bits;
    memcpy(&bits, &plain, sizeof bits);
    add_whole(s, name, (int64_t)bits);
}

/* A choice or count that is its default adds nothing. */
static void add_choice(struct said *s, const char *name, int64_t value, int64_t not_given)
{
    if (value != not_given)
        add_whole(s, name, value);
}

static void add_time(struct said *s, int64_t us, int offset_minutes)
{
    add_choice(s, "made_at", us, CLOCK_NONE);
    add_choice(s, "made_at_offset", offset_minutes, 0);
}

/* What belongs to an inner member follows its name. */
static void begin(struct said *s, const char *name)
{
    add_bytes(s, name, "", 0);
}

static void add_dial(struct said *s, const char *name, const struct dial *d)
{
    if (!d->present)
        return;
    begin(s, name);
    add_text(s, "unit", d->unit);
    add_number(s, "low", d->low);
    add_number(s, "high", d->high);
    add_number(s, "step", d->step);
    add_number(s, "zero", d->zero);
    add_choice(s, "plus", d->plus, PLUS_MORE);
    add_choice(s, "scale", d->scale, SCALE_NONE);
    add_number(s, "db_per_unit", d->db_per_unit);
    for (int i = 0; i < d->point_count; i++) {
        add_number(s, "reading", d->points[i][0]);
        add_number(s, "db", d->points[i][1]);
    }
}

static void add_counter(struct said *s, const struct counter *c)
{
    if (c->kind == COUNTER_NONE)
        return;
    add_whole(s, "counter", c->kind);
    if (c->kind == COUNTER_TURNS)
        add_number(s, "turns_per_count", c->turns_per_count);
    for (int i = 0; i < c->point_count; i++) {
        begin(s, "point");
        add_number(s, "side_minutes", c->points[i].side_minutes);
        add_number(s, "c1", c->points[i].c1);
        add_number(s, "t1_s", c->points[i].t1_s);
        add_number(s, "c2", c->points[i].c2);
        add_number(s, "t2_s", c->points[i].t2_s);
    }
}

/* The setup that every deck has, and nothing said about it. */
static bool only_main(const struct deck *d)
{
    const struct setup *one = d->setups;
    return d->setup_count == 1 && !strcmp(one->id, "main") && !given(one->speed_mm_s) && !*one->equalisation && !*one->selector &&
           one->direction == DIRECTION_FORWARD;
}

static void add_unless(struct said *s, const char *name, double value, double not_given)
{
    if (given(value) && fabs(value - not_given) > 0)
        add_number(s, name, value);
}

void digest_deck(const struct deck *d, uint8_t out[32])
{
    struct said s;
    said_start(&s);
    begin(&s, "deck");
    add_text(&s, "id", d->id);
    add_text(&s, "name", d->name);
    add_text(&s, "model", d->model);
    add_choice(&s, "medium", d->medium, MEDIUM_NONE);
    add_choice(&s, "heads", d->heads, -1);
    add_choice(&s, "tracks", d->tracks, -1);
    add_dial(&s, "bias_dial", &d->bias_dial);
    add_dial(&s, "level_dial", &d->level_dial);
    add_dial(&s, "eq_dial", &d->eq_dial);
    add_choice(&s, "per_channel", d->per_channel, false);
    for (int i = 0; i < d->setup_count && !only_main(d); i++) {
        begin(&s, "setup");
        add_text(&s, "id", d->setups[i].id);
        add_number(&s, "speed_mm_s", d->setups[i].speed_mm_s);
        add_text(&s, "equalisation", d->setups[i].equalisation);
        add_text(&s, "selector", d->setups[i].selector);
        add_choice(&s, "direction", d->setups[i].direction, DIRECTION_FORWARD);
    }
    add_counter(&s, &d->counter);
    add_unless(&s, "low_hz", d->low_hz, DECK_LOW_HZ);
    add_unless(&s, "high_hz", d->high_hz, DECK_HIGH_HZ);
    add_unless(&s, "tone_db", d->tone_db, DECK_TONE_DB);
    add_number(&s, "reference_nwb_m", d->reference_nwb_m);
    add_number(&s, "meter_step_db", d->meter_step_db);
    add_number(&s, "warm_up_minutes", d->warm_up_minutes);
    add_text(&s, "notes", d->notes);
    said_finish(&s, out);
}

void digest_stock(const struct stock *k, uint8_t out[32])
{
    struct said s;
    said_start(&s);
    begin(&s, "stock");
    add_text(&s, "id", k->id);
    add_text(&s, "name", k->name);
    add_text(&s, "family", k->family);
    add_choice(&s, "class", k->tape_class, CLASS_NONE);
    add_choice(&s, "medium", k->medium, MEDIUM_NONE);
    for (int i = 0; i < k->alias_count; i++)
        add_text(&s, "alias", k->aliases[i]);
    add_text(&s, "wrapper", k->wrapper);
    add_text(&s, "made_from", k->made_from);
    add_text(&s, "made_to", k->made_to);
    add_number(&s, "side_minutes", k->side_minutes);
    add_number(&s, "length_m", k->length_m);
    add_number(&s, "thickness_um", k->thickness_um);
    add_number(&s, "hub_mm", k->hub_mm);
    add_number(&s, "sheet_bias_db", k->sheet_bias_db);
    add_number(&s, "sheet_level_db", k->sheet_level_db);
    add_text(&s, "notes", k->notes);
    said_finish(&s, out);
}

static void add_moves(struct said *s, const struct calibration *c)
{
    for (int i = 0; i < c->move_count; i++) {
        begin(s, "move");
        add_number(s, "bias", c->moves[i].bias);
        add_number(s, "level", c->moves[i].level);
        add_number(s, "low_db", c->moves[i].low_db);
        add_number(s, "high_db", c->moves[i].high_db);
    }
    for (int i = 0; i < c->proof_count; i++) {
        begin(s, "proof");
        add_number(s, "hz", c->proof[i].hz);
        add_number(s, "left_db", c->proof[i].left_db);
        add_number(s, "right_db", c->proof[i].right_db);
    }
}

void digest_calibration(const struct calibration *c, uint8_t out[32])
{
    struct said s;
    said_start(&s);
    begin(&s, "calibration");
    add_bytes(&s, "id", c->id.bytes, sizeof c->id.bytes);
    add_text(&s, "deck", c->deck);
    add_text(&s, "stock", c->stock);
    if (strcmp(c->setup, "main")) /* the default */
        add_text(&s, "setup", c->setup);
    add_choice(&s, "channel", c->channel, CHANNEL_BOTH);
    add_choice(&s, "side", c->side, SIDE_NONE);
    add_text(&s, "batch", c->batch);
    add_text(&s, "tape", c->tape);
    add_time(&s, c->made_at_us, c->made_at_offset_minutes);
    add_choice(&s, "position", c->position_kind, POSITION_NONE);
    if (c->position_kind != POSITION_NONE)
        add_number(&s, "position_typed", c->position_typed);
    add_choice(&s, "recordings", c->recordings, -1);
    add_number(&s, "bias", c->bias);
    add_number(&s, "level", c->level);
    add_number(&s, "eq", c->eq);
    add_choice(&s, "bias_stop", c->bias_stop, STOP_NONE);
    add_choice(&s, "level_stop", c->level_stop, STOP_NONE);
    add_choice(&s, "bias_method", c->bias_method, METHOD_FLAT);
    add_number(&s, "drop_db", c->drop_db);
    add_number(&s, "drop_hz", c->drop_hz);
    add_number(&s, "low_db", c->low_db);
    add_number(&s, "high_db", c->high_db);
    add_number(&s, "low_balance_db", c->low_balance_db);
    add_number(&s, "high_balance_db", c->high_balance_db);
    add_number(&s, "low_hz", c->low_hz);
    add_number(&s, "high_hz", c->high_hz);
    add_number(&s, "tone_db", c->tone_db);
    if (given(c->treble_db) && (c->treble_db < 0 || c->treble_db > 0))
        add_number(&s, "treble_db", c->treble_db);
    add_number(&s, "unsteady_db", c->unsteady_db);
    add_choice(&s, "settled", c->settled, true);
    add_choice(&s, "noise_reduction", c->noise_reduction, false);
    add_choice(&s, "mpx_filter", c->mpx_filter, false);
    add_choice(&s, "for_noise_reduction", c->for_noise_reduction, false);
    add_moves(&s, c);
    add_number(&s, "peak_db", c->peak_db);
    add_text(&s, "notes", c->notes);
    said_finish(&s, out);
}

void digest_service(const struct service *v, uint8_t out[32])
{
    struct said s;
    said_start(&s);
    begin(&s, "service");
    add_bytes(&s, "id", v->id.bytes, sizeof v->id.bytes);
    add_text(&s, "deck", v->deck);
    add_time(&s, v->made_at_us, v->made_at_offset_minutes);
    add_text(&s, "kind", v->kind);
    add_whole(&s, "resets", v->resets);
    add_number(&s, "bias_shift_db", v->bias_shift_db);
    add_number(&s, "level_shift_db", v->level_shift_db);
    add_text(&s, "notes", v->notes);
    said_finish(&s, out);
}

void digest_check(const struct deck_check *c, uint8_t out[32])
{
    struct said s;
    said_start(&s);
    begin(&s, "check");
    add_bytes(&s, "id", c->id.bytes, sizeof c->id.bytes);
    add_text(&s, "deck", c->deck);
    add_time(&s, c->made_at_us, c->made_at_offset_minutes);
    add_whole(&s, "kind", c->kind);
    add_number(&s, "low_db", c->low_db);
    add_number(&s, "high_db", c->high_db);
    add_number(&s, "low_balance_db", c->low_balance_db);
    add_number(&s, "high_balance_db", c->high_balance_db);
    add_text(&s, "notes", c->notes);
    said_finish(&s, out);
}
