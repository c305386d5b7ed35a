/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Selected inversion by supernodes; see the header for the formula. About twice the work of the factorisation.
 */
#include "selected_inverse.h"

#include "../ground/memory.h"
#include "blas.h"

#include <lapacke.h>
#include <string.h>

struct selected_inverse {
    const int *node_of;
    int *place; /* rows of R inside the block of an ancestor */
    double *y, *zrr;
};

struct selected_inverse *selected_inverse_new(const struct supernodes *s, const int *node_of)
{
    size_t most_below = 1, most_y = 1;
    for (int k = 0; k < s->count; k++) {
        size_t own = (size_t)(s->first[k + 1] - s->first[k]), below = (size_t)(s->row_at[k + 1] - s->row_at[k]) - own;
        most_below = below > most_below ? below : most_below;
        most_y = below * own > most_y ? below * own : most_y;
    }
    struct selected_inverse *w = mem_zero(1, sizeof *w);
    if (!w)
        return NULL;
    w->node_of = node_of;
    w->place = mem_zero(most_below, sizeof *w->place);
    w->y = mem_zero(most_y, sizeof *w->y);
    w->zrr = mem_zero(most_below, most_below * sizeof *w->zrr);
    if (!w->place || !w->y || !w->zrr) {
        selected_inverse_free(w);
        return NULL;
    }
    return w;
}

void selected_inverse_free(struct selected_inverse *w)
{
    if (!w)
        return;
    mem_free(w->place);
    mem_free(w->y);
    mem_free(w->zrr);
    mem_free(w);
}

/* Where `count` ascending rows stand among the `room` ascending rows `all`: a merge when they are dense in it, else bisection. */
static void places(const int *rows, int count, const int *all, int room, int *place)
{
    int at = 0;
    for (int c = 0; c < count; c++) {
        if ((room - at) > 16 * (count - c)) {
            int low = at, high = room - 1;
            while (low < high) {
                int middle = low + (high - low) / 2;
                if (all[middle] < rows[c])
                    low = middle + 1;
                else
                    high = middle;
            }
            at = low;
        } else {
            while (all[at] < rows[c])
                at++;
        }
        place[c] = at;
    }
}

/* Lower triangle of Z over the rows R (count `r`), out of the supernodes that own their columns. */
static void gather(struct selected_inverse *w, const struct supernodes *s, const double *z, const int *rows, int r)
{
    int c = 0;
    while (c < r) {
        int k = w->node_of[rows[c]], height = s->row_at[k + 1] - s->row_at[k];
        places(rows + c, r - c, s->rows + s->row_at[k], height, w->place + c);
        for (; c < r && rows[c] < s->first[k + 1]; c++) {
            const double *from = z + s->value_at[k] + (size_t)(rows[c] - s->first[k]) * (size_t)height;
            double *to = w->zrr + (size_t)c * (size_t)r;
            for (int i = c; i < r; i++)
                to[i] = from[w->place[i]];
        }
    }
}

/* One own column: the whole step with plain loops, since most supernodes are leaves of this kind. */
static void single(struct selected_inverse *w, const double *l, double *z, int r)
{
    static const int one = 1;
    static const double minus = -1, none = 0;
    double d = 1 / l[0];
    for (int i = 0; i < r; i++)
        w->y[i] = l[1 + i] * d;
    double sum = d * d;
    if (r) {
        dsymv_("L", &r, &minus, w->zrr, &r, w->y, &one, &none, z + 1, &one);
        for (int i = 0; i < r; i++)
            sum -= w->y[i] * z[1 + i];
    }
    z[0] = sum;
}

static bool block(struct selected_inverse *w, const double *l, double *z, int own, int height)
{
    static const double plus = 1, minus = -1, none = 0;
    int r = height - own;
    for (int j = 0; j < own; j++) {
        memcpy(z + (size_t)j * (size_t)height, l + (size_t)j * (size_t)height, (size_t)own * sizeof *z);
        memcpy(w->y + (size_t)j * (size_t)r, l + (size_t)j * (size_t)height + own, (size_t)r * sizeof *z);
    }
    if (LAPACKE_dpotri_work(LAPACK_COL_MAJOR, 'L', own, z, height) != 0)
        return false;
    for (int j = 1; j < own; j++)
        for (int i = 0; i < j; i++)
            z[(size_t)j * (size_t)height + (size_t)i] = z[(size_t)i * (size_t)height + (size_t)j];
    if (!r)
        return true;
    dtrsm_("R", "L", "N", "N", &r, &own, &plus, l, &height, w->y, &r);
    dsymm_("L", "L", &r, &own, &minus, w->zrr, &r, w->y, &r, &none, z + own, &height);
    dgemm_("T", "N", &own, &own, &r, &minus, w->y, &r, z + own, &height, &plus, z, &height);
    return true;
}

bool selected_inverse_compute(struct selected_inverse *w, const struct supernodes *s, double *z)
{
    for (int k = s->count - 1; k >= 0; k--) {
        int own = s->first[k + 1] - s->first[k], height = s->row_at[k + 1] - s->row_at[k];
        const double *l = s->x + s->value_at[k];
        gather(w, s, z, s->rows + s->row_at[k] + own, height - own);
        if (own == 1)
            single(w, l, z + s->value_at[k], height - own);
        else if (!block(w, l, z + s->value_at[k], own, height))
            return false;
    }
    return true;
}

size_t supernodal_place(const struct supernodes *s, const int *node_of, int i, int j)
{
    int k = node_of[j], height = s->row_at[k + 1] - s->row_at[k];
    const int *rows = s->rows + s->row_at[k];
    int low = 0, high = height - 1;
    while (low < high) {
        int middle = low + (high - low) / 2;
        if (rows[middle] < i)
            low = middle + 1;
        else
            high = middle;
    }
    if (height == 0 || rows[low] != i)
        return (size_t)-1;
    return (size_t)s->value_at[k] + (size_t)(j - s->first[k]) * (size_t)height + (size_t)low;
}
