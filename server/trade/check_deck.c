/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Whether a deck and a stock make sense, and what they mean where nothing was typed.
 */
#include "check_inside.h"

#include "classes.h"
#include "dial.h"
#include "spool.h"

#include <stdio.h>
#include <string.h>

/* ---- defaults ---- */

double deck_low_hz(const struct deck *d)
{
    return given(d->low_hz) ? d->low_hz : DECK_LOW_HZ;
}

double deck_high_hz(const struct deck *d)
{
    return given(d->high_hz) ? d->high_hz : DECK_HIGH_HZ;
}

double deck_tone_db(const struct deck *d)
{
    return given(d->tone_db) ? d->tone_db : DECK_TONE_DB;
}

enum medium stock_medium(const struct stock *s)
{
    const struct class_info *info = class_info(s->tape_class);
    return s->medium != MEDIUM_NONE ? s->medium : info ? info->medium : MEDIUM_NONE;
}

bool deck_setup(const struct deck *d, const char *id, struct setup *out)
{
    if (!id || !*id)
        id = "main";
    bool found = false;
    for (int i = 0; i < d->setup_count && !found; i++)
        if ((found = !strcmp(d->setups[i].id, id)))
            *out = d->setups[i];
    if (!found) {
        if (strcmp(id, "main"))
            return false;
        memset(out, 0, sizeof *out);
        snprintf(out->id, sizeof out->id, "main");
        out->speed_mm_s = ABSENT;
    }
    out->speed_mm_s = setup_speed_mm_s(d, out);
    return true;
}

/* ---- dials ---- */

static bool rising(const struct dial *d, struct fault *f, const char *field)
{
    bool up = true, down = true, readings = true;
    for (int i = 0; i + 1 < d->point_count; i++) {
        readings = readings && d->points[i + 1][0] - d->points[i][0] >= LIMIT_DIAL_FINEST;
        up = up && d->points[i + 1][1] > d->points[i][1];
        down = down && d->points[i + 1][1] < d->points[i][1];
    }
    if (!readings)
        return check_refuse(f, field, "not-rising", "each reading must be larger than the one before");
    if (!up && !down)
        return check_refuse(f, field, "not-rising", "the dB must rise from point to point, or fall from point to point");
    if (down && d->plus == PLUS_MORE)
        return check_refuse(f, field, "points-against-plus",
                            "the dB fall while 'plus' says that a larger reading is more; say \"plus\":\"less\", or mend the points");
    return true;
}

static bool check_points(const struct dial *d, const char *name, struct fault *f)
{
    struct field_path field = check_field_inside(name, "points");
    if (d->scale != SCALE_POINTS)
        return d->point_count == 0 ||
               check_refuse(f, field.text, "not-for-scale", "points belong to the scale 'points' only; leave them out");
    if (d->point_count < 2)
        return check_refuse(f, field.text, "required", "give at least two pairs [reading, dB]");
    bool fine = true;
    for (int i = 0; i < d->point_count; i++) {
        struct field_path at = check_field_at(field.text, i, "");
        fine = check_within(f, at.text, d->points[i][0], -LIMIT_DIAL_VALUE, LIMIT_DIAL_VALUE, "") && fine;
        fine = check_within(f, at.text, d->points[i][1], -LIMIT_DB, LIMIT_DB, "dB") && fine;
    }
    return fine && rising(d, f, field.text);
}

static bool check_reach(const struct dial *d, const char *name, bool high, struct fault *f)
{
    struct field_path field = check_field_inside(name, high ? "high" : "low");
    double db = dial_to_db(d, dial_worth_prior(d).db_per_unit, high ? d->high : d->low);
    return fabs(db) <= LIMIT_DIAL_DB ||
           check_refuse(f, field.text, "outside-scale",
                        "this end of the dial would be %.3g dB from its zero, and at most %g can be; check 'zero' and the scale", fabs(db),
                        LIMIT_DIAL_DB);
}

/* The scale must give a dB at both ends, and a possible one. */
static bool check_domain(const struct dial *d, const char *name, struct fault *f)
{
    double zero = dial_zero(d);
    if (d->scale == SCALE_PERCENT && !(100 + d->low - zero > 0))
        return check_refuse(f, check_field_inside(name, "low").text, "outside-scale",
                            "a percent dial cannot reach 100 or more below its zero; check 'low' and 'zero'");
    if (d->scale == SCALE_RATIO && !(zero > 0))
        return check_refuse(f, check_field_inside(name, "zero").text, "outside-scale", "the zero of a ratio dial is above 0, usually 1");
    if (d->scale == SCALE_RATIO && !given(d->zero) && (zero < d->low || zero > d->high))
        return check_refuse(f, check_field_inside(name, "zero").text, "required",
                            "a ratio is reckoned from the zero, and 1 is outside this dial; say at which reading the preset is");
    if (d->scale == SCALE_RATIO && !(d->low > 0))
        return check_refuse(f, check_field_inside(name, "low").text, "outside-scale", "readings of a ratio dial are above 0");
    bool fine = check_reach(d, name, false, f);
    return check_reach(d, name, true, f) && fine;
}

