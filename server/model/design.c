/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Sparse rows of a mixed model, filled one after the other; called once a fit, multiplied a few times a step.
 */
#include "design.h"

#include "../ground/memory.h"

#include <stddef.h>

void design_init(struct design *d, int columns)
{
    *d = (struct design){.columns = columns};
}

void design_free(struct design *d)
{
    mem_free(d->start);
    mem_free(d->column);
    mem_free(d->value);
    *d = (struct design){0};
}

static int roomier(int room)
{
    return room < 256 ? 256 : room + room / 2;
}

static bool room_for_row(struct design *d)
{
    if (d->start && d->rows + 2 <= d->row_room)
        return true;
    int room = roomier(d->row_room);
    int *start = mem_grow(d->start, (size_t)room, sizeof *start);
    if (!start) {
        d->failed = true;
        return false;
    }
    if (!d->start)
        start[0] = start[1] = 0;
    d->start = start;
    d->row_room = room;
    return true;
}

static bool room_for_entry(struct design *d, int entries)
{
    if (entries < d->entry_room)
        return true;
    int room = roomier(d->entry_room);
    int *column = mem_grow(d->column, (size_t)room, sizeof *column);
    if (column)
        d->column = column;
    double *value = mem_grow(d->value, (size_t)room, sizeof *value);
    if (value)
        d->value = value;
    d->failed |= !column || !value;
    if (!d->failed)
        d->entry_room = room;
    return !d->failed;
}

void design_add(struct design *d, int column, double value)
{
    if (d->failed || !room_for_row(d))
        return;
    int end = d->start[d->rows + 1];
    for (int e = d->start[d->rows]; e < end; e++)
        if (d->column[e] == column) {
            d->value[e] += value;
            return;
        }
    if (!room_for_entry(d, end))
        return;
    d->column[end] = column;
    d->value[end] = value;
    d->start[d->rows + 1] = end + 1;
}

void design_end_row(struct design *d)
{
    if (d->failed || !room_for_row(d))
        return;
    d->rows++;
    if (room_for_row(d))
        d->start[d->rows + 1] = d->start[d->rows];
}

bool design_close(const struct design *d)
{
    return !d->failed;
}

void design_times(const struct design *d, const double *effects, double *out)
{
    for (int i = 0; i < d->rows; i++) {
        double sum = 0;
        for (int e = d->start[i]; e < d->start[i + 1]; e++)
            sum += d->value[e] * effects[d->column[e]];
        out[i] = sum;
    }
}

void design_transposed_times(const struct design *d, const double *w, const double *y, double *out)
{
    for (int i = 0; i < d->rows; i++) {
        double wy = w[i] * y[i];
        for (int e = d->start[i]; e < d->start[i + 1]; e++)
            out[d->column[e]] += d->value[e] * wy;
    }
}
