/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the estimator holds to be true of the club: variances, slopes, when and how they were found.
 */
#include "actions.h"
#include "answer.h"

#include "../wire/wire.h"

static void write_response(struct buffer *b, const struct model_record *r)
{
    buffer_text(b, "{\"sigma\":");
    buffer_fixed(b, r->sigma, 6);
    buffer_text(b, ",\"groups\":[");
    for (int i = 0; i < r->group_count; i++) {
        buffer_text(b, i ? ",{" : "{");
        json_name(b, "name"), json_text(b, r->groups[i].name);
        json_name(b, "sd"), buffer_fixed(b, r->groups[i].sd, 6);
        json_name(b, "levels"), buffer_int(b, r->groups[i].levels);
        json_name(b, "boundary"), buffer_text(b, r->groups[i].boundary ? "true" : "false");
        buffer_char(b, '}');
    }
    buffer_text(b, "],\"fixed\":[");
    for (int i = 0; i < r->fixed_count; i++) {
        buffer_text(b, i ? ",{" : "{");
        json_name(b, "name"), json_text(b, r->fixed[i].name);
        json_name(b, "estimate"), buffer_fixed(b, r->fixed[i].estimate, 6);
        json_name(b, "se"), buffer_fixed(b, r->fixed[i].se, 6);
        buffer_char(b, '}');
    }
    buffer_text(b, "],\"reason\":");
    json_text(b, r->reason ? r->reason : "");
    buffer_text(b, ",\"evaluations\":");
    buffer_int(b, r->evaluations);
    buffer_char(b, '}');
}

enum action_result action_model(struct house *house, struct exchange *x)
{
    struct model_figures *m = arena_alloc(x->arena, sizeof *m);
    if (!m)
        return ACTION_DONE;
    struct view *v = live_take(house->live);
    model_view_figures(v->model, m);
    view_give(v);
    char when[CLOCK_TEXT];
    struct buffer *b = json_body(x);
    buffer_text(b, "{\"as_of\":");
    buffer_int(b, m->as_of);
    buffer_text(b, ",\"fitted_at\":");
    if (m->fitted_us == CLOCK_NONE)
        buffer_text(b, "null");
    else
        json_text(b, clock_format(m->fitted_us, 0, when));
    buffer_format(b, ",\"fitted_as_of\":%lld", (long long)m->fitted_as_of);
    buffer_format(b, ",\"calibrations\":%ld,\"calibrations_used\":%ld,\"decks\":%ld,\"stocks\":%ld", m->rows, m->rows_used, m->decks,
                  m->stocks);
    buffer_text(b, ",\"responses\":{\"bias\":");
    write_response(b, &m->response[BIAS]);
    buffer_text(b, ",\"level\":");
    write_response(b, &m->response[LEVEL]);
    buffer_text(b, "}}\n");
    return answer_json(x);
}
