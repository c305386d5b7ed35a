/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How two stocks stand to each other on one deck: see outlook.h. The difference of the two predictions is exact; the covariance of the two stocks' sides is
 * no table of the view and is put together from what is.
 *
 * To first order a stock's side is a mixture of what its hub says (its class, or the family both belong to) and of its own results, their decks taken off:
 *     S = (1 − λ)·hub + λ·(own results − Σ f_d·base_d) + an error of its own
 * with λ and f_d from the variances and from how often it was logged on which deck. What cannot be known, how the level of all decks divides from the level of all
 * tapes, is one error u common to all: base = u + own, hub = −u + own; so var u = −cov(base, hub), which the view has, and
 *     cov(S_a, S_b) = var u + (1 − λ_a)(1 − λ_b)·var(own of a common hub) + λ_a·λ_b·Σ f_ad·f_bd·var(own of base_d).
 * On the deck asked about each prediction leans by κ on the pair's own results, whose errors are its own, and by 1 − κ on the sum of base and side; so two predictions have
 * (1 − κ_a)(1 − κ_b) of the sums' covariance in common.
 * tests/model/test_outlook.c holds it against the full inverse.
 */
#include "outlook.h"
#include "view.h"

#define LEAST_SE_DB 0.02 /* no two tapes are known better apart */

struct two {
    const struct model_view *v;
    const struct stock *stock[2];
    int entry[2]; /* of the sides; −1 = not even their class */
    bool own[2];  /* with results of its own */
    int hub[2];
    bool same_hub, family_hub;
};

static double square(double x)
{
    return x * x;
}

static int class_entry(const struct model_view *v, enum tape_class c)
{
    int entry = v->head->class_first + (int)c;
    return c >= 0 && c < CLASS_COUNT && entry < v->head->stocks ? entry : -1;
}

static int family_entry(const struct model_view *v, const struct stock *s)
{
    return s->family[0] ? view_find(v, view_hash(KEY_FAMILY, view_text(s->family), (uint64_t)s->tape_class, 0)) : -1;
}

static struct two name_both(const struct model_view *v, const struct stock *a, const struct stock *b)
{
    struct two t = {.v = v, .stock = {a, b}};
    int family[2];
    for (int k = 0; k < 2; k++) {
        family[k] = family_entry(v, t.stock[k]);
        t.hub[k] = class_entry(v, t.stock[k]->tape_class);
        t.entry[k] = view_find(v, view_hash(KEY_STOCK, view_text(t.stock[k]->id), 0, 0));
        t.own[k] = t.entry[k] >= 0 && v->stocks[t.entry[k]].stock_effect >= 0;
        if (t.entry[k] < 0)
            t.entry[k] = family[k] >= 0 ? family[k] : t.hub[k];
    }
    t.family_hub = family[0] >= 0 && family[0] == family[1];
    if (t.family_hub)
        t.hub[0] = t.hub[1] = family[0];
    t.same_hub = t.hub[0] == t.hub[1];
    return t;
}

/* Covariance of a base with a stock's side or a hub. */
static double of_base(const struct model_view *v, int r, int base, int entry)
{
    return entry < 0 ? 0 : view_covariance(v, (enum response)r, base, entry);
}

static double hub_variance(const struct two *t, int r, int k)
{
    return fmax(t->hub[k] >= 0 ? (double)t->v->stocks[t->hub[k]].variance[r] : square(class_prior_sd((int)t->stock[k]->tape_class)), 1e-9);
}

/* What results of this stock on this deck weigh. */
static double weight_on(const struct two *t, int k, int r, uint64_t deck)
{
    const struct view_head *h = t->v->head;
    int pair = t->own[k] ? view_find(t->v, view_hash(KEY_PAIR, deck, view_text(t->stock[k]->id), 0)) : -1;
    long rows = pair >= 0 ? t->v->effects[pair].rows : 0;
    return rows > 0 ? 1 / (square(h->sd[r][PAIR]) + (square(h->sigma[r][KIND_READ]) + square(h->sd[r][TAPE])) / (double)rows) : 0;
}

static int base_of(const struct view_deck *k, enum tape_class c)
{
    return k->base[c >= 0 && c < CLASS_COUNT ? (int)c : CLASS_COUNT];
}

/* Variance of the level that all decks share, weighted by where the two were logged; where neither was, by the deck asked about. */
struct level {
    double sum, weight;
};

