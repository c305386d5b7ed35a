/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/decks/{id}/trend: how a deck changed over time; since when, by how much, and whether that is its record or its playback side.
 * GET /api/decks/{id}/statistics: where it stands class by class, how it answers to its dials, how reliable it is, what services did.
 */
#include "actions.h"
#include "answer.h"
#include "deck_course.h"

#include "../trade/check.h"
#include "../trade/classes.h"
#include "../trade/hints.h"
#include "../trade/statistics.h"
#include "../wire/wire.h"

#include <math.h>
#include <string.h>

static const char *const RESPONSE[RESPONSES] = {"bias", "level"};

/* ---- trend ---- */

static void write_point(struct buffer *b, const struct deck_course *c, int i)
{
    const struct result *row = &c->results.rows[i];
    char id[UUID_TEXT];
    buffer_char(b, '{');
    json_member_time(b, "made_at", row->made_at_us, row->made_at_offset_minutes);
    json_member_text(b, "calibration", uuid_format(&row->id, id));
    for (int r = 0; r < RESPONSES; r++) {
        double value = c->standing[r][i];
        if (!given(value) && given(row->is.flat[r])) /* left out of the fit, still worth seeing */
            value = row->is.flat[r] - outlook_expected(&row->is, 1u << PART_STOCK | 1u << PART_WAY, (enum response)r);
        json_member_fixed(b, RESPONSE[r], value, 3);
    }
    json_member_text(b, "stock", row->stock->id);
    if (row->tape >= 0)
        json_member_text(b, "tape", results_name(&c->results, row->tape));
    if (row->left_out)
        json_member_text(b, "left_out", row->left_out);
    json_member_flag(b, "compared", given(c->spread[BIAS][i]) || given(c->spread[LEVEL][i]));
    buffer_char(b, '}');
}

/* Wants more bias than before at one setting: brighter by b a dB. Wants more level: quieter. */
static void write_half(struct buffer *b, const struct deck_course *c, const struct course_signal *s)
{
    static const char *const halves[] = {"record", "playback", "cannot tell"};
    struct model_question q = {
        .deck = c->deck, .tape_class = c->results.rows[s->at.found].stock->tape_class, .setup = "", .low_hz = ABSENT, .high_hz = ABSENT};
    struct slopes_at at;
    double low, high, se, playback;
    model_slopes(c->view->model, &q, &at);
    double slope = s->response == BIAS ? at.seen.b : -1;
    deck_course_playback(c, c->results.rows[s->at.since].made_at_us, &low, &high, &se);
    enum hint_half half =
        hint_half_of(slope * s->at.size_db, fabs(slope) * s->at.size_se_db, s->response == BIAS ? high : low, se, &playback);
    json_name(b, "half");
    buffer_char(b, '{');
    json_member_text(b, "verdict", halves[half]);
    json_member_fixed(b, "playback_chance", given(low) ? playback : ABSENT, 3);
    json_member_text(
        b, "would_tell",
        half != HALF_CANNOT_TELL
            ? ""
            : "a playback check with the same alignment tape before and after: without it record and playback side cannot be told apart");
    buffer_char(b, '}');
}

static void write_signal(struct buffer *b, const struct deck_course *c, const struct course_signal *s)
{
    const struct result *since = &c->results.rows[s->at.since], *found = &c->results.rows[s->at.found];
    char id[UUID_TEXT];
    buffer_char(b, '{');
    json_member_text(b, "response", RESPONSE[s->response]);
    json_member_text(b, "chart", trend_chart_id(s->at.chart));
    json_member_time(b, "since", since->made_at_us, since->made_at_offset_minutes);
    for (int i = s->at.since - 1; i >= 0; i--)
        if (given(c->spread[s->response][i])) { /* the last result of the old state: it changed in between */
            json_member_time(b, "after", c->results.rows[i].made_at_us, c->results.rows[i].made_at_offset_minutes);
            break;
        }
    json_member_time(b, "found_at", found->made_at_us, found->made_at_offset_minutes);
    json_member_fixed(b, "size_db", s->at.size_db, 3);
    json_member_fixed(b, "size_se_db", s->at.size_se_db, 3);
    json_member_text(b, "since_calibration", uuid_format(&since->id, id));
    json_member_text(b, "found_calibration", uuid_format(&found->id, id));
    write_half(b, c, s);
    buffer_char(b, '}');
}

