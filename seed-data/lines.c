/* SPDX-License-Identifier: GPL-3.0-or-later
 * Records as lines: see lines.h. */
#include "lines.h"

#include "trade/classes.h"

#include <string.h>

static const char *const CHANNEL[] = {"both", "left", "right"};
static const char *const STOP[] = {"none", "low", "high"};
static const char *const METHOD[] = {"flat", "overbias", "distortion", "by-ear", "automatic"};
static const char *const SCALE[] = {"db", "percent", "ratio", "points", "learn"};
static const char *const POSITION[] = {"", "position_s", "position_turns", "position_counter", "position_part"};
static const char *const CHECK[] = {"playback", "control-tape"};

void lines_start(struct lines *l, FILE *out)
{
    *l = (struct lines){.out = out};
    buffer_init(&l->text, 1 << 16);
    sum_start(&l->sum);
}

static void finish(struct lines *l)
{
    buffer_char(&l->text, '}');
    buffer_char(&l->text, '\n');
    if (l->text.failed || fwrite(l->text.data, 1, l->text.length, l->out) != l->text.length)
        l->failed = true;
    else
        sum_add(&l->sum, l->text.data, l->text.length);
    l->rows++;
    buffer_clear(&l->text);
}

static void name(struct lines *l, const char *member)
{
    buffer_text(&l->text, ",\"");
    buffer_text(&l->text, member);
    buffer_text(&l->text, "\":");
}

static void quoted(struct lines *l, const char *text)
{
    buffer_char(&l->text, '"');
    for (; *text; text++) {
        if (*text == '"' || *text == '\\')
            buffer_char(&l->text, '\\');
        buffer_char(&l->text, *text); /* the invented texts have no control characters */
    }
    buffer_char(&l->text, '"');
}

static void text(struct lines *l, const char *member, const char *value)
{
    if (value && value[0]) {
        name(l, member);
        quoted(l, value);
    }
}

static void number(struct lines *l, const char *member, double value)
{
    if (given(value)) {
        name(l, member);
        buffer_fixed(&l->text, value, 4);
    }
}

static void truth(struct lines *l, const char *member, bool value)
{
    name(l, member);
    buffer_text(&l->text, value ? "true" : "false");
}

static void begin(struct lines *l, const char *kind)
{
    buffer_text(&l->text, "{\"kind\":\"");
    buffer_text(&l->text, kind);
    buffer_char(&l->text, '"');
}

static void instant(struct lines *l, int64_t us, int offset_minutes)
{
    char at[CLOCK_TEXT];
    text(l, "made_at", clock_format(us, offset_minutes, at));
}

static void uuid(struct lines *l, const struct uuid *u)
{
    char id[UUID_TEXT];
    text(l, "id", uuid_format(u, id));
}

static void dial(struct lines *l, const char *member, const struct dial *d)
{
    name(l, member);
    if (!d->present) {
        buffer_text(&l->text, "null");
        return;
    }
    buffer_text(&l->text, "{\"scale\":");
    quoted(l, SCALE[d->scale]);
    text(l, "unit", d->unit);
    number(l, "low", d->low);
    number(l, "high", d->high);
    number(l, "step", d->step);
    number(l, "zero", d->zero);
    if (d->plus == PLUS_LESS)
        text(l, "plus", "less");
    if (d->scale == SCALE_DB)
        number(l, "db_per_unit", d->db_per_unit);
    if (d->scale == SCALE_POINTS) {
        name(l, "points");
        for (int i = 0; i < d->point_count; i++) {
            buffer_text(&l->text, i ? ",[" : "[[");
            buffer_fixed(&l->text, d->points[i][0], 4);
            buffer_char(&l->text, ',');
            buffer_fixed(&l->text, d->points[i][1], 4);
            buffer_char(&l->text, ']');
        }
        buffer_char(&l->text, ']');
    }
    buffer_char(&l->text, '}');
}

static void setups(struct lines *l, const struct deck *d)
{
    if (d->setup_count <= 0)
        return;
    name(l, "setups");
    for (int i = 0; i < d->setup_count; i++) {
        const struct setup *s = &d->setups[i];
        buffer_text(&l->text, i ? ",{\"id\":" : "[{\"id\":");
        quoted(l, s->id);
        number(l, "speed_mm_s", s->speed_mm_s);
        text(l, "equalisation", s->equalisation);
        text(l, "selector", s->selector);
        if (s->direction == DIRECTION_REVERSE)
            text(l, "direction", "reverse");
        buffer_char(&l->text, '}');
    }
    buffer_char(&l->text, ']');
}