static bool check_dial(const struct dial *d, const char *name, struct fault *f)
{
    if (!d->present)
        return true;
    struct field_path low = check_field_inside(name, "low"), high = check_field_inside(name, "high"),
                      step = check_field_inside(name, "step");
    struct field_path worth = check_field_inside(name, "db_per_unit"), scale = check_field_inside(name, "scale");
    bool fine = given(d->low) || check_required(f, low.text, "the lowest reading");
    fine = (given(d->high) || check_required(f, high.text, "the highest reading")) && fine;
    fine = (d->scale != SCALE_NONE || check_required(f, scale.text, "what a reading means (db, percent, ratio, points or learn)")) && fine;
    fine = check_within(f, low.text, d->low, -LIMIT_DIAL_VALUE, LIMIT_DIAL_VALUE, "") && fine;
    fine = check_within(f, high.text, d->high, -LIMIT_DIAL_VALUE, LIMIT_DIAL_VALUE, "") && fine;
    fine = check_within(f, check_field_inside(name, "zero").text, d->zero, -LIMIT_DIAL_VALUE, LIMIT_DIAL_VALUE, "") && fine;
    fine = check_above_zero(f, step.text, d->step, LIMIT_DIAL_VALUE, "") && fine;
    if (given(d->low) && given(d->high) && !(d->low < d->high))
        fine = check_refuse(f, high.text, "not-rising",
                            "'high' must be above 'low'; where the knob counts the other way, say \"plus\":\"less\"");
    else if (given(d->low) && given(d->high) && d->high - d->low < LIMIT_DIAL_FINEST)
        fine = check_refuse(f, high.text, "out-of-range", "the whole dial is narrower than %g; check 'low' and 'high'", LIMIT_DIAL_FINEST);
    else if (given(d->step) && d->step > 0 && d->step < LIMIT_DIAL_FINEST)
        fine =
            check_refuse(f, step.text, "out-of-range", "nobody can set a step finer than %g; leave it out or mend it", LIMIT_DIAL_FINEST);
    else if (given(d->step) && d->step > d->high - d->low)
        fine = check_refuse(f, step.text, "out-of-range", "the step is larger than the whole dial");
    if (given(d->db_per_unit) && d->scale != SCALE_DB)
        fine = check_refuse(f, worth.text, "not-for-scale", "db_per_unit belongs to the scale 'db' only; leave it out");
    else if (given(d->db_per_unit) && !(d->db_per_unit > 0 && d->db_per_unit <= LIMIT_DB))
        fine = check_refuse(f, worth.text, "out-of-range", "db_per_unit is above 0 and up to %g dB; the sense is told by 'plus'", LIMIT_DB);
    fine = check_points(d, name, f) && fine;
    return fine && check_domain(d, name, f);
}

/* ---- setups and counter ---- */

static bool check_setups(const struct deck *d, struct fault *f)
{
    bool fine = true;
    for (int i = 0; i < d->setup_count; i++) {
        const struct setup *s = &d->setups[i];
        struct field_path id = check_field_at("setups", i, "id");
        fine = (*s->id ? check_slug(f, id.text, s->id) : check_required(f, id.text, "a setup's id")) && fine;
        fine = check_above_zero(f, check_field_at("setups", i, "speed_mm_s").text, s->speed_mm_s, LIMIT_SPEED_MM_S, "mm/s") && fine;
        for (int k = 0; k < i; k++)
            if (!strcmp(d->setups[k].id, s->id))
                fine = check_refuse(f, id.text, "twice", "the setup '%s' is there twice; give each its own id", s->id);
    }
    return fine;
}

static bool check_counter_point(const struct counter_point *p, int i, struct fault *f)
{
    const struct {
        const char *name, *unit;
        double value, high;
    } members[] = {{"side_minutes", "minutes", p->side_minutes, LIMIT_SIDE_MINUTES},
                   {"c1", "counts", p->c1, LIMIT_POSITION_COUNTER},
                   {"t1_s", "s", p->t1_s, LIMIT_POSITION_S},
                   {"c2", "counts", p->c2, LIMIT_POSITION_COUNTER},
                   {"t2_s", "s", p->t2_s, LIMIT_POSITION_S}};
    bool fine = true;
    for (size_t m = 0; m < sizeof members / sizeof *members; m++) {
        struct field_path field = check_field_at("counter.points", i, members[m].name);
        if (!given(members[m].value))
            fine = check_required(f, field.text, "each of the five figures of a counter point");
        else
            fine = check_above_zero(f, field.text, members[m].value, members[m].high, members[m].unit) && fine;
    }
    if (fine && !given(counter_points_time_s(p, p->c2)))
        fine = check_refuse(f, check_field_at("counter.points", i, "").text, "not-rising",
                            "the second reading and its time must both be larger than the first");
    return fine;
}

