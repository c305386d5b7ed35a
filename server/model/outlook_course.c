/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One deck over time: see outlook.h. Once a page; a deck has some hundred results.
 */
#include "outlook.h"

#include "../ground/memory.h"
#include "../trade/course.h"

#include <stdlib.h>
#include <string.h>

#define OWN_SHARE_DB  0.3 /* how far a stock's own estimate may have followed this deck when all its results are from it */
#define DAY_US        (86400LL * 1000000LL)
#define SESSION_SD_DB 0.1  /* usual share of an evening; from memory of how people work */
#define SESSION_LEAN  20.0 /* pairs of results that it counts for */
#define SESSION_MOST  40   /* results of one day that are paired with each other */
#define SIGNALS       64   /* of one response, before the small ones are dropped */

/* ---- results one by one ---- */

static enum outlook_part part_of(const char *name)
{
    static const struct {
        const char *name;
        enum outlook_part part;
    } parts[] = {{"batch", PART_TAPE},          {"tape", PART_TAPE}, {"deck model", PART_DECK},       {"deck", PART_DECK},
                 {"deck and class", PART_DECK}, {"era", PART_TIME},  {"change over time", PART_TIME}, {"channel", PART_WAY},
                 {"setup", PART_WAY},           {"pair", PART_PAIR}};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (!strcmp(name, parts[i].name))
            return parts[i].part;
    return PART_STOCK;
}

static int way_of(const struct calibration *c, const struct deck *d)
{
    int setup = 0;
    for (int i = 0; i < d->setup_count && c->setup[0]; i++)
        if (!strcmp(d->setups[i].id, c->setup) && strcmp(c->setup, "main"))
            setup = i + 1;
    return setup * METHOD_COUNT + (int)c->bias_method;
}

void model_explain(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s,
                   struct outlook_row *out)
{
    struct model_question q = model_question_of(c, d, s);
    struct model_answer a;
    struct flat_result flat;
    const struct dial *dials[RESPONSES] = {&d->bias_dial, &d->level_dial};
    const double reading[RESPONSES] = {c->bias, c->level};
    *out = (struct outlook_row){.read = given(c->low_db) && given(c->high_db), .way = way_of(c, d)};
    model_ask(v, &q, &a);
    for (int i = 0; i < a.part_count; i++)
        for (int r = 0; r < RESPONSES; r++)
            out->part[part_of(a.parts[i].name)][r] += a.parts[i].value[r];
    if (c->bias_method != METHOD_FLAT) { /* a question is about flat results */
        double flat_way[RESPONSES], way[RESPONSES];
        model_way(v, d, c->setup, METHOD_FLAT, flat_way);
        model_way(v, d, c->setup, c->bias_method, way);
        for (int r = 0; r < RESPONSES; r++)
            out->part[PART_WAY][r] += way[r] - flat_way[r];
    }
    model_flat(v, c, d, s, &flat);
    for (int r = 0; r < RESPONSES; r++) {
        bool told = out->read || (dials[r]->present && given(reading[r]));
        out->flat[r] = told && isfinite(flat.value[r]) ? flat.value[r] : ABSENT;
        out->variance[r] = flat.variance[r];
    }
}

double outlook_expected(const struct outlook_row *row, unsigned parts, enum response r)
{
    double sum = 0;
    for (int p = 0; p < OUTLOOK_PARTS; p++)
        if (parts >> p & 1)
            sum += row->part[p][r];
    return sum;
}

double outlook_sd(const struct outlook_row *row, const struct outlook_stock *s, enum response r)
{
    double sigma = row->read ? s->sigma[r] : s->blind_sigma[r];
    return sqrt(sigma * sigma + row->variance[r]);
}

/* ---- the course ---- */

struct asked {
    const struct model_view *view;
    const struct course_result *results;
    int n;
    const struct course_service *services;
    int service_count;
    int way;                   /* the deck's most used one */
    struct outlook_stock club; /* of any stock: only the club's figures in it are used */
};

static int usual_way(const struct course_result *results, int n)
{
    int count[(LIMIT_SETUPS + 1) * METHOD_COUNT] = {0}, best = 0;
    for (int i = 0; i < n; i++)
        if (results[i].used && ++count[results[i].row->way] > count[best])
            best = results[i].row->way;
    return best;
}

static double known_shift(const struct asked *a, int64_t at_us, int r)
{
    double sum = 0;
    for (int i = 0; i < a->service_count && a->services[i].made_at_us <= at_us; i++)
        sum += given(a->services[i].shift[r]) ? a->services[i].shift[r] : 0;
    return sum;
}

static bool reset_between(const struct asked *a, int64_t after_us, int64_t until_us)
{
    for (int i = 0; i < a->service_count; i++)
        if (a->services[i].resets && a->services[i].made_at_us > after_us && a->services[i].made_at_us <= until_us)
            return true;
    return false;
}

