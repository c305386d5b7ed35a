/* SPDX-License-Identifier: GPL-3.0-or-later
 * Estimators held against clubs whose truth is known: see judge.h. */
#include "judge.h"

#include "ground/memory.h"
#include "trade/dial.h"

#include <string.h>

#define ESTIMATORS 8

double judge_rmse(double sum_sq, long n)
{
    return n > 0 ? sqrt(sum_sq / (double)n) : 0.0;
}

/* A number of dB on a deck's dial, as that dial truly is: of a `learn` dial the estimator's dB are worth what it took a unit for. */
static double true_nominal(const struct bench_deck *d, double db, double worth)
{
    bool learned = d->record.bias_dial.present && d->record.bias_dial.scale == SCALE_LEARN;
    return learned && worth > 0 ? db / worth * d->dial[BENCH_BIAS].learned : db;
}

/* All decks with all tapes of which something is known; the truth of each is solved once for all estimators. */
static void score_pairs(const struct club *c, struct estimator *const *e, int estimators, const bool *deck_seen, const bool *stock_seen,
                        int64_t at_us, struct judge_score *scores)
{
    for (int d = 0; d < c->deck_count; d++)
        for (int k = 0; k < c->stock_count; k++) {
            const struct deck *deck = &c->decks[d].record;
            if (!deck_seen[d] || !stock_seen[k] || !diary_possible(c, d, k) || !deck->bias_dial.present)
                continue;
            struct judge_question q = {d, k, 0, deck->per_channel ? CHANNEL_LEFT : CHANNEL_BOTH, 0, ABSENT, ABSENT, "", "", at_us};
            double truth[2];
            diary_truth(c, d, k, q.setup, q.channel, at_us, truth);
            for (int i = 0; i < estimators; i++) {
                struct judge_score *s = &scores[i];
                struct judge_answer a;
                if (!e[i]->ask(e[i]->state, &q, &a))
                    continue;
                double off = true_nominal(&c->decks[d], a.bias, a.worth) - truth[BENCH_BIAS];
                s->pairs++;
                s->bias_sq += off * off;
                s->worst = fmax(s->worst, fabs(off));
                if (deck->level_dial.present && deck->level_dial.scale != SCALE_LEARN) {
                    s->level_pairs++;
                    s->level_sq += (a.level - truth[BENCH_LEVEL]) * (a.level - truth[BENCH_LEVEL]);
                }
            }
        }
}

static struct judge_question question_of(const struct diary_row *r)
{
    const struct calibration *c = &r->calibration;
    return (struct judge_question){r->deck,       r->stock, r->place.setup, c->channel, c->recordings,
                                   c->position_s, ABSENT,   c->batch,       c->tape,    c->made_at_us};
}

/* Whether this result can be tested against the range: written with readings, by flatness, nothing left on. Then 1 inside, 0 outside; else −1. */
static int inside_range(const struct club *c, const struct estimator *e, const struct diary_row *r)
{
    const struct calibration *k = &r->calibration;
    struct judge_question q = question_of(r);
    struct judge_answer a;
    for (int d = 0; d < c->deck_count; d++) /* the deck that was named, as the product will see it */
        if (strcmp(c->decks[d].record.id, k->deck) == 0)
            q.deck = d;
    const struct dial *dial = &c->decks[q.deck].record.bias_dial;
    if (!given(k->low_db) || !dial->present || k->bias_method != METHOD_FLAT || k->noise_reduction || k->mpx_filter || !k->settled ||
        given(k->high_hz) || k->bias_stop != STOP_NONE || !e->ask(e->state, &q, &a) || a.low90 > a.high90 || !(a.slopes > 0))
        return -1;
    double flat = dial_to_db(dial, a.worth, k->bias) + (k->high_db - k->low_db) / a.slopes;
    return flat >= a.low90 && flat <= a.high90;
}

struct run {
    const struct judge_case *k;
    struct club *club;
    struct diary *diary;
    struct diary_row *ahead; /* `later` rows */
    bool *deck_seen, *stock_seen;
    struct estimator *e[ESTIMATORS];
    int count;
};

static bool timed(struct judge_score *s, bool ok, int64_t since_us)
{
    s->seconds += (double)(clock_monotonic_us() - since_us) / 1e6;
    return ok;
}

