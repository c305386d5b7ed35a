/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Is it alive, is it ready, and how it is doing in numbers (Prometheus text format 0.0.4).
 */
#include "actions.h"
#include "answer.h"

#include <string.h>

enum action_result action_livez(struct house *house, struct exchange *x)
{
    (void)house;
    x->reply.status = 200;
    x->reply.content_type = "text/plain; charset=utf-8";
    buffer_text(&x->reply.body, "alive\n");
    return ACTION_DONE;
}

/* Ready means: the database answers, there is room to log, and the model holds all that was there at start. */
enum action_result action_readyz(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    char club[LIMIT_NAME + 1];
    struct reader *r = reader_take(house->store, &f);
    bool readable = r && read_fact(r, "club_id", club, sizeof club, &f) == READ_OK;
    reader_give(r);
    if (!readable) {
        if (!fault_set(&f))
            fault_add(&f, FAULT_STORE, "", "store", "the club's file cannot be read");
        return answer_fault(x, &f);
    }
    if (!store_has_room(house->store, &f))
        return answer_fault(x, &f);
    if (!live_ready(house->live)) {
        fault_add(&f, FAULT_BUSY, "", "still-learning", "the model is being built from the club's results; ask again in a moment");
        x->reply.retry_after_s = 1;
        return answer_fault(x, &f);
    }
    x->reply.status = 200;
    x->reply.content_type = "text/plain; charset=utf-8";
    buffer_text(&x->reply.body, "ready\n");
    return ACTION_DONE;
}

static void figure(struct buffer *b, const char *name, const char *type, const char *help, double value)
{
    buffer_format(b, "# HELP biasbook_%s %s\n# TYPE biasbook_%s %s\nbiasbook_%s ", name, help, name, type, name);
    buffer_double(b, value);
    buffer_char(b, '\n');
}

/* Noted by `backup`; absent until there was one. */
static void last_backup(struct house *house, struct buffer *b)
{
    char text[LIMIT_NAME + 1];
    int64_t us;
    struct fault f = {0};
    struct reader *r = reader_take(house->store, &f);
    bool known = r && read_fact(r, "last_backup", text, sizeof text, &f) == READ_OK && clock_parse(text, strlen(text), &us, NULL);
    reader_give(r);
    if (known)
        figure(b, "last_backup_timestamp_seconds", "gauge", "When the last backup was made.", (double)us / 1e6);
}

enum action_result action_metrics(struct house *house, struct exchange *x)
{
    struct buffer *b = &x->reply.body;
    struct store_figures s = {0};
    struct live_figures l = {0};
    struct model_figures m;
    store_figures(house->store, &s);
    live_figures(house->live, &l);
    struct view *v = live_take(house->live);
    model_view_figures(v->model, &m);
    view_give(v);
    figure(b, "wal_bytes", "gauge", "Bytes in the write-ahead log.", (double)s.wal_bytes);
    figure(b, "file_bytes", "gauge", "Bytes of the club's file.", (double)s.file_bytes);
    figure(b, "commits_total", "counter", "Transactions committed.", (double)s.commits);
    figure(b, "rows_written_total", "counter", "Changes accepted.", (double)s.rows_written);
    figure(b, "largest_commit_rows", "gauge", "Most rows in one commit since start.", (double)s.largest_group);
    figure(b, "queue_rows", "gauge", "Rows waiting for the writer.", (double)s.queue_rows);
    figure(b, "last_change", "gauge", "Number of the last change committed.", (double)store_last_seq(house->store));
    figure(b, "model_as_of", "gauge", "Number of the last change the model contains.", (double)l.as_of);
    figure(b, "model_rows", "gauge", "Calibrations the model holds.", (double)m.rows);
    figure(b, "model_rows_used", "gauge", "Calibrations the fit may see.", (double)m.rows_used);
    figure(b, "solves_total", "counter", "Times effects were solved.", (double)l.solves);
    figure(b, "solve_last_seconds", "gauge", "Duration of the last solve.", (double)l.solve_last_us / 1e6);
    figure(b, "fits_total", "counter", "Times variances were estimated.", (double)l.fits);
    figure(b, "fit_last_seconds", "gauge", "Duration of the last estimation.", (double)l.fit_last_us / 1e6);
    if (m.fitted_us != CLOCK_NONE)
        figure(b, "model_age_seconds", "gauge", "Time since variances were last estimated.",
               (double)(x->request.now_us - m.fitted_us) / 1e6);
    figure(b, "uptime_seconds", "gauge", "Time since start.", (double)(x->request.now_us - house->started_us) / 1e6);
    last_backup(house, b);
    if (house->listener_figures)
        house->listener_figures(house->listener, b);
    x->reply.content_type = "text/plain; version=0.0.4; charset=utf-8";
    return answer_json(x);
}
