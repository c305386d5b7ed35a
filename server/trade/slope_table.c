/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The learned slopes, frozen. Made once a change of moves, asked by every view and every fit, from any thread.
 *
 * For one tone, with z a slope in spreads about its cell's centre:  z(deck, cell) = g + u(cell) + v(deck) + w(deck, cell),
 * all normal with variances SHARE_*. The deck's own sums say n·z̄ with information n. w and v are absorbed in closed form
 * deck by deck; what is left is a dense system in g and the cells that have data (at most a few dozen).
 */
#include "slope_parts.h"

#include "../ground/memory.h"

#include <stdatomic.h>
#include <string.h>

struct tone_fit {
    int cell_count;     /* cells with data; unknown 0 is g, unknown 1 + i is u of cells[i] */
    int32_t *cells;     /* rising */
    double *mean, *cov; /* 1 + cell_count, and its square */
};

struct slope_table {
    atomic_long owners;
    int deck_count, sum_count;
    struct slope_deck *decks;
    struct slope_sums *sums;
    struct tone_fit fit[TONES];
    long calibrations[SLOPE_CELLS]; /* by the high tone's cell */
};

/* What one deck's sums say of one cell. */
struct seen {
    double n, z; /* information and mean, in spreads */
    double p;    /* information left when w is absorbed */
    int unknown; /* 1 + index of the cell */
};

static double sum(const struct slope_sums *s, enum slope_sum which)
{
    return (double)s->s[which] * SLOPE_QUANTUM;
}

static bool learns(const struct slope_deck *d)
{
    return d->learn[0] || d->learn[1];
}

static int cell_index(const struct tone_fit *f, int cell)
{
    int low = 0, high = f->cell_count;
    while (low < high) {
        int mid = (low + high) / 2;
        if (f->cells[mid] < cell) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return low < f->cell_count && f->cells[low] == cell ? low : -1;
}

/* The deck's sums of one tone, in the unit of z. Only for decks whose dials are known. At most `max`; returns how many. */
static int seen_by_deck(const struct slope_table *t, const struct slope_deck *d, enum tone tone, struct seen *out, int max)
{
    double noise[TONES];
    slope_noise_sd(d->noise_prior, &d->noise, noise);
    double var = noise[tone] * noise[tone];
    int n = 0;
    for (int i = d->first; i < d->first + d->cell_count && n < max; i++) {
        const struct slope_sums *s = &t->sums[i];
        double mean, sd, sxx = sum(s, SXX);
        if (s->tone != (int)tone || sxx <= 0.0) {
            continue;
        }
        slope_cell_prior(s->cell, tone, &mean, &sd);
        double slope = (tone == LOW_TONE ? 1.0 : -1.0) * sum(s, SXY) / sxx;
        struct seen o = {.n = sxx * sd * sd / var, .z = (slope - mean) / sd, .unknown = 1 + cell_index(&t->fit[tone], s->cell)};
        o.p = o.n / (1.0 + o.n * SHARE_BOTH);
        out[n++] = o;
    }
    return n;
}

/* Symmetric positive definite A (n × n) becomes its inverse. `work` has n·n. */
static void invert(double *a, int n, double *work)
{
    double *l = work; /* A = L·Lᵀ */
    for (int j = 0; j < n; j++) {
        for (int i = j; i < n; i++) {
            double s = a[i * n + j];
            for (int k = 0; k < j; k++) {
                s -= l[i * n + k] * l[j * n + k];
            }
            l[i * n + j] = i == j ? sqrt(s) : s / l[j * n + j];
        }
    }
    for (int c = 0; c < n; c++) { /* column c of the inverse */
        double *x = a + c * n;    /* symmetric: a row serves as the column; rows above are done and not read again */
        for (int i = 0; i < n; i++) {
            double s = i == c ? 1.0 : 0.0;
            for (int k = c; k < i; k++) {
                s -= l[i * n + k] * x[k];
            }
            x[i] = i < c ? 0.0 : s / l[i * n + i];
        }
        for (int i = n - 1; i >= 0; i--) {
            double s = x[i];
            for (int k = i + 1; k < n; k++) {
                s -= l[k * n + i] * x[k];
            }
            x[i] = s / l[i * n + i];
        }
    }
}

#define DECK_CELLS 512 /* more cells than bands and classes make */

static bool fit_tone(struct slope_table *t, enum tone tone)
{
    struct tone_fit *f = &t->fit[tone];
    bool used[SLOPE_CELLS] = {false};
    for (int d = 0; d < t->deck_count; d++) {
        for (int i = t->decks[d].first; !learns(&t->decks[d]) && i < t->decks[d].first + t->decks[d].cell_count; i++) {
            used[t->sums[i].cell] |= t->sums[i].tone == (int)tone && sum(&t->sums[i], SXX) > 0.0;
        }
    }
    for (int c = 0; c < SLOPE_CELLS; c++) {
        f->cell_count += used[c];
    }
    int n = 1 + f->cell_count;
    f->cells = mem_zero((size_t)n, sizeof *f->cells);
    f->mean = mem_zero((size_t)n, sizeof *f->mean);
    f->cov = mem_zero((size_t)n * (size_t)n, sizeof *f->cov);
    double *work = mem_zero((size_t)n * (size_t)n + (size_t)n, sizeof *work);
    if (!f->cells || !f->mean || !f->cov || !work) {
        mem_free(work);
        return false;
    }
    double *m = f->cov, *rhs = work + n * n;
    for (int c = 0, at = 0; c < SLOPE_CELLS; c++) {
        if (used[c]) {
            f->cells[at++] = c;
        }
    }
    m[0] = 1.0 / SHARE_CLUB;
    for (int i = 1; i < n; i++) {
        m[i * n + i] = 1.0 / SHARE_CELL;
    }
    for (int d = 0; d < t->deck_count; d++) {
        if (learns(&t->decks[d])) {
            continue; /* its slopes are only seen times what a mark is worth */
        }
        struct seen s[DECK_CELLS];
        int count = seen_by_deck(t, &t->decks[d], tone, s, DECK_CELLS);
        double q = 1.0 / SHARE_DECK, pz = 0.0;
        for (int i = 0; i < count; i++) {
            q += s[i].p;
            pz += s[i].p * s[i].z;
        }
        for (int i = 0; i < count; i++) {
            double r = s[i].p * (s[i].z - pz / q);
            rhs[0] += r;
            rhs[s[i].unknown] += r;
            for (int j = 0; j < count; j++) {
                double v = (i == j ? s[i].p : 0.0) - s[i].p * s[j].p / q;
                m[0] += v;
                m[s[i].unknown] += v;
                m[s[i].unknown * n] += v;
                m[s[i].unknown * n + s[j].unknown] += v;
            }
        }
    }
    invert(m, n, work);
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            f->mean[i] += m[i * n + j] * rhs[j];
        }
    }
    mem_free(work);
    return true;
}

