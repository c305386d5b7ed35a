/* SPDX-License-Identifier: GPL-3.0-or-later
 * See deck_course.h. */
#include "deck_course.h"

#include "../ground/memory.h"
#include "../trade/statistics.h"
#include "house.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COMPARED 40      /* results on either side of a service */
#define OWN_SHARE_DB 0.3 /* how far a stock's own estimate may have followed this deck when all its results are from it */
#define LEAST_CHANGE_DB 0.15 /* what a chart noticed and is smaller, or not twice its own error, is nothing to anybody */
#define CHECK_SD_DB 0.25 /* one playback check against the next: contact and azimuth of the day; from memory */

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
}

/* ---- services and checks ---- */

struct list {
    struct service *services;
    struct deck_check *checks;
    int count, room;
    bool failed;
};

static bool take_service(void *user, const struct service *s, const struct stamp *stamp)
{
    struct list *l = user;
    if (stamp->is_void)
        return true;
    if (l->count == l->room) {
        int room = l->room ? l->room * 2 : 16;
        struct service *more = mem_grow(l->services, (size_t)room, sizeof *more);
        if (!more) {
            l->failed = true;
            return false;
        }
        l->services = more;
        l->room = room;
    }
    l->services[l->count] = *s;
    l->services[l->count++].notes = NULL; /* lives only as long as the walk */
    return true;
}

static bool take_check(void *user, const struct deck_check *c, const struct stamp *stamp)
{
    struct list *l = user;
    if (stamp->is_void)
        return true;
    if (l->count == l->room) {
        int room = l->room ? l->room * 2 : 16;
        struct deck_check *more = mem_grow(l->checks, (size_t)room, sizeof *more);
        if (!more) {
            l->failed = true;
            return false;
        }
        l->checks = more;
        l->room = room;
    }
    l->checks[l->count] = *c;
    l->checks[l->count++].notes = NULL;
    return true;
}

static int service_by_time(const void *a, const void *b)
{
    const struct service *x = a, *y = b;
    return x->made_at_us != y->made_at_us ? (x->made_at_us > y->made_at_us) - (x->made_at_us < y->made_at_us) : memcmp(&x->id, &y->id, sizeof x->id);
}

static int check_by_time(const void *a, const void *b)
{
    const struct deck_check *x = a, *y = b;
    return x->made_at_us != y->made_at_us ? (x->made_at_us > y->made_at_us) - (x->made_at_us < y->made_at_us) : memcmp(&x->id, &y->id, sizeof x->id);
}

static bool read_all(struct house *house, struct deck_course *c, struct fault *f)
{
    struct reader *r = reader_take(house->store, f);
    struct list services = {0}, checks = {0};
    if (!r)
        return false;
    bool ok = results_read(c->view, r, c->deck->id, NULL, &c->results, f) && walk_services(r, c->deck->id, take_service, &services, f) != READ_FAILED &&
              walk_checks(r, c->deck->id, take_check, &checks, f) != READ_FAILED;
    reader_give(r);
    c->services = services.services;
    c->service_count = services.count;
    c->checks = checks.checks;
    c->check_count = checks.count;
    if (ok && (services.failed || checks.failed))
        ok = out_of_memory(f);
    if (ok && c->service_count)
        qsort(c->services, (size_t)c->service_count, sizeof *c->services, service_by_time);
    if (ok && c->check_count)
        qsort(c->checks, (size_t)c->check_count, sizeof *c->checks, check_by_time);
    return ok;
}

/* ---- standings ---- */

static double known_shift(const struct deck_course *c, int64_t at_us, enum response r)
{
    double sum = 0;
    for (int i = 0; i < c->service_count && c->services[i].made_at_us <= at_us; i++) {
        double shift = r == BIAS ? c->services[i].bias_shift_db : c->services[i].level_shift_db;
        sum += given(shift) ? shift : 0;
    }
    return sum;
}

static bool reset_between(const struct deck_course *c, int64_t after_us, int64_t until_us)
{
    for (int i = 0; i < c->service_count; i++)
        if (c->services[i].resets && c->services[i].made_at_us > after_us && c->services[i].made_at_us <= until_us)
            return true;
    return false;
}

/* What one response needs while it is worked out; one allocation. */
struct work {
    struct course_row *rows;
    struct course_effect *stocks, *tapes, *levels;
    const struct stock **stock;
    struct trend_result *results;
    int *kept, *room_int, *tape_number; /* kept: index into results.rows */
    double *room_double, *own;
    int n, stock_count, tape_count;
};

static void work_free(struct work *w)
{
    mem_free(w->rows);
    mem_free(w->stocks);
    mem_free(w->tapes);
    mem_free(w->levels);
    mem_free(w->stock);
    mem_free(w->results);
    mem_free(w->kept);
    mem_free(w->room_int);
    mem_free(w->tape_number);
    mem_free(w->room_double);
    mem_free(w->own);
}