static void write_era(struct buffer *b, const struct deck_course *c, const struct deck_era *e)
{
    static const char *const begins[] = {"first result", "service", "change noticed"};
    char id[UUID_TEXT];
    buffer_char(b, '{');
    json_member_time(b, "from", e->from_us, 0);
    json_member_time(b, "to", e->to_us, 0);
    json_member_text(b, "begins", begins[e->begin]);
    if (e->service >= 0) {
        json_member_text(b, "service", uuid_format(&c->services[e->service].id, id));
        json_member_text(b, "service_kind", c->services[e->service].kind);
    }
    json_member_whole(b, "results", e->results);
    for (int r = 0; r < RESPONSES; r++) {
        json_name(b, RESPONSE[r]);
        buffer_char(b, '{');
        json_member_fixed(b, "db", e->mean[r], 3);
        json_member_fixed(b, "se_db", e->se[r], 3);
        buffer_char(b, '}');
    }
    buffer_char(b, '}');
}

/* The straight line since the last change that was noticed, when there was one in the present era: the model's own line would run through the jump. Least squares with the
 * prior N(0, usual²), results far out cut. */
static void line_since(const struct deck_course *c, int64_t from_us, enum response r, double usual, double *per_year, double *se)
{
    double level = 0, slope = 0, precision = 1 / (usual * usual);
    int64_t middle = from_us + (c->results.rows[c->results.count - 1].made_at_us - from_us) / 2;
    for (int round = 0; round < 30; round++) {
        double w = 0, wx = 0, wxx = 0, wr = 0, wxr = 0;
        for (int i = 0; i < c->results.count; i++) {
            if (c->results.rows[i].made_at_us < from_us || !given(c->spread[r][i]))
                continue;
            double x = clock_years_between(middle, c->results.rows[i].made_at_us), sd = c->spread[r][i], most = trend_usual.clip * sd;
            double rest = fmin(fmax(c->standing[r][i] - level - slope * x, -most), most);
            w += 1 / (sd * sd), wx += x / (sd * sd), wxx += x * x / (sd * sd), wr += rest / (sd * sd), wxr += x * rest / (sd * sd);
        }
        if (w <= 0)
            break;
        precision = wxx - wx * wx / w + 1 / (usual * usual);
        double step = (wxr - wx * wr / w - slope / (usual * usual)) / precision;
        slope += step;
        level += (wr - wx * step) / w;
    }
    *per_year = slope;
    *se = 1 / sqrt(precision);
}

static void per_year(const struct deck_course *c, struct outlook_deck *d)
{
    int64_t reset = INT64_MIN, change = INT64_MIN;
    struct outlook_deck unseen;
    struct deck nobody = *c->deck;
    for (int i = 0; i < c->service_count; i++)
        if (c->services[i].resets)
            reset = c->services[i].made_at_us;
    for (int i = 0; i < c->signal_count; i++)
        change = c->results.rows[c->signals[i].at.since].made_at_us;
    model_deck(c->view->model, c->deck, CLASS_NONE, d);
    if (change < reset || change == INT64_MIN)
        return;
    nobody.id[0] = 0; /* what decks in general do */
    model_deck(c->view->model, &nobody, CLASS_NONE, &unseen);
    for (int r = 0; r < RESPONSES; r++)
        line_since(c, change, (enum response)r, fmax(unseen.per_year_se[r], 0.05), &d->per_year[r], &d->per_year_se[r]);
}

static void write_trend(struct buffer *b, const struct deck_course *c)
{
    struct outlook_deck d;
    int written = 0;
    per_year(c, &d);
    buffer_char(b, '{');
    json_member_text(b, "deck", c->deck->id);
    json_name(b, "points");
    buffer_char(b, '[');
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        if (row->left_out && !strcmp(row->left_out, "void"))
            continue;
        buffer_text(b, written++ ? ",\n" : "\n");
        write_point(b, c, i);
    }
    buffer_char(b, ']');
    json_name(b, "signals");
    buffer_char(b, '[');
    for (int i = 0; i < c->signal_count; i++) {
        buffer_text(b, i ? ",\n" : "\n");
        write_signal(b, c, &c->signals[i]);
    }
    buffer_char(b, ']');
    json_name(b, "eras");
    buffer_char(b, '[');
    for (int i = 0; i < c->era_count; i++) {
        buffer_text(b, i ? ",\n" : "\n");
        write_era(b, c, &c->eras[i]);
    }
    buffer_char(b, ']');
    json_name(b, "per_year_db");
    buffer_char(b, '{');
    json_member_fixed(b, "bias", d.per_year[BIAS], 3);
    json_member_fixed(b, "level", d.per_year[LEVEL], 3);
    json_member_fixed(b, "bias_se", d.per_year_se[BIAS], 3);
    json_member_fixed(b, "level_se", d.per_year_se[LEVEL], 3);
    buffer_char(b, '}');
    json_member_whole(b, "baseline", trend_usual.baseline);
    json_member_flag(b, "more", c->results.more);
    buffer_text(b, "}\n");
}