static void counter(struct lines *l, const struct counter *c)
{
    if (c->kind == COUNTER_NONE)
        return;
    name(l, "counter");
    if (c->kind == COUNTER_TIME) {
        buffer_text(&l->text, "{\"kind\":\"time\"}");
    } else if (c->kind == COUNTER_TURNS) {
        buffer_text(&l->text, "{\"kind\":\"turns\"");
        number(l, "turns_per_count", c->turns_per_count);
        buffer_char(&l->text, '}');
    } else {
        buffer_text(&l->text, "{\"kind\":\"points\",\"points\":");
        for (int i = 0; i < c->point_count; i++) {
            const struct counter_point *p = &c->points[i];
            buffer_text(&l->text, i ? ",{" : "[{");
            buffer_text(&l->text, "\"side_minutes\":");
            buffer_fixed(&l->text, p->side_minutes, 4);
            number(l, "c1", p->c1);
            number(l, "t1_s", p->t1_s);
            number(l, "c2", p->c2);
            number(l, "t2_s", p->t2_s);
            buffer_char(&l->text, '}');
        }
        buffer_text(&l->text, "]}");
    }
}

void lines_deck(struct lines *l, const struct deck *d)
{
    begin(l, "deck");
    text(l, "id", d->id);
    text(l, "name", d->name);
    text(l, "model", d->model);
    text(l, "medium", medium_id(d->medium));
    if (d->heads > 0)
        number(l, "heads", d->heads);
    if (d->tracks > 0)
        number(l, "tracks", d->tracks);
    dial(l, "bias_dial", &d->bias_dial);
    dial(l, "level_dial", &d->level_dial);
    if (d->eq_dial.present)
        dial(l, "eq_dial", &d->eq_dial);
    if (d->per_channel)
        truth(l, "per_channel", true);
    setups(l, d);
    counter(l, &d->counter);
    number(l, "low_hz", d->low_hz);
    number(l, "high_hz", d->high_hz);
    number(l, "tone_db", d->tone_db);
    number(l, "reference_nwb_m", d->reference_nwb_m);
    number(l, "meter_step_db", d->meter_step_db);
    number(l, "warm_up_minutes", d->warm_up_minutes);
    text(l, "notes", d->notes);
    finish(l);
}

void lines_stock(struct lines *l, const struct stock *s)
{
    begin(l, "stock");
    text(l, "id", s->id);
    text(l, "name", s->name);
    text(l, "family", s->family);
    text(l, "class", class_info(s->tape_class)->id);
    if (s->medium != MEDIUM_NONE)
        text(l, "medium", medium_id(s->medium));
    if (s->alias_count > 0) {
        name(l, "aliases");
        for (int i = 0; i < s->alias_count; i++) {
            buffer_char(&l->text, i ? ',' : '[');
            quoted(l, s->aliases[i]);
        }
        buffer_char(&l->text, ']');
    }
    text(l, "wrapper", s->wrapper);
    text(l, "made_from", s->made_from);
    text(l, "made_to", s->made_to);
    number(l, "side_minutes", s->side_minutes);
    number(l, "length_m", s->length_m);
    number(l, "thickness_um", s->thickness_um);
    number(l, "hub_mm", s->hub_mm);
    number(l, "sheet_bias_db", s->sheet_bias_db);
    number(l, "sheet_level_db", s->sheet_level_db);
    text(l, "notes", s->notes);
    finish(l);
}

void lines_service(struct lines *l, const struct service *s)
{
    begin(l, "service"); /* so the service's own kind has another name here */
    uuid(l, &s->id);
    text(l, "deck", s->deck);
    instant(l, s->made_at_us, s->made_at_offset_minutes);
    text(l, "service_kind", s->kind);
    truth(l, "resets", s->resets);
    number(l, "bias_shift_db", s->bias_shift_db);
    number(l, "level_shift_db", s->level_shift_db);
    text(l, "notes", s->notes);
    finish(l);
}

void lines_check(struct lines *l, const struct deck_check *c)
{
    begin(l, "check");
    uuid(l, &c->id);
    text(l, "deck", c->deck);
    instant(l, c->made_at_us, c->made_at_offset_minutes);
    text(l, "check_kind", CHECK[c->kind]);
    number(l, "low_db", c->low_db);
    number(l, "high_db", c->high_db);
    number(l, "low_balance_db", c->low_balance_db);
    number(l, "high_balance_db", c->high_balance_db);
    text(l, "notes", c->notes);
    finish(l);
}

