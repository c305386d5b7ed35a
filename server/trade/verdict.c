/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Tape or deck: each explanation says that the results in its scope share an offset; how well that foretells all residuals is
 * its marginal likelihood. Scopes that hold the same results cannot be told apart, and the odds say so by themselves.
 */
#include "hints.h"

/* Spread of an offset that is worth a name, dB; and what is believed before any result. Chosen, not sourced. */
static const double offset_sd[HINT_SIGNS] = {1.2, 1.2, 1.0, 0.8, 1.0};
static const double prior[HINT_SCOPES] = {0.30, 0.20, 0.08, 0.12, 0.06, 0.06, 0.18};

#define CUT 4.0 /* sd; a wilder residual is a misentry and must not decide alone */

bool hint_in_scope(const struct hint_row *r, enum hint_scope scope)
{
    switch (scope) {
    case HINT_DECK: return r->on_deck && r->recent;
    case HINT_DECK_CLASS: return r->on_deck && r->recent && r->of_class;
    case HINT_TAPE: return r->of_tape;
    case HINT_BATCH: return r->of_batch;
    case HINT_STOCK: return r->of_stock;
    case HINT_PAIR: return r->of_tape && r->on_deck && r->recent;
    case HINT_NOTHING:
    case HINT_SCOPES: break;
    }
    return false;
}

const char *hint_verdict_text(enum hint_verdict v)
{
    static const char *const texts[] = {"nothing unusual", "tape", "deck", "cannot tell yet"};
    return texts[v];
}

struct offset {
    double mean, var, log_gain; /* posterior, and log marginal likelihood against no offset */
    int rows;
};

static struct offset offset_of(const struct hint_row *rows, int n, enum hint_scope scope, enum hint_sign sign)
{
    double precision = 0.0, weighted = 0.0, spread = offset_sd[sign] * offset_sd[sign];
    struct offset o = {0.0, spread, 0.0, 0};
    for (int i = 0; i < n; i++) {
        double v = rows[i].value[sign], sd = rows[i].sd[sign];
        if (!hint_in_scope(&rows[i], scope) || !given(v) || !(sd > 0.0)) {
            continue;
        }
        v = v > CUT * sd ? CUT * sd : v < -CUT * sd ? -CUT * sd : v;
        precision += 1.0 / (sd * sd);
        weighted += v / (sd * sd);
        o.rows++;
    }
    o.var = 1.0 / (1.0 / spread + precision);
    o.mean = o.var * weighted;
    o.log_gain = -0.5 * log1p(spread * precision) + 0.5 * o.mean * weighted;
    return o;
}

static int in_scope(const struct hint_row *rows, int n, enum hint_scope scope)
{
    int count = 0;
    for (int i = 0; i < n; i++) {
        count += hint_in_scope(&rows[i], scope);
    }
    return count;
}

static const char *what_would_tell(const struct hint_row *rows, int n)
{
    int tape_elsewhere = 0, deck_otherwise = 0;
    for (int i = 0; i < n; i++) {
        tape_elsewhere += rows[i].of_tape && !rows[i].on_deck;
        deck_otherwise += rows[i].on_deck && rows[i].recent && !rows[i].of_stock;
    }
    if (!tape_elsewhere && deck_otherwise < 2) {
        return "calibrate another stock on this deck, and this tape on another deck";
    }
    if (!tape_elsewhere) {
        return "calibrate this tape on another deck";
    }
    return deck_otherwise < 2 ? "calibrate another stock on this deck" : "calibrate this tape on this deck again";
}

void hint_weigh(const struct hint_row *rows, int n, struct hint_finding *out)
{
    double log_weight[HINT_SCOPES], most = -INFINITY, total = 0.0;
    *out = (struct hint_finding){.would_tell = ""};
    for (int s = 0; s < HINT_SCOPES; s++) {
        log_weight[s] = log(prior[s]);
        for (int sign = 0; s != HINT_NOTHING && sign < HINT_SIGNS; sign++) {
            log_weight[s] += offset_of(rows, n, (enum hint_scope)s, (enum hint_sign)sign).log_gain;
        }
        most = fmax(most, log_weight[s]);
    }
    for (int s = 0; s < HINT_SCOPES; s++) {
        out->chance[s] = exp(log_weight[s] - most);
        total += out->chance[s];
    }
    for (int s = 0; s < HINT_SCOPES; s++) {
        out->chance[s] /= total;
        out->scope = out->chance[s] > out->chance[out->scope] ? (enum hint_scope)s : out->scope;
    }
    out->tape = out->chance[HINT_TAPE] + out->chance[HINT_BATCH] + out->chance[HINT_STOCK];
    out->deck = out->chance[HINT_DECK] + out->chance[HINT_DECK_CLASS];
    double leading = fmax(out->tape, out->deck);
    out->odds = leading / fmax(1.0 - leading, 1e-9);
    out->verdict = out->tape >= HINT_SURE             ? VERDICT_TAPE
                   : out->deck >= HINT_SURE           ? VERDICT_DECK
                   : out->chance[HINT_NOTHING] >= 0.5 ? VERDICT_NOTHING
                                                      : VERDICT_CANNOT_TELL;
    if (out->verdict == VERDICT_CANNOT_TELL) {
        out->would_tell = what_would_tell(rows, n);
    }
    out->rows = in_scope(rows, n, out->scope);
    for (int sign = 0; sign < HINT_SIGNS; sign++) {
        struct offset o = offset_of(rows, n, out->scope, (enum hint_sign)sign);
        out->size[sign] = o.rows ? o.mean : ABSENT;
        out->size_se[sign] = o.rows ? sqrt(o.var) : ABSENT;
    }
}

