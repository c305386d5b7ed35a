/* SPDX-License-Identifier: GPL-3.0-or-later
 * See course.h. The equations are solved by turns (Gauss–Seidel): levels, stocks, tapes, each with the others held, weights renewed with every turn, until
 * nothing moves by STILL_DB. Some hundred rows: milliseconds.
 */
#include "course.h"

#include <math.h>
#include <stddef.h>

#define NU       4.0
#define TURNS    500
#define STILL_DB 1e-4
#define FREE_DB  100.0 /* prior sd of a level */

enum kind { LEVELS, STOCKS, TAPES, KINDS };

struct fit {
    struct course_row *rows;
    int n;
    struct course_effect *list[KINDS];
    int count[KINDS];
};

/* A stretch ends with its era, or after COURSE_STRETCH results unless less than half as many would be left over. */
static int number_stretches(struct course_row *rows, int n)
{
    int level = -1, begun = 0;
    for (int i = 0; i < n; i++) {
        int left = 1;
        while (i + left < n && !rows[i + left].reset && left < COURSE_STRETCH)
            left++;
        if (i == 0 || rows[i].reset || (i - begun >= COURSE_STRETCH && left > COURSE_STRETCH / 2)) {
            level++;
            begun = i;
        }
        rows[i].level = level;
    }
    return level + 1;
}

static struct course_effect *effect_of(const struct fit *f, enum kind k, const struct course_row *r)
{
    int at = k == LEVELS ? r->level : k == STOCKS ? r->stock : r->tape;
    return at < 0 ? NULL : &f->list[k][at];
}

static double rest_of(const struct fit *f, const struct course_row *r)
{
    double rest = r->y;
    for (int k = 0; k < KINDS; k++) {
        const struct course_effect *e = effect_of(f, (enum kind)k, r);
        rest -= e ? e->mean : 0;
    }
    return rest;
}

static double weight_of(const struct course_row *r)
{
    return (NU + 1) / (NU + r->rest * r->rest / r->variance) / r->variance;
}

/* One kind of effect anew, the others held: mean = Σ w·(rest + own mean)/(Σ w + 1/sd²). Returns how far any result's rest moved. */
static double turn(struct fit *f, enum kind k)
{
    double most = 0;
    for (int j = 0; j < f->count[k]; j++)
        f->list[k][j].weight = 1 / (f->list[k][j].sd * f->list[k][j].sd);
    for (int i = 0; i < f->n; i++) {
        struct course_effect *e = effect_of(f, k, &f->rows[i]);
        if (e)
            e->weight += weight_of(&f->rows[i]);
    }
    for (int j = 0; j < f->count[k]; j++) {
        struct course_effect *e = &f->list[k][j];
        e->mean -= e->mean / (e->sd * e->sd) / e->weight;
    }
    for (int i = 0; i < f->n; i++) {
        struct course_effect *e = effect_of(f, k, &f->rows[i]);
        if (e)
            e->mean += weight_of(&f->rows[i]) * f->rows[i].rest / e->weight;
    }
    for (int i = 0; i < f->n; i++) {
        double rest = rest_of(f, &f->rows[i]);
        most = fmax(most, fabs(rest - f->rows[i].rest));
        f->rows[i].rest = rest;
    }
    return most;
}

int course_fit(struct course_row *rows, int n, struct course_effect *stocks, int stock_count, struct course_effect *tapes, int tape_count,
               double tape_sd, struct course_effect *levels)
{
    struct fit f = {.rows = rows, .n = n, .list = {levels, stocks, tapes}, .count = {number_stretches(rows, n), stock_count, tape_count}};
    for (int k = 0; k < KINDS; k++)
        for (int j = 0; j < f.count[k]; j++) {
            f.list[k][j].mean = 0;
            f.list[k][j].sd = fmax(k == LEVELS ? FREE_DB : k == TAPES ? tape_sd : f.list[k][j].sd, 1e-3);
        }
    for (int i = 0; i < n; i++) {
        rows[i].rest = rows[i].y;
        if (rows[i].tape < 0) /* a tape of its own */
            rows[i].variance += tape_sd * tape_sd;
    }
    for (int t = 0; t < TURNS; t++) {
        double moved = 0;
        for (int k = 0; k < KINDS; k++)
            moved = fmax(moved, turn(&f, (enum kind)k));
        if (moved < STILL_DB)
            break;
    }
    for (int i = 0; i < n; i++) {
        struct course_row *r = &rows[i];
        r->residual = r->y - stocks[r->stock].mean;
        r->sd = sqrt(r->variance + (r->tape >= 0 ? tape_sd * tape_sd : 0) + 1 / stocks[r->stock].weight);
        if (r->tape < 0)
            r->variance -= tape_sd * tape_sd;
    }
    return f.count[LEVELS];
}
