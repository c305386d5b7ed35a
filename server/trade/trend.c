/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Control charts. Called once a deck and response when its page is asked for; a deck has some hundred results.
 */
#include "trend.h"

#include <math.h>
#include <stddef.h>

#define DAY_US    (86400LL * 1000000LL)
#define SCALE_DOF 12.0 /* how many results' worth the said sd counts against the baseline's own scatter */

const struct trend_limits trend_usual = {.lambda = 0.2, .L = 3.65, .k = 0.5, .h = 8.2, .clip = 2.5, .baseline = 12};

const char *trend_chart_id(enum trend_chart c)
{
    return c == CHART_EWMA ? "ewma" : "cusum";
}

int trend_ewma(const double *z, int n, double start, double lambda, double L, bool settled, double *chart, double *limit)
{
    int first = -1;
    double e = start, left = 1.0, sigma = sqrt(lambda / (2.0 - lambda));
    for (int i = 0; i < n; i++) {
        e = lambda * z[i] + (1.0 - lambda) * e;
        left *= (1.0 - lambda) * (1.0 - lambda);
        double at = L * sigma * (settled ? 1.0 : sqrt(1.0 - left));
        if (chart) {
            chart[i] = e;
        }
        if (limit) {
            limit[i] = at;
        }
        if (first < 0 && fabs(e - start) > at) {
            first = i;
        }
    }
    return first;
}

int trend_cusum(const double *z, int n, double k, double h, double *up, double *down)
{
    int first = -1;
    double u = 0.0, d = 0.0;
    for (int i = 0; i < n; i++) {
        u = fmax(0.0, u + z[i] - k);
        d = fmax(0.0, d - z[i] - k);
        if (up) {
            up[i] = u;
        }
        if (down) {
            down[i] = d;
        }
        if (first < 0 && (u > h || d > h)) {
            first = i;
        }
    }
    return first;
}

static int64_t day_of(int64_t us)
{
    return us >= 0 ? us / DAY_US : -((DAY_US - 1 - us) / DAY_US);
}

int trend_thin(const struct trend_result *r, int n, int *kept)
{
    int count = 0;
    for (int i = 0; i < n; i++) {
        bool later = false, reset = r[i].reset;
        /* results of one day stand together: looking ahead ends with the day */
        for (int j = i + 1; j < n && day_of(r[j].made_at_us) == day_of(r[i].made_at_us) && !r[j].reset; j++) {
            later |= r[i].tape != 0 && r[j].tape == r[i].tape;
        }
        if (!later || reset) {
            kept[count++] = i;
        }
    }
    return count;
}

#define LOOK_BACK 60 /* results: further back a tape is taken as another one */

static double cut(double z, double clip)
{
    return z > clip ? clip : z < -clip ? -clip : z;
}

/* What earlier results of the same tape foretell of kept[i], and by what factor that narrows it: results of one tape share a part of their variance. */
static double foretold(const struct trend_result *r, const int *kept, int i, double mean, double clip, double *narrower)
{
    const struct trend_result *now = &r[kept[i]];
    double share = now->sd > 0.0 ? now->tape_sd / now->sd * (now->tape_sd / now->sd) : 0.0, sum = 0.0;
    int n = 0;
    share = share > 0.9 ? 0.9 : share;
    for (int j = i - 1; j >= 0 && j >= i - LOOK_BACK && now->tape != 0 && share > 0.0; j--) {
        if (r[kept[j]].tape == now->tape) {
            sum += now->sd * cut((r[kept[j]].residual - mean) / now->sd, clip);
            n++;
        }
    }
    double c = share / (1.0 + (n - 1) * share);
    *narrower = n ? sqrt(1.0 - n * share * c) : 1.0;
    return n ? c * sum : 0.0;
}

struct level {
    double mean, sd;
};

/* Where the deck stood and by how much one result scatters: mean of results cut about itself, scatter leaning on what was said of it. */
static struct level baseline_of(const struct trend_result *r, const int *kept, int n, double clip)
{
    double said = 0.0, scatter = 0.0, mean = 0.0;
    for (int i = 0; i < n; i++) {
        said += r[kept[i]].sd * r[kept[i]].sd / n;
    }
    said = sqrt(said > 0.0 ? said : 1e-6);
    for (int round = 0; round < 20; round++) {
        double sum = 0.0;
        for (int i = 0; i < n; i++) {
            sum += cut((r[kept[i]].residual - mean) / said, clip);
        }
        mean += said * sum / n;
    }
    for (int i = 0; i < n; i++) {
        double z = cut((r[kept[i]].residual - mean) / said, clip);
        scatter += z * z;
    }
    /* the mean was taken from the same results: n − 1 */
    return (struct level){mean, said * sqrt((SCALE_DOF + scatter) / (SCALE_DOF + n - 1))};
}

