/* SPDX-License-Identifier: GPL-3.0-or-later
 * See deck_course.h. */
#include "deck_course.h"

#include "../ground/memory.h"
#include "../trade/statistics.h"
#include "house.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COMPARED    40   /* results on either side of a service */
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
    return x->made_at_us != y->made_at_us ? (x->made_at_us > y->made_at_us) - (x->made_at_us < y->made_at_us)
                                          : memcmp(&x->id, &y->id, sizeof x->id);
}

static int check_by_time(const void *a, const void *b)
{
    const struct deck_check *x = a, *y = b;
    return x->made_at_us != y->made_at_us ? (x->made_at_us > y->made_at_us) - (x->made_at_us < y->made_at_us)
                                          : memcmp(&x->id, &y->id, sizeof x->id);
}

static bool read_all(struct house *house, struct deck_course *c, struct fault *f)
{
    struct reader *r = reader_take(house->store, f);
    struct list services = {0}, checks = {0};
    if (!r)
        return false;
    bool ok = results_read(c->view, r, c->deck->id, NULL, &c->results, f) &&
              walk_services(r, c->deck->id, take_service, &services, f) != READ_FAILED &&
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

static bool follow(struct deck_course *c)
{
    size_t n = (size_t)c->results.count + 1, m = (size_t)c->service_count + 1;
    struct course_result *results = mem_zero(n, sizeof *results);
    struct course_service *services = mem_zero(m, sizeof *services);
    bool ok = results && services;
    for (int i = 0; ok && i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        results[i] = (struct course_result){row->made_at_us, row->stock, row->tape, !row->left_out, &row->is};
    }
    for (int i = 0; ok && i < c->service_count; i++)
        services[i] = (struct course_service){
            c->services[i].made_at_us, c->services[i].resets, {c->services[i].bias_shift_db, c->services[i].level_shift_db}};
    ok = ok && model_course(c->view->model, c->deck, results, c->results.count, c->results.name_count, services, c->service_count,
                            c->standing, c->spread, c->signals, LIMIT_SIGNALS, &c->signal_count);
    mem_free(results);
    mem_free(services);
    return ok;
}

/* ---- eras ---- */

int deck_course_between(const struct deck_course *c, int64_t from_us, int64_t to_us, enum response r, int *out, int most)
{
    int n = 0;
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        if (row->made_at_us < from_us || row->made_at_us > to_us || !given(c->spread[r][i]))
            continue;
        bool again = false; /* the last of a tape's results of one day stands for them */
        for (int k = i + 1; row->tape >= 0 && k < c->results.count && !again &&
                            c->results.rows[k].made_at_us / 86400000000LL == row->made_at_us / 86400000000LL;
             k++)
            again = c->results.rows[k].tape == row->tape && given(c->spread[r][k]);
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
        if (!out->standing[r] || !out->spread[r])
            return out_of_memory(f);
    }
    return (follow(out) && find_eras(out)) || out_of_memory(f);
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
            if (c->results.rows[i].made_at_us >= at_us && given(c->spread[r][i]) && ++seen == COMPARED)
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