static bool work_make(struct work *w, int count)
{
    size_t n = (size_t)count + 1;
    *w = (struct work){.rows = mem_zero(n, sizeof *w->rows), .stocks = mem_zero(n, sizeof *w->stocks), .tapes = mem_zero(n, sizeof *w->tapes),
                       .levels = mem_zero(n, sizeof *w->levels), .stock = mem_zero(n, sizeof(const struct stock *)), .results = mem_zero(n, sizeof *w->results),
                       .kept = mem_zero(n, sizeof *w->kept), .room_int = mem_zero(n, sizeof *w->room_int), .tape_number = mem_zero(n * 3, sizeof *w->tape_number),
                       .room_double = mem_zero(n, sizeof *w->room_double), .own = mem_zero(n, sizeof *w->own)};
    return w->rows && w->stocks && w->tapes && w->levels && w->stock && w->results && w->kept && w->room_int && w->tape_number && w->room_double && w->own;
}

static int stock_number(struct work *w, const struct stock *s)
{
    int k = 0;
    while (k < w->stock_count && w->stock[k] != s)
        k++;
    if (k == w->stock_count)
        w->stock[w->stock_count++] = s;
    return k;
}

/* Results of this response in order, each minus what the club says of its stock; the known shifts taken off. */
static void fill_rows(const struct deck_course *c, enum response r, struct work *w)
{
    double place = 0;
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        if (row->left_out || !given(row->flat[r]))
            continue;
        struct course_row *to = &w->rows[w->n];
        double sd = result_sd(row, &c->club, r);
        /* names are numbered over tapes, batches and members together: at most three a result */
        if (row->tape >= 0 && !w->tape_number[row->tape])
            w->tape_number[row->tape] = ++w->tape_count;
        *to = (struct course_row){.y = row->flat[r] - result_expected(row, 1u << PART_STOCK | 1u << PART_WAY | 1u << PART_DECK, r) - known_shift(c, row->made_at_us, r),
                                  .variance = sd * sd, .stock = stock_number(w, row->stock), .tape = row->tape < 0 ? -1 : w->tape_number[row->tape] - 1,
                                  .reset = w->n > 0 && reset_between(c, c->results.rows[w->kept[w->n - 1]].made_at_us, row->made_at_us)};
        w->own[to->stock] += 1;
        place += row->part[PART_DECK][r];
        w->kept[w->n++] = i;
    }
    for (int i = 0; i < w->n; i++) /* the deck's own place, not its class's, comes back in */
        w->rows[i].y += place / w->n;
}

/* How far a stock may stand from what the club says of it, on this deck. */
static void fill_stocks(const struct deck_course *c, enum response r, struct work *w)
{
    for (int k = 0; k < w->stock_count; k++) {
        struct outlook_stock o;
        model_stock(c->view->model, w->stock[k], &o);
        double doubt = fmin(o.se[r], o.spread[r]), share = o.rows > 0 ? fmin(w->own[k] / (double)o.rows, 1) : 1;
        double variance = doubt * doubt + o.pair_sd[r] * o.pair_sd[r] + share * share * OWN_SHARE_DB * OWN_SHARE_DB;
        w->stocks[k].sd = sqrt(variance);
    }
}

static void watch(struct deck_course *c, enum response r, struct work *w)
{
    struct trend_signal found[LIMIT_SIGNALS];
    for (int i = 0; i < w->n; i++)
        w->results[i] = (struct trend_result){.made_at_us = c->results.rows[w->kept[i]].made_at_us, .tape = (uint64_t)(w->rows[i].tape + 1),
                                              .residual = w->rows[i].residual, .sd = w->rows[i].sd, .tape_sd = c->club.tape_sd[r], .reset = w->rows[i].reset};
    int n = trend_watch(w->results, w->n, &trend_usual, NULL, found, LIMIT_SIGNALS, w->room_int, w->room_double);
    for (int i = 0; i < n && i < LIMIT_SIGNALS && c->signal_count < LIMIT_SIGNALS; i++) {
        if (fabs(found[i].size_db) < fmax(LEAST_CHANGE_DB, 2 * found[i].size_se_db))
            continue;
        found[i].since = w->kept[found[i].since];
        found[i].found = w->kept[found[i].found];
        c->signals[c->signal_count++] = (struct course_signal){r, found[i]};
    }
}