static double sides_covariance(const struct two *t, int r, const struct view_deck *asked, const struct deck *const *decks, int count)
{
    const struct model_view *v = t->v;
    const struct view_head *h = v->head;
    double tau = square(h->sd[r][STOCK]) + (t->family_hub ? 0 : square(h->sd[r][FAMILY]));
    double sum[2] = {0, 0}, common = 0, together = 0, lambda[2];
    struct level u = {0, 0};
    for (int i = 0; i < count; i++) {
        uint64_t id = view_text(decks[i]->id);
        int found = view_find(v, view_hash(KEY_DECK, id, 0, 0)), base[2];
        double w[2];
        if (found < 0 || v->decks[found].deck_effect < 0)
            continue;
        for (int k = 0; k < 2; k++) {
            w[k] = weight_on(t, k, r, id);
            base[k] = base_of(&v->decks[found], t->stock[k]->tape_class);
            sum[k] += w[k];
            u.sum -= w[k] * of_base(v, r, base[k], t->hub[k]);
            u.weight += w[k];
        }
        common += w[0] * w[1] * fmin(v->bases[base[0]].variance[r], v->bases[base[1]].variance[r]);
        together += w[0] * w[1];
    }
    if (u.weight <= 0 && asked) {
        u.sum = -of_base(v, r, asked->base[CLASS_COUNT], t->hub[0]) - of_base(v, r, asked->base[CLASS_COUNT], t->hub[1]);
        u.weight = 2;
    }
    double level = u.weight > 0 ? fmax(u.sum / u.weight, 0) : 0;
    for (int k = 0; k < 2; k++)
        lambda[k] = tau * sum[k] / (1 + tau * sum[k]);
    double decks_own = sum[0] > 0 && sum[1] > 0 ? fmax(common - together * level, 0) / (sum[0] * sum[1]) : 0;
    double hub_own = t->same_hub ? fmax(hub_variance(t, r, 0) - level, 0) : 0;
    return level + (1 - lambda[0]) * (1 - lambda[1]) * hub_own + lambda[0] * lambda[1] * decks_own;
}

/* Covariance of the deck's and the two stocks' sums before their pairs are counted. */
static double sums_covariance(const struct two *t, int r, const struct view_deck *asked, const struct deck *const *decks, int count)
{
    const struct model_view *v = t->v;
    int none = v->head->base_none, base[2] = {none, none};
    double own = square(v->head->sd[r][DECK]) + square(v->head->sd[r][MODEL]); /* a deck nobody logged is the same unknown for both */
    if (asked) {
        own = 0;
        for (int k = 0; k < 2; k++)
            base[k] = base_of(asked, t->stock[k]->tape_class);
    }
    bool same = t->stock[0]->tape_class == t->stock[1]->tape_class;
    double bases = (double)v->bases[base[0]].variance[r];
    if (!same) { /* var(x − y) of two classes' own parts is about the sum of theirs */
        bases = 0.5 * (bases + (double)v->bases[base[1]].variance[r]);
        for (int k = 0; k < 2 && asked; k++) {
            int effect = asked->class_effect[t->stock[k]->tape_class];
            bases -= effect >= 0 ? 0.5 * (double)v->effects[effect].variance[r] : 0;
        }
    }
    if (same && (!asked || asked->class_effect[t->stock[0]->tape_class] < 0))
        own += square(v->head->sd[r][DECK_CLASS]);
    return bases + own + of_base(v, r, base[0], t->entry[1]) + of_base(v, r, base[1], t->entry[0]) +
           sides_covariance(t, r, asked, decks, count);
}

/* How much a pair's own results overrule the sum. */
static double overruled(const struct two *t, int r, int k, uint64_t deck)
{
    const struct view_head *h = t->v->head;
    int pair = t->own[k] ? view_find(t->v, view_hash(KEY_PAIR, deck, view_text(t->stock[k]->id), 0)) : -1;
    long rows = pair >= 0 ? t->v->effects[pair].rows : 0;
    double weight = (double)rows / (square(h->sigma[r][KIND_READ]) + square(h->sd[r][TAPE])), pair2 = square(h->sd[r][PAIR]);
    return pair2 * weight / (1 + pair2 * weight);
}

void model_apart(const struct model_view *v, const struct deck *d, const struct stock *a, const struct stock *b, int64_t at_us,
                 const struct deck *const *decks, int deck_count, struct outlook_apart *out)
{
    struct model_answer answer[2];
    struct two t = name_both(v, a, b);
    uint64_t id = view_text(d->id);
    int found = view_find(v, view_hash(KEY_DECK, id, 0, 0));
    const struct view_deck *asked = found >= 0 && v->decks[found].deck_effect >= 0 ? &v->decks[found] : NULL;
    for (int k = 0; k < 2; k++) {
        struct model_question q = model_question_plain(d, t.stock[k], at_us);
        model_ask(v, &q, &answer[k]);
    }
    for (int r = 0; r < RESPONSES; r++) {
        double one = square(answer[0].se[r]), two = square(answer[1].se[r]), most = sqrt(one * two);
        double common = (1 - overruled(&t, r, 0, id)) * (1 - overruled(&t, r, 1, id)) * sums_covariance(&t, r, asked, decks, deck_count);
        out->apart[r] = answer[1].mean[r] - answer[0].mean[r];
        out->se[r] = sqrt(fmax(one + two - 2 * fmin(fmax(common, -most), most), square(LEAST_SE_DB)));
    }
}