static void moves(struct lines *l, const struct calibration *c)
{
    if (c->move_count <= 0)
        return;
    name(l, "moves");
    for (int i = 0; i < c->move_count; i++) {
        const struct move *m = &c->moves[i];
        const struct {
            const char *member;
            double value;
        } part[4] = {{"bias", m->bias}, {"level", m->level}, {"low_db", m->low_db}, {"high_db", m->high_db}};
        buffer_text(&l->text, i ? ",{" : "[{");
        for (int j = 0, n = 0; j < 4; j++)
            if (given(part[j].value)) {
                buffer_text(&l->text, n++ ? ",\"" : "\"");
                buffer_text(&l->text, part[j].member);
                buffer_text(&l->text, "\":");
                buffer_fixed(&l->text, part[j].value, 4);
            }
        buffer_char(&l->text, '}');
    }
    buffer_char(&l->text, ']');
}

static void proof(struct lines *l, const struct calibration *c)
{
    if (c->proof_count <= 0)
        return;
    name(l, "proof");
    for (int i = 0; i < c->proof_count; i++) {
        buffer_text(&l->text, i ? ",{\"hz\":" : "[{\"hz\":");
        buffer_fixed(&l->text, c->proof[i].hz, 4);
        number(l, "left_db", c->proof[i].left_db);
        number(l, "right_db", c->proof[i].right_db);
        buffer_char(&l->text, '}');
    }
    buffer_char(&l->text, ']');
}

void lines_calibration(struct lines *l, const struct calibration *c, const char *member, const char *void_reason)
{
    begin(l, "calibration");
    uuid(l, &c->id);
    text(l, "deck", c->deck);
    text(l, "stock", c->stock);
    text(l, "setup", c->setup);
    if (c->channel != CHANNEL_BOTH)
        text(l, "channel", CHANNEL[c->channel]);
    if (c->side != SIDE_NONE)
        text(l, "side", c->side == SIDE_A ? "a" : "b");
    text(l, "batch", c->batch);
    text(l, "tape", c->tape);
    instant(l, c->made_at_us, c->made_at_offset_minutes);
    if (c->position_kind != POSITION_NONE)
        number(l, POSITION[c->position_kind], c->position_typed);
    if (c->recordings >= 0)
        number(l, "recordings", c->recordings);
    number(l, "bias", c->bias);
    number(l, "level", c->level);
    number(l, "eq", c->eq);
    if (c->bias_stop != STOP_NONE)
        text(l, "bias_stop", STOP[c->bias_stop]);
    if (c->level_stop != STOP_NONE)
        text(l, "level_stop", STOP[c->level_stop]);
    if (c->bias_method != METHOD_FLAT)
        text(l, "bias_method", METHOD[c->bias_method]);
    number(l, "drop_db", c->drop_db);
    number(l, "drop_hz", c->drop_hz);
    number(l, "low_db", c->low_db);
    number(l, "high_db", c->high_db);
    number(l, "low_balance_db", c->low_balance_db);
    number(l, "high_balance_db", c->high_balance_db);
    number(l, "low_hz", c->low_hz);
    number(l, "high_hz", c->high_hz);
    number(l, "tone_db", c->tone_db);
    number(l, "treble_db", c->treble_db);
    number(l, "unsteady_db", c->unsteady_db);
    if (!c->settled)
        truth(l, "settled", false);
    if (c->noise_reduction)
        truth(l, "noise_reduction", true);
    if (c->mpx_filter)
        truth(l, "mpx_filter", true);
    if (c->for_noise_reduction)
        truth(l, "for_noise_reduction", true);
    moves(l, c);
    proof(l, c);
    number(l, "peak_db", c->peak_db);
    text(l, "notes", c->notes);
    text(l, "member", member);
    if (void_reason) {
        name(l, "void");
        buffer_text(&l->text, "{\"reason\":");
        quoted(l, void_reason);
        buffer_char(&l->text, '}');
    }
    finish(l);
}

bool lines_end(struct lines *l)
{
    uint8_t sum[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    sum_finish(&l->sum, sum);
    if (fprintf(l->out, "{\"kind\":\"end\",\"rows\":%ld,\"sha256\":\"%s\"}\n", l->rows, digest_hex(sum, hex)) < 0 || fflush(l->out) != 0)
        l->failed = true;
    buffer_free(&l->text);
    return !l->failed;
}