/* What one response needs while it is worked out. */
struct work {
    struct course_row *rows;
    struct course_effect *stocks, *tapes, *levels;
    const struct stock **stock;
    struct trend_result *results;
    int *kept, *room_int, *tape_number; /* kept: index into the results */
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

static bool work_make(struct work *w, int count, int tapes)
{
    size_t n = (size_t)count + 1;
    *w = (struct work){.rows = mem_zero(n, sizeof *w->rows),
                       .stocks = mem_zero(n, sizeof *w->stocks),
                       .tapes = mem_zero(n, sizeof *w->tapes),
                       .levels = mem_zero(n, sizeof *w->levels),
                       .stock = mem_zero(n, sizeof(const struct stock *)),
                       .results = mem_zero(n, sizeof *w->results),
                       .kept = mem_zero(n, sizeof *w->kept),
                       .room_int = mem_zero(n, sizeof *w->room_int),
                       .tape_number = mem_zero((size_t)tapes + 1, sizeof *w->tape_number),
                       .room_double = mem_zero(n, sizeof *w->room_double),
                       .own = mem_zero(n, sizeof *w->own)};
    return w->rows && w->stocks && w->tapes && w->levels && w->stock && w->results && w->kept && w->room_int && w->tape_number &&
           w->room_double && w->own;
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

/* A result minus what the club says of its stock and way; known shifts taken off. */
static double stands(const struct asked *a, const struct course_result *one, enum response r)
{
    return one->row->flat[r] - outlook_expected(one->row, 1u << PART_STOCK | 1u << PART_WAY, r) - known_shift(a, one->made_at_us, (int)r);
}

/* Results of this response in order, each minus what the club says of its stock; the known shifts taken off. */
static void fill_rows(const struct asked *a, enum response r, struct work *w)
{
    double place = 0;
    for (int i = 0; i < a->n; i++) {
        const struct course_result *one = &a->results[i];
        if (!one->used || !given(one->row->flat[r]) || one->row->way != a->way)
            continue;
        struct course_row *to = &w->rows[w->n];
        double sd = outlook_sd(one->row, &a->club, r);
        if (one->tape >= 0 && !w->tape_number[one->tape])
            w->tape_number[one->tape] = ++w->tape_count;
        *to = (struct course_row){.y = stands(a, one, r) - one->row->part[PART_DECK][r],
                                  .variance = sd * sd,
                                  .stock = stock_number(w, one->stock),
                                  .tape = one->tape < 0 ? -1 : w->tape_number[one->tape] - 1,
                                  .reset = w->n > 0 && reset_between(a, a->results[w->kept[w->n - 1]].made_at_us, one->made_at_us)};
        w->own[to->stock] += 1;
        place += one->row->part[PART_DECK][r];
        w->kept[w->n++] = i;
    }
    for (int i = 0; i < w->n; i++) /* the deck's own place, not its class's, comes back in */
        w->rows[i].y += place / w->n;
}

/* How far a stock may stand from what the club says of it, on this deck. */
static void fill_stocks(const struct asked *a, enum response r, struct work *w)
{
    for (int k = 0; k < w->stock_count; k++) {
        struct outlook_stock o;
        model_stock(a->view, w->stock[k], &o);
        double doubt = fmin(o.se[r], o.spread[r]), share = o.rows > 0 ? fmin(w->own[k] / (double)o.rows, 1) : 1;
        w->stocks[k].sd = sqrt(doubt * doubt + o.pair_sd[r] * o.pair_sd[r] + share * share * OWN_SHARE_DB * OWN_SHARE_DB);
    }
}

static int64_t day_of(int64_t us)
{
    return us >= 0 ? us / DAY_US : -((DAY_US - 1 - us) / DAY_US);
}

static double cut(double x, double most)
{
    return fmin(fmax(x, -most), most);
}

/* What results of one evening share beyond the deck: whoever turns the dials starts each tape where the last one ended, and a coarse meter does not show the rest. From
 * products of two results of a day, cut; the level of their stretch has taken a part of it along. Leans on SESSION_SD_DB. */
static double session_sd(const struct asked *a, const struct work *w)
{
    double sum = 0, pairs = 0, size = 0, days = 0;
    for (int from = 0, to; from < w->n; from = to) {
        for (to = from + 1; to < w->n && day_of(a->results[w->kept[to]].made_at_us) == day_of(a->results[w->kept[from]].made_at_us); to++)
            ;
        size += to - from, days += 1;
        for (int i = from; i < to; i++)
            for (int k = i + 1; k < to && k < from + SESSION_MOST; k++) {
                double most = trend_usual.clip;
                double x = w->rows[i].sd * cut(w->rows[i].rest / w->rows[i].sd, most),
                       y = w->rows[k].sd * cut(w->rows[k].rest / w->rows[k].sd, most);
                double weight = 1 / (w->rows[i].variance * w->rows[k].variance);
                sum += x * y * weight / (to - from);
                pairs += weight / (to - from);
            }
    }
    double usual = SESSION_SD_DB * SESSION_SD_DB, lost = fmin(size / fmax(days, 1) / COURSE_STRETCH, 0.6), lean = 0;
    for (int i = 0; i < w->n; i++)
        lean += 1 / (w->rows[i].variance * w->rows[i].variance) / fmax(w->n, 1);
    lean *= SESSION_LEAN;
    return sqrt(fmax((sum / (1 - lost) + lean * usual) / fmax(pairs + lean, 1e-12), 0));
}

/* How many results of its evening a result stands among, those of one tape counted once (the charts keep one a tape and day). */
static int evening(const struct asked *a, const struct work *w, int i)
{
    int64_t day = day_of(a->results[w->kept[i]].made_at_us);
    int from = i, to = i + 1, count = 0;
    while (from > 0 && day_of(a->results[w->kept[from - 1]].made_at_us) == day)
        from--;
    while (to < w->n && day_of(a->results[w->kept[to]].made_at_us) == day)
        to++;
    for (int k = from; k < to; k++) {
        bool again = false;
        for (int q = k + 1; q < to && !again; q++)
            again = w->rows[k].tape >= 0 && w->rows[q].tape == w->rows[k].tape;
        count += !again;
    }
    return count;
}

/* An evening of m results has the evening's share m times in its sum: each is taken to scatter by that much more, so that the sum is judged right. */
static void watch(const struct asked *a, enum response r, struct work *w, struct course_signal *signals, int most, int *count)
{
    struct trend_signal found[SIGNALS];
    double session = session_sd(a, w);
    for (int i = 0; i < w->n; i++)
        w->results[i] = (struct trend_result){.made_at_us = a->results[w->kept[i]].made_at_us,
                                              .tape = (uint64_t)(w->rows[i].tape + 1),
                                              .residual = w->rows[i].residual,
                                              .sd = sqrt(w->rows[i].sd * w->rows[i].sd + evening(a, w, i) * session * session),
                                              .tape_sd = a->club.tape_sd[r],
                                              .reset = w->rows[i].reset};
    int n = trend_watch(w->results, w->n, &trend_usual, NULL, found, SIGNALS, w->room_int, w->room_double);
    for (int i = 0; i < n && i < SIGNALS && *count < most; i++) {
        if (fabs(found[i].size_db) < fmax(LEAST_CHANGE_DB, 2 * found[i].size_se_db))
            continue;
        found[i].since = w->kept[found[i].since];
        found[i].found = w->kept[found[i].found];
        signals[(*count)++] = (struct course_signal){r, found[i]};
    }
}

static int signal_by_time(const void *a, const void *b)
{
    const struct course_signal *x = a, *y = b;
    return x->at.since != y->at.since ? x->at.since - y->at.since : (int)x->response - (int)y->response;
}

bool model_course(const struct model_view *v, const struct deck *d, const struct course_result *results, int n, int tapes,
                  const struct course_service *services, int service_count, double *const standing[RESPONSES],
                  double *const spread[RESPONSES], struct course_signal *signals, int most, int *signal_count)
{
    struct asked a = {
        .view = v, .results = results, .n = n, .services = services, .service_count = service_count, .way = usual_way(results, n)};
    struct stock any;
    bool ok = true;
    stock_init(&any);
    any.tape_class = d->medium == MEDIUM_REEL ? CLASS_REEL_STANDARD : CLASS_TYPE_1;
    model_stock(v, &any, &a.club);
    *signal_count = 0;
    for (int r = 0; ok && r < RESPONSES; r++) {
        struct work w;
        ok = work_make(&w, n, tapes);
        for (int i = 0; ok && i < n; i++)
            standing[r][i] = spread[r][i] = ABSENT;
        if (ok) {
            fill_rows(&a, (enum response)r, &w);
            fill_stocks(&a, (enum response)r, &w);
            if (w.n)
                course_fit(w.rows, w.n, w.stocks, w.stock_count, w.tapes, w.tape_count, a.club.tape_sd[r], w.levels);
            for (int i = 0; i < n; i++)
                if (results[i].used)
                    standing[r][i] = stands(&a, &results[i], (enum response)r) + known_shift(&a, results[i].made_at_us, r);
            for (int i = 0; i < w.n; i++) {
                standing[r][w.kept[i]] = w.rows[i].residual + known_shift(&a, results[w.kept[i]].made_at_us, r);
                spread[r][w.kept[i]] = w.rows[i].sd;
            }
            watch(&a, (enum response)r, &w, signals, most, signal_count);
        }
        work_free(&w);
    }
    if (ok && *signal_count)
        qsort(signals, (size_t)*signal_count, sizeof *signals, signal_by_time);
    return ok;
}