struct slope_table *slope_table_make(struct slope_deck *decks, int deck_count, struct slope_sums *sums, int sum_count)
{
    struct slope_table *t = mem_zero(1, sizeof *t);
    if (!t) {
        mem_free(decks);
        mem_free(sums);
        return NULL;
    }
    atomic_init(&t->owners, 1);
    t->decks = decks;
    t->deck_count = deck_count;
    t->sums = sums;
    t->sum_count = sum_count;
    for (int i = 0; i < sum_count; i++) {
        t->calibrations[sums[i].cell] += sums[i].tone == HIGH_TONE ? (long)sums[i].count : 0;
    }
    if (!fit_tone(t, LOW_TONE) || !fit_tone(t, HIGH_TONE)) {
        slope_table_drop(t);
        return NULL;
    }
    return t;
}

struct slope_table *slope_table_hold(struct slope_table *t)
{
    if (t) {
        atomic_fetch_add(&t->owners, 1);
    }
    return t;
}

void slope_table_drop(struct slope_table *t)
{
    if (!t || atomic_fetch_sub(&t->owners, 1) > 1) {
        return;
    }
    for (int i = 0; i < TONES; i++) {
        mem_free(t->fit[i].cells);
        mem_free(t->fit[i].mean);
        mem_free(t->fit[i].cov);
    }
    mem_free(t->decks);
    mem_free(t->sums);
    mem_free(t);
}

/* ---- asking ---- */