enum action_result action_deck_trend(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {NULL};
    struct fault f = {0};
    struct deck_course c = {0};
    struct view *v = live_take(house->live);
    const struct deck *d = captured_deck(v, x, &f);
    bool ok = d && parameters_allowed(&x->request, allowed, &f) && deck_course_make(house, v, d, &c, &f);
    if (ok)
        write_trend(json_body(x), &c);
    deck_course_free(&c);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}

/* ---- statistics ---- */

static void write_class(struct buffer *b, const struct deck_course *c, enum tape_class k, int results)
{
    struct outlook_deck d;
    struct slopes_at at;
    struct model_question q = {.deck = c->deck, .tape_class = k, .setup = "", .low_hz = ABSENT, .high_hz = ABSENT};
    model_deck(c->view->model, c->deck, k, &d);
    model_slopes(c->view->model, &q, &at);
    buffer_char(b, '{');
    json_member_text(b, "class", class_info(k)->id);
    json_member_text(b, "name", class_info(k)->name);
    json_member_whole(b, "calibrations", results);
    for (int r = 0; r < RESPONSES; r++) {
        json_name(b, RESPONSE[r]);
        buffer_char(b, '{');
        json_member_fixed(b, "offset_db", d.offset[r], 3);
        json_member_fixed(b, "se_db", d.se[r], 3);
        buffer_char(b, '}');
    }
    json_name(b, "slopes");
    buffer_char(b, '{');
    json_member_fixed(b, "a", at.seen.a, 4), json_member_fixed(b, "a_se", at.seen.a_se, 4);
    json_member_fixed(b, "b", at.seen.b, 4), json_member_fixed(b, "b_se", at.seen.b_se, 4);
    json_member_whole(b, "with_moves_here", at.calibrations_deck);
    json_member_whole(b, "with_moves", at.calibrations_cell);
    buffer_text(b, "}}");
}

static void write_dials(struct buffer *b, const struct deck_course *c)
{
    const struct dial *dials[RESPONSES] = {&c->deck->bias_dial, &c->deck->level_dial};
    struct model_question q = {.deck = c->deck,
                               .tape_class = c->deck->medium == MEDIUM_REEL ? CLASS_REEL_STANDARD : CLASS_TYPE_1,
                               .setup = "",
                               .low_hz = ABSENT,
                               .high_hz = ABSENT};
    struct slopes_at at;
    model_slopes(c->view->model, &q, &at);
    json_name(b, "dials");
    buffer_char(b, '{');
    for (int r = 0; r < RESPONSES; r++) {
        json_name(b, RESPONSE[r]);
        if (!dials[r]->present) {
            buffer_text(b, "null");
            continue;
        }
        buffer_char(b, '{');
        json_member_text(b, "unit", dial_unit(dials[r]));
        json_member_fixed(b, "db_per_unit", at.worth[r].db_per_unit, 4);
        json_member_fixed(b, "se", at.worth[r].se, 4);
        json_member_flag(b, "learned", dials[r]->scale == SCALE_LEARN);
        buffer_char(b, '}');
    }
    buffer_char(b, '}');
}

