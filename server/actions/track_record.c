/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How far off suggestions were: for each calibration what would have been suggested before its day, against what was found. Overall, by what the number
 * rested on, and as a chart.
 */
#include "actions.h"
#include "answer.h"

#include "../charts/charts.h"
#include "../charts/svg.h"
#include "../ground/memory.h"
#include "../live/track.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct tally {
    double *errors; /* absolute, dB */
    size_t count;
    long with_step, within_step, promised, covered;
};

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Rows of this kind (BASIS_KINDS = all) and response; `errors` has room for all rows. */
static void count_up(const struct track *t, enum basis_kind kind, int response, struct tally *out)
{
    *out = (struct tally){.errors = out->errors};
    for (size_t i = 0; t && i < t->count; i++) {
        const struct replay_row *r = &t->rows[i];
        if (!r->tells[response] || (kind != BASIS_KINDS && r->basis != kind))
            continue;
        double error = r->observed[response] - r->mean[response];
        out->errors[out->count++] = fabs(error);
        if (r->step_db[response] > 0) {
            out->with_step++;
            out->within_step += fabs(error) <= r->step_db[response] + 1e-9;
        }
        if (r->read) { /* the range speaks of results logged with readings */
            out->promised++;
            out->covered += r->observed[response] >= r->low90[response] && r->observed[response] <= r->high90[response];
        }
    }
    if (out->count)
        qsort(out->errors, out->count, sizeof *out->errors, by_size);
}

static void share(struct buffer *b, const char *name, long part, long whole)
{
    json_name(b, name);
    buffer_fixed(b, whole ? (double)part / (double)whole : NAN, 4); /* null when there is none */
}

static void write_tally(struct buffer *b, const struct tally *t)
{
    double median = NAN;
    if (t->count)
        median = t->count % 2 ? t->errors[t->count / 2] : (t->errors[t->count / 2 - 1] + t->errors[t->count / 2]) / 2;
    json_name(b, "calibrations"), buffer_int(b, (int64_t)t->count);
    json_name(b, "median_error_db"), buffer_fixed(b, median, 4);
    share(b, "within_one_step", t->within_step, t->with_step);
    share(b, "range_coverage", t->covered, t->promised);
}

static void write_level(struct buffer *b, const struct track *t, enum basis_kind kind, struct tally *work)
{
    count_up(t, kind, LEVEL, work);
    json_name(b, "level");
    buffer_char(b, '{');
    write_tally(b, work);
    buffer_char(b, '}');
}

static void write_record(struct buffer *b, const struct track *t, struct tally *work)
{
    buffer_char(b, '{');
    count_up(t, BASIS_KINDS, BIAS, work);
    write_tally(b, work);
    write_level(b, t, BASIS_KINDS, work);
    json_name(b, "by_kind");
    buffer_char(b, '[');
    for (int k = 0, first = 1; k < BASIS_KINDS; k++) {
        count_up(t, (enum basis_kind)k, BIAS, work);
        if (!work->count)
            continue;
        buffer_text(b, first ? "\n{" : ",\n{");
        first = 0;
        json_name(b, "kind"), json_text(b, basis_kind_text((enum basis_kind)k));
        write_tally(b, work);
        write_level(b, t, (enum basis_kind)k, work);
        buffer_char(b, '}');
    }
    buffer_text(b, "],\"as_of\":");
    buffer_int(b, t ? t->as_of : 0);
    buffer_text(b, "}\n");
}

enum action_result action_track_record(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {NULL};
    struct fault f = {0};
    if (!parameters_allowed(&x->request, allowed, &f))
        return answer_fault(x, &f);
    struct track *t = live_take_track(house->live);
    struct tally work = {.errors = mem_zero(t ? t->count + 1 : 1, sizeof(double))};
    if (!work.errors) {
        track_drop(t);
        return ACTION_DONE;
    }
    write_record(json_body(x), t, &work);
    mem_free(work.errors);
    track_drop(t);
    return answer_json(x);
}

/* ---- the chart: at most so many marks, the newest, for a sheet of 640 px ---- */

#define CHART_MARKS 2000

enum action_result action_chart_track_record(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"width", NULL};
    struct fault f = {0};
    double width = 0;
    if (!parameters_allowed(&x->request, allowed, &f) ||
        !parameter_number(&x->request, "width", SVG_WIDTH_LEAST, SVG_WIDTH_MOST, &width, &f))
        return answer_fault(x, &f);
    struct track *t = live_take_track(house->live);
    size_t first = t && t->count > CHART_MARKS ? t->count - CHART_MARKS : 0, count = 0;
    struct chart_miss *misses = mem_zero(CHART_MARKS, sizeof *misses);
    if (!misses) {
        track_drop(t);
        return ACTION_DONE;
    }
    for (size_t i = first; t && i < t->count; i++) {
        const struct replay_row *r = &t->rows[i];
        double error = r->observed[BIAS] - r->mean[BIAS];
        if (r->tells[BIAS])
            misses[count++] = (struct chart_miss){.at_us = r->made_at_us,
                                                  .error_db = error,
                                                  .inside = r->observed[BIAS] >= r->low90[BIAS] && r->observed[BIAS] <= r->high90[BIAS]};
    }
    char about[240];
    snprintf(
        about, sizeof about,
        "For %zu results, in time: bias found minus bias suggested the day before, in dB. Crosses lie outside the range that was given.",
        count);
    const struct chart_sheet sheet = {"track-record", "Track record", about, width, "no result has been replayed yet"};
    x->reply.content_type = "image/svg+xml";
    chart_track(&x->reply.body, &sheet, misses, (int)count);
    snprintf(x->reply.etag, sizeof x->reply.etag, "track-%lld-%zu-%.0f", t ? (long long)t->as_of : 0, count, width);
    snprintf(x->reply.cache_control, sizeof x->reply.cache_control, "no-cache");
    mem_free(misses);
    track_drop(t);
    return answer_json(x);
}
