/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Spool geometry. The winding is a spiral whose n-th turn has radius r0 + n·t, so its length is a quadratic in the turns; a counter
 * that counts k turns a digit is the same quadratic in its reading, and two timed readings fix it.
 */
#include "spool.h"

#include "check.h"

/* From memory: usual values where a stock does not say. */
#define CASSETTE_HUB_MM       22.0
#define REEL_HUB_MM           60.0
#define CASSETTE_THICKNESS_UM 11.5
#define REEL_THICKNESS_UM     35.0 /* long play; standard play is 54 */
#define CASSETTE_SIDE_S       2700.0
#define SAME_LENGTH           0.1 /* counter points serve tapes whose side is this near (relative) to theirs */

double spool_length_mm(double hub_radius_mm, double thickness_um, double turns)
{
    return 2 * M_PI * hub_radius_mm * turns + M_PI * thickness_um / 1000 * turns * turns;
}

double spool_turns(double hub_radius_mm, double thickness_um, double length_mm)
{
    double t = thickness_um / 1000;
    /* (−r0 + √(r0² + L·t/π))/t without the cancellation */
    return length_mm / M_PI / (hub_radius_mm + sqrt(hub_radius_mm * hub_radius_mm + length_mm * t / M_PI));
}

double counter_points_time_s(const struct counter_point *p, double c)
{
    if (!(p->c1 > 0) || !(p->c2 > p->c1) || !(p->t1_s > 0) || !(p->t2_s > p->t1_s))
        return ABSENT;
    double square = (p->t2_s / p->c2 - p->t1_s / p->c1) / (p->c2 - p->c1);
    double linear = p->t1_s / p->c1 - square * p->c1;
    return linear * c + square * c * c;
}

double setup_speed_mm_s(const struct deck *deck, const struct setup *setup)
{
    if (setup && given(setup->speed_mm_s))
        return setup->speed_mm_s;
    return deck && deck->medium == MEDIUM_REEL ? REEL_SPEED_MM_S : CASSETTE_SPEED_MM_S;
}

static double setup_speed_of_stock(const struct stock *stock, const struct setup *setup)
{
    if (setup && given(setup->speed_mm_s))
        return setup->speed_mm_s;
    return stock_medium(stock) == MEDIUM_REEL ? REEL_SPEED_MM_S : CASSETTE_SPEED_MM_S;
}

double side_seconds(const struct stock *stock, const struct setup *setup)
{
    if (!stock)
        return ABSENT;
    bool cassette = stock_medium(stock) != MEDIUM_REEL;
    double speed = setup_speed_of_stock(stock, setup);
    double by_length = given(stock->length_m) ? stock->length_m * 1000 / speed : ABSENT;
    double by_minutes = given(stock->side_minutes) ? stock->side_minutes * 60 * (cassette ? CASSETTE_SPEED_MM_S / speed : 1) : ABSENT;
    if (cassette)
        return given(by_minutes) ? by_minutes : by_length;
    return given(by_length) ? by_length : by_minutes;
}

/* Total thickness; *sure tells whether it was typed or follows from the playing time of a cassette. */
static double thickness_of(const struct stock *stock, bool cassette, bool *sure)
{
    *sure = true;
    if (stock && given(stock->thickness_um))
        return stock->thickness_um;
    if (stock && cassette && given(stock->side_minutes)) /* C60 15–16, C90 11–12, C120 9 µm */
        return stock->side_minutes <= 32 ? 15.5 : stock->side_minutes <= 52 ? CASSETTE_THICKNESS_UM : 9;
    *sure = false;
    return cassette ? CASSETTE_THICKNESS_UM : REEL_THICKNESS_UM;
}

static void from_turns(struct reel_place *p, double turns, const struct stock *stock, bool cassette, double speed)
{
    bool sure;
    double thickness = thickness_of(stock, cassette, &sure);
    double hub = stock && given(stock->hub_mm) ? stock->hub_mm : cassette ? CASSETTE_HUB_MM : REEL_HUB_MM;
    p->position_s = spool_length_mm(hub / 2, thickness, turns) / speed;
    p->tolerance_s = p->position_s * (sure ? SPOOL_TOLERANCE : SPOOL_TOLERANCE_GUESS);
}