static void write_services(struct buffer *b, const struct deck_course *c)
{
    char id[UUID_TEXT];
    json_name(b, "services");
    buffer_char(b, '[');
    for (int i = 0; i < c->service_count; i++) {
        const struct service *s = &c->services[i];
        struct course_change change;
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_text(b, "service", uuid_format(&s->id, id));
        json_member_time(b, "made_at", s->made_at_us, s->made_at_offset_minutes);
        json_member_text(b, "kind", s->kind);
        json_member_flag(b, "resets", s->resets);
        if (deck_course_compare(c, s->made_at_us, &change)) {
            json_member_whole(b, "before", change.before);
            json_member_whole(b, "after", change.after);
            for (int r = 0; r < RESPONSES; r++) {
                double said = r == BIAS ? s->bias_shift_db : s->level_shift_db;
                json_name(b, RESPONSE[r]);
                buffer_char(b, '{');
                json_member_fixed(b, "change_db", change.mean[r], 3);
                json_member_fixed(b, "se_db", change.se[r], 3);
                json_member_fixed(b, "low90_db", change.low90[r], 3);
                json_member_fixed(b, "high90_db", change.high90[r], 3);
                json_member_fixed(b, "said_db", said, 3);
                buffer_char(b, '}');
            }
        }
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_checks(struct buffer *b, const struct deck_course *c)
{
    static const char *const kinds[] = {"playback", "control-tape"};
    json_name(b, "checks");
    buffer_char(b, '[');
    for (int i = 0; i < c->check_count; i++) {
        const struct deck_check *k = &c->checks[i];
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_time(b, "made_at", k->made_at_us, k->made_at_offset_minutes);
        json_member_text(b, "kind", kinds[k->kind]);
        json_member_fixed(b, "low_db", k->low_db, 2);
        json_member_fixed(b, "high_db", k->high_db, 2);
        json_member_fixed(b, "low_balance_db", k->low_balance_db, 2);
        json_member_fixed(b, "high_balance_db", k->high_balance_db, 2);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static int member_of(const struct result *row)
{
    return row->member;
}

/* How far its results scatter about what was expected of them: the deck's own unsteadiness from day to day, beside the club's. */
static double scatter_of(const struct deck_course *c, enum response r, double *room)
{
    int n = 0;
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        if (!row->left_out && given(row->is.flat[r]))
            room[n++] = fabs(row->is.flat[r] - outlook_expected(&row->is, ALL_PARTS, r));
    }
    return n ? summary_of(room, (size_t)n).median * 1.4826 : ABSENT; /* of a normal: sd = 1.4826 · median of |x| */
}

static void write_reliability(struct buffer *b, const struct deck_course *c, double *room)
{
    int all = 0, settled = 0, stopped = 0, n = 0, wide = 0;
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        if (row->left_out && !strcmp(row->left_out, "void"))
            continue;
        all++;
        settled += row->settled;
        stopped += row->stopped;
        if (given(row->unsteady_db))
            room[n++] = row->unsteady_db;
    }
    json_member_whole(b, "calibrations", all);
    json_member_whole(b, "members", results_distinct(&c->results, member_of));
    json_member_fixed(b, "settled_part", all ? (double)settled / all : ABSENT, 4);
    json_member_fixed(b, "stopped_part", all ? (double)stopped / all : ABSENT, 4);
    json_member_fixed(b, "unsteady_db", summary_of(room, (size_t)n).median, 3);
    json_member_whole(b, "unsteady_calibrations", n);
    n = 0;
    for (int i = 0; i < c->results.count; i++)
        if (given(c->results.rows[i].high_balance_db))
            room[n++] = c->results.rows[i].high_balance_db, wide++;
    json_member_fixed(b, "high_balance_db", summary_of(room, (size_t)n).median, 3);
    json_member_whole(b, "high_balance_calibrations", wide);
    for (int r = 0; r < RESPONSES; r++) {
        json_name(b, RESPONSE[r]);
        buffer_char(b, '{');
        json_member_fixed(b, "scatter_db", scatter_of(c, (enum response)r, room), 3);
        json_member_fixed(b, "club_scatter_db", c->club.sigma[r], 3);
        buffer_char(b, '}');
    }
}

static bool write_statistics(struct buffer *b, const struct deck_course *c)
{
    double *room = mem_zero((size_t)c->results.count + 1, sizeof *room);
    int written = 0, on_class[CLASS_COUNT] = {0};
    if (!room)
        return false;
    for (int i = 0; i < c->results.count; i++)
        if (!c->results.rows[i].left_out)
            on_class[c->results.rows[i].stock->tape_class]++;
    buffer_char(b, '{');
    json_member_text(b, "deck", c->deck->id);
    json_member_text(b, "name", c->deck->name);
    write_reliability(b, c, room);
    json_name(b, "classes");
    buffer_char(b, '[');
    for (int k = 0; k < CLASS_COUNT; k++) {
        if (class_info((enum tape_class)k)->medium != c->deck->medium)
            continue;
        buffer_text(b, written++ ? ",\n" : "\n");
        write_class(b, c, (enum tape_class)k, on_class[k]);
    }
    buffer_char(b, ']');
    write_dials(b, c);
    write_services(b, c);
    write_checks(b, c);
    json_member_flag(b, "more", c->results.more);
    buffer_text(b, "}\n");
    mem_free(room);
    return true;
}

enum action_result action_deck_statistics(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {NULL};
    struct fault f = {0};
    struct deck_course c = {0};
    struct view *v = live_take(house->live);
    const struct deck *d = captured_deck(v, x, &f);
    bool ok = d && parameters_allowed(&x->request, allowed, &f) && deck_course_make(house, v, d, &c, &f);
    if (ok && !write_statistics(json_body(x), &c))
        ok = fault_add(&f, FAULT_MEMORY, "", "memory", "out of memory");
    deck_course_free(&c);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