/* A realigned deck is one that nobody knows until its next result. */
static void forget(struct run *u, const struct service *s)
{
    for (int d = 0; s->resets && d < u->club->deck_count; d++)
        if (strcmp(u->club->decks[d].record.id, s->deck) == 0)
            u->deck_seen[d] = false;
}

static bool learn_known(struct run *u, struct judge_score *scores, int64_t *at_us)
{
    struct diary_row row;
    int service = 0;
    for (long n = 0; n < u->k->rows && diary_next(u->diary, &row); n++) {
        for (; service < u->club->service_count && u->club->services[service].made_at_us <= row.calibration.made_at_us; service++)
            forget(u, &u->club->services[service]);
        u->deck_seen[row.deck] = u->stock_seen[row.stock] = true;
        *at_us = row.calibration.made_at_us + 60000000;
        for (int i = 0; i < u->count; i++) {
            int64_t now = clock_monotonic_us();
            if (!timed(&scores[i], u->e[i]->learn(u->e[i]->state, &row, n + 1), now))
                return false;
        }
    }
    for (int i = 0; i < u->count; i++) {
        int64_t now = clock_monotonic_us();
        if (!timed(&scores[i], u->e[i]->settle(u->e[i]->state, true), now))
            return false;
    }
    return true;
}

static bool score_ranges(struct run *u, struct judge_score *scores)
{
    long n = 0;
    while (n < u->k->later && diary_next(u->diary, &u->ahead[n]))
        n++;
    for (int i = 0; i < u->count; i++) {
        struct estimator *e = u->e[i];
        for (long r = 0; r < n; r++) {
            int in = inside_range(u->club, e, &u->ahead[r]);
            if (in < 0)
                continue;
            scores[i].later++;
            scores[i].later_inside += in;
            if (u->ahead[r].fact.misentry == ENTRY_RIGHT) {
                scores[i].clean++;
                scores[i].clean_inside += in;
            }
        }
        for (long r = 0; r < n && u->k->block > 0; r++) {
            int in = inside_range(u->club, e, &u->ahead[r]);
            if (in >= 0) {
                scores[i].next++;
                scores[i].next_inside += in;
            }
            if ((r + 1) % u->k->block == 0) {
                for (long b = r + 1 - u->k->block; b <= r; b++)
                    if (!e->learn(e->state, &u->ahead[b], u->k->rows + b + 1))
                        return false;
                if (!e->settle(e->state, false))
                    return false;
            }
        }
    }
    return true;
}

bool judge(const struct judge_case *k, struct estimator *(*make)(const struct club *c, int which), int estimators,
           struct judge_score *scores)
{
    struct run u = {.k = k};
    struct club_size size = {
        k->decks, k->stocks, k->members, 1728900000LL * 1000000, 1728900000LL * 1000000 + (int64_t)(k->years * 365.25 * 86400e6), false};
    int64_t at_us = size.from_us;
    bool ok = false;
    u.club = club_random(k->seed, &size);
    if (!u.club)
        return false;
    u.diary = diary_new(u.club, k->rows + k->later);
    u.ahead = mem_zero((size_t)k->later + 1, sizeof *u.ahead);
    u.deck_seen = mem_zero((size_t)k->decks, sizeof *u.deck_seen);
    u.stock_seen = mem_zero((size_t)k->stocks, sizeof *u.stock_seen);
    if (!u.diary || !u.ahead || !u.deck_seen || !u.stock_seen)
        goto done;
    for (; u.count < estimators && u.count < ESTIMATORS; u.count++)
        if (!(u.e[u.count] = make(u.club, u.count)))
            goto done;
    if (!learn_known(&u, scores, &at_us))
        goto done;
    for (int i = 0; k->everything && i < k->decks; i++)
        u.deck_seen[i] = true;
    for (int i = 0; k->everything && i < k->stocks; i++)
        u.stock_seen[i] = true;
    score_pairs(u.club, u.e, u.count, u.deck_seen, u.stock_seen, at_us, scores);
    ok = score_ranges(&u, scores);
done:
    for (int i = 0; i < u.count; i++)
        u.e[i]->release(u.e[i]->state);
    mem_free(u.ahead);
    mem_free(u.deck_seen);
    mem_free(u.stock_seen);
    diary_free(u.diary);
    club_free(u.club);
    return ok;
}