static bool follow(struct deck_course *c, enum response r)
{
    struct work w;
    bool ok = work_make(&w, c->results.count);
    if (ok) {
        fill_rows(c, r, &w);
        fill_stocks(c, r, &w);
        if (w.n)
            course_fit(w.rows, w.n, w.stocks, w.stock_count, w.tapes, w.tape_count, c->club.tape_sd[r], w.levels);
        for (int i = 0; i < c->results.count; i++)
            c->standing[r][i] = c->spread[r][i] = ABSENT;
        for (int i = 0; i < w.n; i++) {
            int at = w.kept[i];
            c->standing[r][at] = w.rows[i].residual + known_shift(c, c->results.rows[at].made_at_us, r);
            c->spread[r][at] = w.rows[i].sd;
        }
        watch(c, r, &w);
    }
    work_free(&w);
    return ok;
}

/* ---- eras ---- */

int deck_course_between(const struct deck_course *c, int64_t from_us, int64_t to_us, enum response r, int *out, int most)
{
    int n = 0;
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        if (row->made_at_us < from_us || row->made_at_us > to_us || !given(c->standing[r][i]))
            continue;
        bool again = false; /* the last of a tape's results of one day stands for them */
        for (int k = i + 1; row->tape >= 0 && k < c->results.count && !again && c->results.rows[k].made_at_us / 86400000000LL == row->made_at_us / 86400000000LL; k++)
            again = c->results.rows[k].tape == row->tape && given(c->standing[r][k]);
        if (again)
            continue;
        if (n == most) { /* the latest are kept */
            memmove(out, out + 1, (size_t)(most - 1) * sizeof *out);
            n--;
        }
        out[n++] = i;
    }
    return n;
}

static int signal_by_time(const void *a, const void *b)
{
    const struct course_signal *x = a, *y = b;
    return x->at.since != y->at.since ? x->at.since - y->at.since : (int)x->response - (int)y->response;
}

static bool sum_up(const struct deck_course *c, struct deck_era *e)
{
    size_t room = (size_t)c->results.count + 1;
    int *at = mem_zero(room, sizeof *at);
    double *x = mem_zero(room, sizeof *x);
    for (int r = 0; at && x && r < RESPONSES; r++) {
        int n = deck_course_between(c, e->from_us, e->to_us, (enum response)r, at, c->results.count);
        for (int i = 0; i < n; i++)
            x[i] = c->standing[r][at[i]];
        struct summary s = summary_of(x, (size_t)n);
        e->mean[r] = s.median; /* a misentry does not move it */
        double spread = 0;
        for (int i = 0; i < n; i++)
            spread += c->spread[r][at[i]] * c->spread[r][at[i]] / n;
        e->se[r] = n ? sqrt(spread / n) * 1.2533 : ABSENT; /* √(π/2): of a median */
        if (n > e->results)
            e->results = n;
    }
    bool ok = at && x;
    mem_free(at);
    mem_free(x);
    return ok;
}

struct border {
    int64_t at_us;
    enum era_begin begin;
    int service;
};

static int border_by_time(const void *a, const void *b)
{
    const struct border *x = a, *y = b;
    return x->at_us != y->at_us ? (x->at_us > y->at_us) - (x->at_us < y->at_us) : (int)x->begin - (int)y->begin;
}

/* Eras run from the first result, from each service that resets and from each change that was noticed, to the next. One without results is not told. */
static bool find_eras(struct deck_course *c)
{
    size_t most = (size_t)(c->service_count + c->signal_count) + 1;
    struct border *border = mem_zero(most, sizeof *border);
    int n = 0;
    c->eras = mem_zero(most, sizeof *c->eras);
    bool ok = border && c->eras;
    if (ok && c->results.count)
        border[n++] = (struct border){INT64_MIN, BEGINS_FIRST, -1};
    for (int i = 0; ok && c->results.count && i < c->service_count; i++)
        if (c->services[i].resets)
            border[n++] = (struct border){c->services[i].made_at_us, BEGINS_SERVICE, i};
    for (int i = 0; ok && i < c->signal_count; i++)
        border[n++] = (struct border){c->results.rows[c->signals[i].at.since].made_at_us, BEGINS_SIGNAL, -1};
    if (ok && n)
        qsort(border, (size_t)n, sizeof *border, border_by_time);
    for (int i = 0; ok && i < n; i++) {
        int64_t until = i + 1 < n ? border[i + 1].at_us - 1 : INT64_MAX;
        struct deck_era e = {.begin = border[i].begin, .service = border[i].service};
        int results = 0;
        for (int k = 0; k < c->results.count; k++) {
            const struct result *row = &c->results.rows[k];
            if (row->left_out || row->made_at_us < border[i].at_us || row->made_at_us > until)
                continue;
            if (!results++)
                e.from_us = row->made_at_us;
            e.to_us = row->made_at_us;
        }
        if (!results)
            continue;
        ok = sum_up(c, &e);
        c->eras[c->era_count++] = e;
    }
    mem_free(border);
    return ok;
}