static void from_points(struct reel_place *p, double c, const struct deck *deck, const struct setup *setup, const struct stock *stock)
{
    const struct counter *counter = &deck->counter;
    double minutes = stock && given(stock->side_minutes) ? stock->side_minutes : ABSENT;
    const struct counter_point *best = NULL;
    for (int i = 0; i < counter->point_count; i++)
        if (given(minutes) && (!best || fabs(counter->points[i].side_minutes - minutes) < fabs(best->side_minutes - minutes)))
            best = &counter->points[i];
    bool sure = true;
    if (!given(minutes) && counter->point_count == 1) { /* the tape length the member uses, most likely */
        best = &counter->points[0];
        sure = false;
    }
    if (!best || (sure && fabs(best->side_minutes - minutes) > SAME_LENGTH * minutes)) {
        p->why = given(minutes) ? "this deck's counter has no timed readings for a tape of this length"
                                : "the stock's side_minutes is not known, and counter readings belong to a tape length";
        return;
    }
    struct setup main_setup; /* the readings were timed at the main speed */
    deck_setup(deck, "main", &main_setup);
    double t = counter_points_time_s(best, c) * setup_speed_mm_s(deck, &main_setup) / setup_speed_mm_s(deck, setup);
    if (!given(t)) {
        p->why = "the two timed readings of this deck's counter do not rise";
        return;
    }
    p->position_s = t;
    p->tolerance_s = t * (sure ? SPOOL_TOLERANCE : SPOOL_TOLERANCE_GUESS);
}

static void from_counter(struct reel_place *p, double typed, const struct deck *deck, const struct setup *setup, const struct stock *stock,
                         bool cassette)
{
    switch (deck->counter.kind) {
    case COUNTER_TIME:
        p->position_s = typed;
        p->tolerance_s = typed * SPOOL_TOLERANCE; /* most are computed from turns */
        return;
    case COUNTER_TURNS: from_turns(p, typed * deck->counter.turns_per_count, stock, cassette, setup_speed_mm_s(deck, setup)); return;
    case COUNTER_POINTS: from_points(p, typed, deck, setup, stock); return;
    case COUNTER_NONE: break;
    }
    p->why = "the deck does not say what its counter counts";
}

struct reel_place place_on_reel(enum position_kind kind, double typed, const struct deck *deck, const struct setup *setup,
                                const struct stock *stock)
{
    struct reel_place p = {.position_s = ABSENT, .part = ABSENT, .why = ""};
    bool cassette = deck->medium != MEDIUM_REEL;
    double side_s = side_seconds(stock, setup);
    if (!stock && cassette)
        side_s = CASSETTE_SIDE_S * CASSETTE_SPEED_MM_S / setup_speed_mm_s(deck, setup);
    if (!given(typed))
        kind = POSITION_NONE;
    switch (kind) {
    case POSITION_S: p.position_s = typed; break;
    case POSITION_TURNS: from_turns(&p, typed, stock, cassette, setup_speed_mm_s(deck, setup)); break;
    case POSITION_COUNTER: from_counter(&p, typed, deck, setup, stock, cassette); break;
    case POSITION_PART:
        p.position_s = typed * side_s;
        p.tolerance_s = stock ? p.position_s * SPOOL_TOLERANCE : p.position_s * SPOOL_TOLERANCE_GUESS;
        if (!given(side_s))
            p.why = "the stock's side_minutes or length_m is not known";
        break;
    case POSITION_NONE: p.why = "the place was not given"; break;
    }
    if (p.position_s > LIMIT_POSITION_S) {
        p.position_s = ABSENT;
        p.why = "that is farther than any tape is long";
    }
    if (!given(p.position_s))
        p.tolerance_s = 0;
    else if (kind == POSITION_PART)
        p.part = typed;
    else if (given(side_s) && side_s > 0)
        p.part = fmin(p.position_s / side_s, 1);
    return p;
}
