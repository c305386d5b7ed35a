/* SPDX-License-Identifier: GPL-3.0-or-later
 * See groups.h. */
#include "groups.h"

#include "../ground/memory.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NU     4.0
#define ROUNDS 25

double robust_mean(const double *x, const double *variance, int n, double *of_mean)
{
    double mean = 0, weight = 0;
    *of_mean = ABSENT;
    if (n < 1)
        return ABSENT;
    for (int round = 0; round <= ROUNDS; round++) {
        double sum = 0;
        double last = mean;
        weight = 0;
        for (int i = 0; i < n; i++) {
            double z2 = round ? (x[i] - last) * (x[i] - last) / variance[i] : 0;
            double w = (NU + 1) / (NU + z2) / variance[i];
            weight += w;
            sum += w * x[i];
        }
        mean = sum / weight;
    }
    double scatter = 0;
    for (int i = 0; i < n; i++)
        scatter += (NU + 1) / (NU + (x[i] - mean) * (x[i] - mean) / variance[i]) * (x[i] - mean) * (x[i] - mean) / variance[i];
    scatter = n > 1 ? scatter / (n - 1) : 1;
    *of_mean = (NU + 3) / (NU + 1) / weight *
               fmax(scatter, 1); /* the information of a t residual is (ν + 1)/(ν + 3) of a normal one's; two that disagree say less */
    return mean;
}

struct member {
    int key, row;
};

static int by_key(const void *a, const void *b)
{
    const struct member *x = a, *y = b;
    return x->key != y->key ? (x->key > y->key) - (x->key < y->key) : (x->row > y->row) - (x->row < y->row);
}

static void summarise(const struct results *r, const struct member *m, int n, unsigned taken_off, const struct outlook_stock *scatter,
                      double *x, double *v, struct group *out)
{
    *out = (struct group){.key = m->key, .rows = n};
    for (int q = 0; q < RESPONSES; q++) {
        int count = 0;
        for (int i = 0; i < n; i++) {
            const struct result *row = &r->rows[m[i].row];
            if (!given(row->is.flat[q]))
                continue;
            double sd = outlook_sd(&row->is, scatter, (enum response)q);
            x[count] = row->is.flat[q] - outlook_expected(&row->is, taken_off, (enum response)q);
            v[count++] = sd * sd;
        }
        out->mean[q] = robust_mean(x, v, count, &out->variance[q]);
    }
}

bool groups_make(const struct results *r, const int *key, unsigned taken_off, const struct outlook_stock *scatter, struct groups *out)
{
    size_t room = (size_t)r->count + 1;
    struct member *m = mem_zero(room, sizeof *m);
    double *x = mem_zero(room, 2 * sizeof *x);
    int n = 0;
    *out = (struct groups){.list = mem_zero(room, sizeof *out->list)};
    bool ok = m && x && out->list;
    for (int i = 0; ok && i < r->count; i++)
        if (key[i] >= 0 && !r->rows[i].left_out)
            m[n++] = (struct member){key[i], i};
    if (ok)
        qsort(m, (size_t)n, sizeof *m, by_key);
    for (int from = 0, to; ok && from < n; from = to) {
        for (to = from + 1; to < n && m[to].key == m[from].key; to++)
            ;
        summarise(r, m + from, to - from, taken_off, scatter, x, x + room, &out->list[out->count++]);
    }
    mem_free(m);
    mem_free(x);
    return ok;
}

void groups_free(struct groups *g)
{
    mem_free(g->list);
    *g = (struct groups){0};
}