static bool check_counter(const struct counter *c, struct fault *f)
{
    bool fine = true;
    if (c->kind == COUNTER_TURNS && !given(c->turns_per_count))
        return check_required(f, "counter.turns_per_count", "how many take-up turns a count is");
    if (c->kind == COUNTER_TURNS)
        return check_above_zero(f, "counter.turns_per_count", c->turns_per_count, LIMIT_TURNS_PER_COUNT, "turns");
    if (c->kind == COUNTER_POINTS && c->point_count == 0)
        return check_refuse(f, "counter.points", "required", "give at least one {\"side_minutes\",\"c1\",\"t1_s\",\"c2\",\"t2_s\"}");
    for (int i = 0; i < c->point_count; i++)
        fine = check_counter_point(&c->points[i], i, f) && fine;
    return fine;
}

bool check_deck(const struct deck *d, struct fault *f)
{
    bool fine = check_slug(f, "id", d->id);
    fine = (!check_blank(d->name) || check_required(f, "name", "the deck's name")) && fine;
    fine = (d->medium != MEDIUM_NONE || check_required(f, "medium", "whether it is for 'cassette' or 'reel'")) && fine;
    if (d->heads != -1 && d->heads != 2 && d->heads != 3)
        fine = check_refuse(f, "heads", "out-of-range", "heads is 2 or 3");
    if (d->tracks != -1)
        fine = check_within(f, "tracks", d->tracks, 1, LIMIT_TRACKS, "tracks") && fine;
    fine = check_dial(&d->bias_dial, "bias_dial", f) && fine;
    fine = check_dial(&d->level_dial, "level_dial", f) && fine;
    fine = check_dial(&d->eq_dial, "eq_dial", f) && fine;
    fine = check_setups(d, f) && fine;
    fine = check_counter(&d->counter, f) && fine;
    fine = check_tones(f, d->low_hz, d->high_hz, d->tone_db) && fine;
    if (fine && !(deck_low_hz(d) < deck_high_hz(d)))
        fine = check_refuse(f, given(d->high_hz) ? "high_hz" : "low_hz", "not-rising", "the high tone must be above the low one");
    fine = check_above_zero(f, "reference_nwb_m", d->reference_nwb_m, LIMIT_NWB_M, "nWb/m") && fine;
    fine = check_above_zero(f, "meter_step_db", d->meter_step_db, LIMIT_METER_STEP_DB, "dB") && fine;
    fine = check_within(f, "warm_up_minutes", d->warm_up_minutes, 0, LIMIT_WARM_UP_MINUTES, "minutes") && fine;
    return check_text_fits(f, "notes", d->notes) && fine;
}

/* ---- stock ---- */

/* "1987" or "1987-03" */
static bool year_or_month(const char *t)
{
    size_t n = strlen(t);
    if ((n != 4 && n != 7) || strspn(t, "0123456789") != 4)
        return false;
    return n == 4 || (t[4] == '-' && strspn(t + 5, "0123456789") == 2 && strcmp(t + 5, "01") >= 0 && strcmp(t + 5, "12") <= 0);
}

static bool check_made(const struct stock *s, struct fault *f)
{
    bool fine = true;
    if (*s->made_from && !year_or_month(s->made_from))
        fine = check_refuse(f, "made_from", "not-a-year", "write a year or a year and month, e.g. 1987 or 1987-03");
    if (*s->made_to && !year_or_month(s->made_to))
        fine = check_refuse(f, "made_to", "not-a-year", "write a year or a year and month, e.g. 1987 or 1987-03");
    size_t common = strlen(s->made_from) < strlen(s->made_to) ? strlen(s->made_from) : strlen(s->made_to);
    if (fine && common && strncmp(s->made_from, s->made_to, common) > 0)
        fine = check_refuse(f, "made_to", "not-rising", "made_to is before made_from");
    return fine;
}

bool check_stock(const struct stock *s, struct fault *f)
{
    const struct class_info *info = class_info(s->tape_class);
    bool fine = check_slug(f, "id", s->id);
    fine = (!check_blank(s->name) || check_required(f, "name", "the stock's name")) && fine;
    fine = (info || check_required(f, "class", "the formulation class: " CLASS_NAMES)) && fine;
    if (info && s->medium != MEDIUM_NONE && s->medium != info->medium)
        fine = check_refuse(f, "medium", "media-differ", "the class %s is %s tape; leave 'medium' out or mend the class", info->id,
                            medium_id(info->medium));
    for (int i = 0; i < s->alias_count; i++)
        if (check_blank(s->aliases[i]))
            fine = check_refuse(f, check_field_at("aliases", i, "").text, "required", "an alias is a name; leave empty ones out");
    fine = check_made(s, f) && fine;
    fine = check_above_zero(f, "side_minutes", s->side_minutes, LIMIT_SIDE_MINUTES, "minutes") && fine;
    fine = check_above_zero(f, "length_m", s->length_m, LIMIT_LENGTH_M, "m") && fine;
    fine = check_above_zero(f, "thickness_um", s->thickness_um, LIMIT_THICKNESS_UM, "\xC2\xB5m") && fine;
    fine = check_above_zero(f, "hub_mm", s->hub_mm, LIMIT_HUB_MM, "mm") && fine;
    fine = check_within(f, "sheet_bias_db", s->sheet_bias_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
    fine = check_within(f, "sheet_level_db", s->sheet_level_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
    return check_text_fits(f, "notes", s->notes) && fine;
}