/* The split of z[0..n) into before and after that explains most; the baseline's m results of mean 0 stand before. Returns the first index of the new state. */
static int split_at(const double *z, int n, int m)
{
    double total = 0.0, after = 0.0, best = -1.0;
    int at = n - 1;
    for (int i = 0; i < n; i++) {
        total += z[i];
    }
    for (int i = n - 1; i >= 0; i--) {
        after += z[i];
        double count = n - i, before = m + i, gap = after / count - (total - after) / before,
               gain = gap * gap * count * before / (count + before);
        if (gain > best) {
            best = gain;
            at = i;
        }
    }
    return at;
}

/* What changed, when and by how much: with up to a baseline's worth of results of the new state, more than the chart needed. */
static struct trend_signal signal_of(const struct trend_result *r, const int *kept, int n, int first, const struct trend_limits *l,
                                     const double *z, double sd)
{
    int m = l->baseline, seen = first + 1;
    for (int more = 0; more < 2; more++) { /* again with the results that the date itself brings in */
        int since = m + split_at(z + m, seen - m, m);
        seen = since + m > seen ? since + m : seen;
        seen = seen < n ? seen : n;
    }
    struct trend_signal s = {.since = m + split_at(z + m, seen - m, m), .found = first};
    s.since = s.since < first ? s.since : first;
    struct level before = baseline_of(r, kept, s.since, l->clip), after = baseline_of(r, kept + s.since, seen - s.since, l->clip);
    s.size_db = after.mean - before.mean;
    s.size_se_db = sd * sqrt(1.0 / s.since + 1.0 / (seen - s.since));
    return s;
}

/* Charts kept[0..n), which begin with a baseline, up to the first signal. Returns whether there was one; its indices count from kept. Values of results up to
 * `known` stay as the stretch before charted them. */
static bool chart_stretch(const struct trend_result *r, const int *kept, int n, int known, const struct trend_limits *l, double *z,
                          struct trend_value *values, struct trend_signal *out)
{
    int m = l->baseline;
    struct level base = baseline_of(r, kept, m, l->clip);
    double e = 0.0, left = 1.0, u = 0.0, d = 0.0, mean = base.mean;
    int first = -1;
    enum trend_chart by = CHART_EWMA;
    for (int i = 0; i < n; i++) {
        /* A mean of i results has an error of its own, common to all that are held against it: so each is held against all before it
         * (R. L. Brown, J. Durbin, J. M. Evans, J. R. Stat. Soc. B 37 (1975): recursive residuals), which leaves the z independent. */
        double narrower, same_tape = foretold(r, kept, i, mean, l->clip, &narrower);
        double sd = base.sd * (i < m ? 1.0 : sqrt(narrower * narrower + 1.0 / i)), off = r[kept[i]].residual - mean;
        z[i] = cut((off - same_tape) / sd, l->clip);
        mean += i < m ? 0.0 : base.sd * cut(off / base.sd, l->clip) / (i + 1);
        struct trend_value v = {.charted = i >= m, .z = z[i]};
        if (i >= m) {
            e = l->lambda * z[i] + (1.0 - l->lambda) * e;
            left *= (1.0 - l->lambda) * (1.0 - l->lambda);
            u = fmax(0.0, u + z[i] - l->k);
            d = fmax(0.0, d - z[i] - l->k);
            v = (struct trend_value){true, z[i], e, l->L * sqrt(l->lambda / (2.0 - l->lambda) * (1.0 - left)), u, d};
            if (first < 0 && (u > l->h || d > l->h || fabs(e) > v.ewma_limit)) {
                first = i;
                by = u > l->h || d > l->h ? CHART_CUSUM : CHART_EWMA;
            }
        }
        if (values && kept[i] > known && (first < 0 || i <= first)) {
            values[kept[i]] = v;
        }
    }
    if (first < 0) {
        return false;
    }
    *out = signal_of(r, kept, n, first, l, z, base.sd);
    out->chart = by;
    return true;
}

int trend_watch(const struct trend_result *r, int n, const struct trend_limits *limits, struct trend_value *values,
                struct trend_signal *out, int most, int *room_int, double *room_double)
{
    int signals = 0;
    for (int i = 0; values && i < n; i++) {
        values[i] = (struct trend_value){0};
    }
    int kept = trend_thin(r, n, room_int), begin = 0, known = -1;
    while (begin < kept) {
        int end = begin + 1;
        while (end < kept && !r[room_int[end]].reset) {
            end++;
        }
        struct trend_signal s;
        if (end - begin > limits->baseline && chart_stretch(r, room_int + begin, end - begin, known, limits, room_double, values, &s)) {
            int next = begin + s.since;
            known = room_int[begin + s.found];
            if (signals < most) {
                s.since = room_int[begin + s.since];
                s.found = room_int[begin + s.found];
                out[signals] = s;
            }
            signals++;
            begin = next;
        } else {
            begin = end;
        }
    }
    return signals;
}