static const struct slope_deck *deck_find(const struct slope_table *t, const char *id)
{
    int low = 0, high = t ? t->deck_count : 0;
    while (low < high) {
        int mid = (low + high) / 2, order = strcmp(t->decks[mid].id, id);
        if (order == 0) {
            return &t->decks[mid];
        }
        if (order < 0) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return NULL;
}

struct normal {
    double mean, var;
};

/* g + u(cell) with coefficients on other unknowns besides: mean and variance of Σ coef·unknown. */
static struct normal combination(const struct tone_fit *f, const double *coef)
{
    struct normal r = {0.0, 0.0};
    int n = 1 + f->cell_count;
    for (int i = 0; i < n; i++) {
        if (coef[i] == 0.0) {
            continue;
        }
        r.mean += coef[i] * f->mean[i];
        for (int j = 0; j < n; j++) {
            r.var += coef[i] * coef[j] * f->cov[i * n + j];
        }
    }
    return r;
}

/* z of a cell on a deck: what the deck saw itself, and what all decks say. */
static struct normal ask_tone(const struct slope_table *t, const struct slope_deck *d, enum tone tone, int cell)
{
    if (!t) {
        return (struct normal){0.0, 1.0};
    }
    const struct tone_fit *f = &t->fit[tone];
    double coef[1 + SLOPE_CELLS] = {0.0};
    struct seen s[DECK_CELLS];
    int here = cell_index(f, cell), count = d && !learns(d) ? seen_by_deck(t, d, tone, s, DECK_CELLS) : 0;
    double q = 1.0 / SHARE_DECK, pz = 0.0, own_n = 0.0, own_z = 0.0;
    for (int i = 0; i < count; i++) {
        q += s[i].p;
        pz += s[i].p * s[i].z;
        if (s[i].unknown == 1 + here) {
            own_n = s[i].n;
            own_z = s[i].z;
        }
    }
    /* z = (1 − k)·(t + v) + k·z̄ given the cells' t = g + u, k = share the own sums decide */
    double k = own_n * SHARE_BOTH / (1.0 + own_n * SHARE_BOTH);
    struct normal rest = {(1.0 - k) * pz / q + k * own_z, (1.0 - k) * (1.0 - k) / q + (1.0 - k) * SHARE_BOTH};
    coef[0] += 1.0 - k;
    if (here >= 0) {
        coef[1 + here] += 1.0 - k;
    } else {
        rest.var += (1.0 - k) * (1.0 - k) * SHARE_CELL;
    }
    for (int i = 0; i < count; i++) {
        coef[0] -= (1.0 - k) * s[i].p / q;
        coef[s[i].unknown] -= (1.0 - k) * s[i].p / q;
    }
    struct normal r = combination(f, coef);
    return (struct normal){r.mean + rest.mean, r.var + rest.var};
}

static struct dial_worth worth_prior(const struct dial *d)
{
    return d->present ? dial_worth_prior(d) : (struct dial_worth){0.0, 0.0};
}

void slope_table_ask(const struct slope_table *t, const struct deck *deck, struct slope_kind kind, const struct dial_worth shared[2],
                     struct slopes_at *out)
{
    const struct slope_deck *d = deck_find(t, deck->id);
    int cell[TONES] = {slope_cell(kind, LOW_TONE), slope_cell(kind, HIGH_TONE)};
    struct normal z[TONES] = {ask_tone(t, d, LOW_TONE, cell[LOW_TONE]), ask_tone(t, d, HIGH_TONE, cell[HIGH_TONE])};
    struct slopes s = slopes_prior(kind);
    out->worth[0] = worth_prior(&deck->bias_dial);
    out->worth[1] = worth_prior(&deck->level_dial);
    slope_noise_prior(deck->meter_step_db, out->reading_sd);
    if (d) {
        slope_noise_sd(d->noise_prior, &d->noise, out->reading_sd);
    }
    out->calibrations_deck = d ? (long)d->calibrations : 0;
    out->calibrations_cell = t ? t->calibrations[cell[HIGH_TONE]] : 0;
    bool learn_bias = deck->bias_dial.present && deck->bias_dial.scale == SCALE_LEARN;
    bool learn_level = deck->level_dial.present && deck->level_dial.scale == SCALE_LEARN;
    if (learn_bias || learn_level) {
        struct slope_worth_question q = {.learn = {learn_bias, learn_level},
                                         .prior = {out->worth[0], out->worth[1]},
                                         .slopes = s,
                                         .z_mean = {z[LOW_TONE].mean, z[HIGH_TONE].mean},
                                         .z_var = {z[LOW_TONE].var, z[HIGH_TONE].var}};
        if (shared) {
            q.shared[0] = shared[0];
            q.shared[1] = shared[1];
        }
        slope_worth_find(&q, d, d && learns(d) ? t->sums + d->first : NULL, out->reading_sd, out);
        return;
    }
    double prior_sd[TONES] = {s.a_se, s.b_se};
    s.a += prior_sd[LOW_TONE] * z[LOW_TONE].mean;
    s.a_se = prior_sd[LOW_TONE] * sqrt(z[LOW_TONE].var);
    s.b += prior_sd[HIGH_TONE] * z[HIGH_TONE].mean;
    s.b_se = prior_sd[HIGH_TONE] * sqrt(z[HIGH_TONE].var);
    out->slopes = out->seen = s;
}

/* ---- bytes ---- */

#define TABLE_MARK 0x42425331u /* reads otherwise under another byte order or layout */

struct head {
    uint32_t mark, deck_size, sum_size, check;
    int64_t deck_count, sum_count;
};

static uint32_t check_of(const void *bytes, size_t n)
{
    const unsigned char *p = bytes;
    uint32_t h = 2166136261u;
    for (size_t i = 0; i < n; i++) {
        h = (h ^ p[i]) * 16777619u;
    }
    return h;
}

bool slope_table_save(const struct slope_table *t, void **bytes, size_t *n)
{
    size_t decks = (size_t)t->deck_count * sizeof *t->decks, sums = (size_t)t->sum_count * sizeof *t->sums;
    *n = sizeof(struct head) + decks + sums;
    char *out = mem_alloc(*n);
    *bytes = out;
    if (!out) {
        return false;
    }
    struct head h = {TABLE_MARK, sizeof *t->decks, sizeof *t->sums, 0, t->deck_count, t->sum_count};
    if (decks) {
        memcpy(out + sizeof h, t->decks, decks);
        memcpy(out + sizeof h + decks, t->sums, sums);
    }
    h.check = check_of(out + sizeof h, decks + sums);
    memcpy(out, &h, sizeof h);
    return true;
}

/* Only what cannot lead outside the arrays later. */
static bool sound(const struct slope_deck *decks, const struct slope_sums *sums, const struct head *h)
{
    for (int64_t i = 0; i < h->deck_count; i++) {
        const struct slope_deck *d = &decks[i];
        if (memchr(d->id, 0, sizeof d->id) == NULL || d->first < 0 || d->cell_count < 0 ||
            (int64_t)d->first + d->cell_count > h->sum_count || !(d->worth0[0] > 0.0) || !(d->worth0[1] > 0.0) ||
            !(d->noise_prior[0] > 0.0) || !(d->noise_prior[1] > 0.0)) {
            return false;
        }
    }
    for (int64_t i = 0; i < h->sum_count; i++) {
        if (sums[i].cell < 0 || sums[i].cell >= SLOPE_CELLS || sums[i].tone < 0 || sums[i].tone >= TONES) {
            return false;
        }
    }
    return true;
}

struct slope_table *slope_table_load(const void *bytes, size_t n, bool *damaged)
{
    struct head h;
    *damaged = true;
    if (n < sizeof h) {
        return NULL;
    }
    memcpy(&h, bytes, sizeof h);
    const char *body = (const char *)bytes + sizeof h;
    if (h.mark != TABLE_MARK || h.deck_size != sizeof(struct slope_deck) || h.sum_size != sizeof(struct slope_sums) || h.deck_count < 0 ||
        h.sum_count < 0 || h.deck_count > LIMIT_DECKS || h.sum_count > (int64_t)LIMIT_DECKS * DECK_CELLS ||
        n - sizeof h != (size_t)h.deck_count * h.deck_size + (size_t)h.sum_count * h.sum_size || h.check != check_of(body, n - sizeof h)) {
        return NULL;
    }
    size_t deck_bytes = (size_t)h.deck_count * h.deck_size;
    struct slope_deck *decks = h.deck_count ? mem_alloc(deck_bytes) : NULL;
    struct slope_sums *sums = h.sum_count ? mem_alloc((size_t)h.sum_count * h.sum_size) : NULL;
    *damaged = false;
    if ((h.deck_count && !decks) || (h.sum_count && !sums)) {
        mem_free(decks);
        mem_free(sums);
        return NULL;
    }
    if (decks) {
        memcpy(decks, body, deck_bytes);
    }
    if (sums) {
        memcpy(sums, body + deck_bytes, (size_t)h.sum_count * h.sum_size);
    }
    if (!sound(decks, sums, &h)) {
        *damaged = true;
        mem_free(decks);
        mem_free(sums);
        return NULL;
    }
    return slope_table_make(decks, (int)h.deck_count, sums, (int)h.sum_count);
}
