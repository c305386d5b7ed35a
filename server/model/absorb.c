/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which columns to absorb by hand: an independent set among tapes and pairs, rare ones first, since those make the least fill.
 */
#include "equation.h"

#include "../ground/memory.h"

#include <stdlib.h>

struct candidate {
    int rows, column;
};

static int rarer(const void *a, const void *b)
{
    const struct candidate *x = a, *y = b;
    return x->rows != y->rows ? (x->rows > y->rows) - (x->rows < y->rows) : (x->column > y->column) - (x->column < y->column);
}

struct rows_by_column {
    int *start, *row;
};

static bool turn(const struct equation *q, struct rows_by_column *t)
{
    const struct design *d = &q->design;
    t->start = mem_zero((size_t)q->columns + 2, sizeof *t->start);
    t->row = mem_zero((size_t)q->rows * 2 + 1, sizeof *t->row);
    if (!t->start || !t->row)
        return false;
    for (int i = 0; i < d->rows; i++)
        for (int b = TAPE; b < BLOCKS; b += PAIR - TAPE)
            if (q->level[i][b] >= 0)
                t->start[q->first[b] + q->level[i][b] + 2]++;
    for (int j = 2; j < q->columns + 2; j++)
        t->start[j] += t->start[j - 1];
    for (int i = 0; i < d->rows; i++)
        for (int b = TAPE; b < BLOCKS; b += PAIR - TAPE)
            if (q->level[i][b] >= 0)
                t->row[t->start[q->first[b] + q->level[i][b] + 1]++] = i;
    return true;
}

bool equation_absorb(const struct equation *q, unsigned char *absorb)
{
    struct rows_by_column t = {0};
    int count = 0;
    unsigned char *taken = mem_zero((size_t)q->rows + 1, 1);
    struct candidate *all = mem_zero((size_t)(q->count[TAPE] + q->count[PAIR]) + 1, sizeof *all);
    bool ok = taken && all && turn(q, &t);
    for (int b = TAPE; ok && b < BLOCKS; b += PAIR - TAPE)
        for (int l = 0; l < q->count[b]; l++) {
            int j = q->first[b] + l;
            all[count++] = (struct candidate){t.start[j + 1] - t.start[j], j};
        }
    if (ok)
        qsort(all, (size_t)count, sizeof *all, rarer);
    for (int k = 0; ok && k < count; k++) {
        int j = all[k].column;
        bool free_rows = true;
        for (int e = t.start[j]; e < t.start[j + 1]; e++)
            free_rows = free_rows && !taken[t.row[e]];
        if (!free_rows)
            continue;
        absorb[j] = 1;
        for (int e = t.start[j]; e < t.start[j + 1]; e++)
            taken[t.row[e]] = 1;
    }
    mem_free(t.start);
    mem_free(t.row);
    mem_free(taken);
    mem_free(all);
    return ok;
}