bool deck_course_make(struct house *house, const struct view *v, const struct deck *d, struct deck_course *out, struct fault *f)
{
    struct stock any;
    *out = (struct deck_course){.view = v, .deck = d};
    stock_init(&any);
    any.tape_class = d->medium == MEDIUM_REEL ? CLASS_REEL_STANDARD : CLASS_TYPE_1;
    model_stock(v->model, &any, &out->club);
    if (!read_all(house, out, f))
        return false;
    for (int r = 0; r < RESPONSES; r++) {
        out->standing[r] = mem_zero((size_t)out->results.count + 1, sizeof *out->standing[r]);
        out->spread[r] = mem_zero((size_t)out->results.count + 1, sizeof *out->spread[r]);
        if (!out->standing[r] || !out->spread[r] || !follow(out, (enum response)r))
            return out_of_memory(f);
    }
    if (out->signal_count)
        qsort(out->signals, (size_t)out->signal_count, sizeof *out->signals, signal_by_time);
    return find_eras(out) || out_of_memory(f);
}

void deck_course_free(struct deck_course *c)
{
    results_free(&c->results);
    mem_free(c->services);
    mem_free(c->checks);
    for (int r = 0; r < RESPONSES; r++) {
        mem_free(c->standing[r]);
        mem_free(c->spread[r]);
    }
    mem_free(c->eras);
}

/* ---- before and after ---- */

/* Summary of standings, each cut to 2.5 of its own scatter about their median: a misentry is no change. */
static struct summary summary_cut(const struct deck_course *c, enum response r, const int *at, int n, double x[COMPARED])
{
    for (int i = 0; i < n; i++)
        x[i] = c->standing[r][at[i]];
    double median = summary_of(x, (size_t)n).median;
    for (int i = 0; i < n; i++) {
        double most = trend_usual.clip * c->spread[r][at[i]];
        x[i] = fmin(fmax(c->standing[r][at[i]], median - most), median + most);
    }
    return summary_of(x, (size_t)n);
}

bool deck_course_compare(const struct deck_course *c, int64_t at_us, struct course_change *out)
{
    int64_t from = INT64_MIN, to = INT64_MAX;
    int *at = mem_zero(COMPARED, sizeof *at);
    double room[COMPARED];
    *out = (struct course_change){0};
    if (!at)
        return false;
    for (int i = 0; i < c->service_count; i++) {
        int64_t when = c->services[i].made_at_us;
        if (c->services[i].resets && when < at_us)
            from = when > from ? when : from;
        if (c->services[i].resets && when > at_us)
            to = when - 1 < to ? when - 1 : to;
    }
    for (int i = 0; i < c->signal_count; i++) {
        int64_t when = c->results.rows[c->signals[i].at.since].made_at_us;
        if (when < at_us)
            from = when > from ? when : from;
        if (when > at_us)
            to = when - 1 < to ? when - 1 : to;
    }
    for (int r = 0; r < RESPONSES; r++) {
        int n = deck_course_between(c, from, at_us - 1, (enum response)r, at, COMPARED), m;
        struct summary x = summary_cut(c, (enum response)r, at, n, room);
        /* the first results after it: the list is cut at its end */
        int64_t end = to;
        int seen = 0;
        for (int i = 0; i < c->results.count && seen <= COMPARED; i++)
            if (c->results.rows[i].made_at_us >= at_us && given(c->standing[r][i]) && ++seen == COMPARED)
                end = c->results.rows[i].made_at_us < to ? c->results.rows[i].made_at_us : to;
        m = deck_course_between(c, at_us, end, (enum response)r, at, COMPARED);
        struct summary y = summary_cut(c, (enum response)r, at, m, room);
        struct difference d = difference_of(&x, &y, 0.9);
        out->mean[r] = d.mean;
        out->se[r] = d.se;
        out->low90[r] = d.low;
        out->high90[r] = d.high;
        out->before = n > out->before ? n : out->before;
        out->after = m > out->after ? m : out->after;
    }
    mem_free(at);
    return true;
}

void deck_course_playback(const struct deck_course *c, int64_t at_us, double *low_db, double *high_db, double *se_db)
{
    double sum[2][2] = {{0}};
    int n[2] = {0};
    for (int i = 0; i < c->check_count; i++) {
        const struct deck_check *k = &c->checks[i];
        int side = k->made_at_us >= at_us;
        if (k->kind != CHECK_PLAYBACK || !given(k->low_db) || !given(k->high_db))
            continue;
        sum[side][0] += k->low_db;
        sum[side][1] += k->high_db;
        n[side]++;
    }
    bool both = n[0] && n[1];
    *low_db = both ? sum[1][0] / n[1] - sum[0][0] / n[0] : ABSENT;
    *high_db = both ? sum[1][1] / n[1] - sum[0][1] / n[0] : ABSENT;
    *se_db = both ? CHECK_SD_DB * sqrt(1.0 / n[0] + 1.0 / n[1]) : ABSENT;
}