/* Playback explains the shift, or it does not: the check then agrees with the shift, or with nothing. */
enum hint_half hint_half_of(double shift, double shift_se, double check, double check_se, double *playback)
{
    *playback = 0.5;
    if (!given(check) || !given(shift)) {
        return HALF_CANNOT_TELL;
    }
    double both = shift_se * shift_se + check_se * check_se, alone = fmax(check_se * check_se, 1e-6), gap = shift - check;
    both = fmax(both, 1e-6);
    double as_playback = -0.5 * log(both) - 0.5 * gap * gap / both, as_record = -0.5 * log(alone) - 0.5 * check * check / alone;
    *playback = 1.0 / (1.0 + exp(fmin(as_record - as_playback, 700.0)));
    return *playback >= HINT_SURE ? HALF_PLAYBACK : *playback <= 1.0 - HINT_SURE ? HALF_RECORD : HALF_CANNOT_TELL;
}

/* ---- the table's rows against what was found ---- */

static double normal_above(double z)
{
    return 0.5 * erfc(z / sqrt(2.0));
}

static double log_beta(double a, double b)
{
    return lgamma(a) + lgamma(b) - lgamma(a + b);
}

/* Chance that the share in scope is another than elsewhere, and higher: beta-binomial with uniform shares, even odds before. */
static double share_chance(int in, int of_in, int out, int of_out)
{
    if (!of_in || !of_out || (double)in / of_in <= (double)out / of_out) {
        return 0.0;
    }
    double apart = log_beta(in + 1, of_in - in + 1) + log_beta(out + 1, of_out - out + 1);
    double alike = log_beta(in + out + 1, of_in + of_out - in - out + 1);
    return 1.0 / (1.0 + exp(alike - apart));
}

static void weigh_share(const struct hint_row *rows, int n, const struct hint_rule *rule, struct hint_hit *hit)
{
    int in = 0, of_in = 0, out = 0, of_out = 0;
    for (int i = 0; i < n; i++) {
        bool happened = rule->cause == CAUSE_STOPPED ? rows[i].stopped : rows[i].unsettled;
        bool here = hint_in_scope(&rows[i], rule->scope);
        of_in += here;
        of_out += !here;
        in += here && happened;
        out += !here && happened;
        if (here && happened && hit->row_count < HINT_EVIDENCE) {
            hit->tags[hit->row_count] = rows[i].tag;
        }
        hit->row_count += here && happened;
    }
    hit->chance = in < 2 ? 0.0 : share_chance(in, of_in, out, of_out);
    hit->size_db = of_in ? (double)in / of_in : 0.0;
    hit->size_se_db = of_out ? (double)out / of_out : 0.0;
}

static void weigh_offset(const struct hint_row *rows, int n, const struct hint_rule *rule, const struct hint_finding *found,
                         struct hint_hit *hit)
{
    struct offset o = offset_of(rows, n, rule->scope, rule->sign);
    double sd = sqrt(o.var), above = normal_above((rule->least_db - o.mean) / sd), below = normal_above((rule->least_db + o.mean) / sd);
    double there = rule->direction > 0 ? above : rule->direction < 0 ? below : above + below;
    for (int i = 0; i < n; i++) {
        if (hint_in_scope(&rows[i], rule->scope) && given(rows[i].value[rule->sign])) {
            if (hit->row_count < HINT_EVIDENCE) {
                hit->tags[hit->row_count] = rows[i].tag;
            }
            hit->row_count++;
        }
    }
    /* one result can only be a case of its own */
    hit->chance = o.rows < (rule->scope == HINT_PAIR ? 1 : 2) ? 0.0 : there * found->chance[rule->scope];
    hit->size_db = o.mean;
    hit->size_se_db = sd;
}

int hints_find(const struct hint_row *rows, int n, struct hint_hit *out, int most)
{
    struct hint_finding found;
    int count = 0;
    hint_weigh(rows, n, &found);
    for (int i = 0; i < hint_rule_count; i++) {
        struct hint_hit hit = {.rule = &hint_rules[i]};
        if (hint_rules[i].cause == CAUSE_OFFSET) {
            weigh_offset(rows, n, &hint_rules[i], &found, &hit);
        } else {
            weigh_share(rows, n, &hint_rules[i], &hit);
        }
        if (hit.chance < 0.5) {
            continue;
        }
        int at = count < most ? count++ : most;
        for (; at > 0 && out[at - 1].chance < hit.chance; at--) {
            if (at < most) {
                out[at] = out[at - 1];
            }
        }
        if (at < most) {
            out[at] = hit;
        }
    }
    return count;
}
