/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Whether a calibration, a service and a check of a deck make sense: against the deck's dials, the stock's medium, the clock. Strange but
 * possible values pass; the estimator weighs them and people review them.
 */
#include "check_inside.h"

#include "classes.h"
#include "dial.h"

#include <string.h>

static bool check_when(struct fault *f, int64_t made_at_us, int64_t latest_us)
{
    if (made_at_us == CLOCK_NONE)
        return check_required(f, "made_at", "when it was done (RFC 3339, e.g. 2024-03-01T19:00:00+01:00)");
    if (made_at_us > latest_us && made_at_us - latest_us > LIMIT_LATE_US)
        return check_refuse(f, "made_at", "in-the-future", "made_at lies more than a day ahead; check the date and the clock");
    return true;
}

static bool unknown(struct fault *f, const char *field, const char *id)
{
    if (!*id)
        return check_required(f, field, field[0] == 'd' ? "which deck" : "which stock");
    return check_refuse(f, field, field[0] == 'd' ? "unknown-deck" : "unknown-stock",
                        "the club has no %s '%s'; check its short name, or enter it first", field, id);
}

/* ---- dial readings ---- */

enum need { NEEDED, OPTIONAL };
static bool check_reading(struct fault *f, const char *field, double reading, const struct dial *d, enum need need)
{
    if (!given(reading))
        return !d->present || need == OPTIONAL || check_required(f, field, "the dial reading");
    if (!d->present)
        return check_refuse(f, field, "no-such-dial", "this deck has no such dial; leave it out, or add the dial to the deck");
    if (reading >= d->low && reading <= d->high)
        return true;
    return check_refuse(f, field, "outside-dial", "%g is outside the dial, which goes from %g to %g", reading, d->low, d->high);
}

/* A dial that ran out was left at (or close to) that end. */
static bool check_stop(struct fault *f, const char *field, enum stop stop, double reading, const struct dial *d)
{
    if (stop == STOP_NONE)
        return true;
    if (!d->present)
        return check_refuse(f, field, "no-such-dial", "this deck has no such dial; leave it out");
    if (!given(reading))
        return true;
    double end = stop == STOP_LOW ? d->low : d->high, near = fmax(dial_step(d), 0.1 * (d->high - d->low));
    return fabs(reading - end) <= near ||
           check_refuse(f, field, "not-at-the-end", "the reading %g is not at the %s end of the dial (%g); mend one of the two", reading,
                        stop == STOP_LOW ? "low" : "high", end);
}

static bool check_dials(const struct calibration *c, const struct deck *d, struct fault *f)
{
    bool fine = check_reading(f, "bias", c->bias, &d->bias_dial, NEEDED);
    fine = check_reading(f, "level", c->level, &d->level_dial, NEEDED) && fine;
    fine = check_reading(f, "eq", c->eq, &d->eq_dial, OPTIONAL) && fine;
    fine = check_stop(f, "bias_stop", c->bias_stop, c->bias, &d->bias_dial) && fine;
    return check_stop(f, "level_stop", c->level_stop, c->level, &d->level_dial) && fine;
}

static bool check_moves(const struct calibration *c, const struct deck *d, struct fault *f)
{
    bool fine = true;
    for (int i = 0; i < c->move_count; i++) {
        const struct move *m = &c->moves[i];
        if (!given(m->bias) && !given(m->level) && !given(m->low_db) && !given(m->high_db))
            fine = check_refuse(f, check_field_at("moves", i, "").text, "required",
                                "a move without settings and readings says nothing; leave it out");
        fine = check_reading(f, check_field_at("moves", i, "bias").text, m->bias, &d->bias_dial, OPTIONAL) && fine;
        fine = check_reading(f, check_field_at("moves", i, "level").text, m->level, &d->level_dial, OPTIONAL) && fine;
        fine = check_within(f, check_field_at("moves", i, "low_db").text, m->low_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
        fine = check_within(f, check_field_at("moves", i, "high_db").text, m->high_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
    }
    return fine;
}

/* ---- the rest of a calibration ---- */

static bool check_place(const struct calibration *c, struct fault *f)
{
    static const struct {
        const char *field, *unit;
        double high;
    } kinds[] = {[POSITION_S] = {"position_s", "s", LIMIT_POSITION_S},
                 [POSITION_TURNS] = {"position_turns", "turns", LIMIT_POSITION_TURNS},
                 [POSITION_COUNTER] = {"position_counter", "counts", LIMIT_POSITION_COUNTER},
                 [POSITION_PART] = {"position_part", "of the side", 1}};
    bool fine = c->position_kind == POSITION_NONE || check_within(f, kinds[c->position_kind].field, c->position_typed, 0,
                                                                  kinds[c->position_kind].high, kinds[c->position_kind].unit);
    if (c->recordings != -1)
        fine = check_within(f, "recordings", c->recordings, 0, LIMIT_RECORDINGS, "times") && fine;
    return fine;
}

static bool check_method(const struct calibration *c, struct fault *f)
{
    bool fine = true;
    if (c->bias_method == METHOD_OVERBIAS) {
        fine = given(c->drop_db) || check_required(f, "drop_db", "how far past the peak the tone was let fall");
        fine = (given(c->drop_hz) || check_required(f, "drop_hz", "at which tone the fall past the peak was read")) && fine;
    } else if (given(c->drop_db) || given(c->drop_hz)) {
        fine = check_refuse(f, given(c->drop_db) ? "drop_db" : "drop_hz", "not-for-method",
                            "a drop belongs to the bias_method 'overbias'; leave it out or say so");
    }
    fine = check_above_zero(f, "drop_db", c->drop_db, LIMIT_DROP_DB, "dB") && fine;
    return check_within(f, "drop_hz", c->drop_hz, LIMIT_HZ_LOW, LIMIT_HZ_HIGH, "Hz") && fine;
}

static bool check_levels(const struct calibration *c, struct fault *f)
{
    const struct {
        const char *field;
        double value;
    } levels[] = {{"low_db", c->low_db},
                  {"high_db", c->high_db},
                  {"low_balance_db", c->low_balance_db},
                  {"high_balance_db", c->high_balance_db},
                  {"peak_db", c->peak_db}};
    bool fine = true;
    for (size_t i = 0; i < sizeof levels / sizeof *levels; i++)
        fine = check_within(f, levels[i].field, levels[i].value, -LIMIT_DB, LIMIT_DB, "dB") && fine;
    if (given(c->low_db) != given(c->high_db))
        fine =
            check_refuse(f, given(c->low_db) ? "high_db" : "low_db", "both-or-neither", "give the readings of both tones, or of neither");
    fine = check_within(f, "unsteady_db", c->unsteady_db, 0, LIMIT_DB, "dB") && fine;
    return check_within(f, "treble_db", c->treble_db, -LIMIT_TREBLE_DB, LIMIT_TREBLE_DB, "dB") && fine;
}

static bool check_proof(const struct calibration *c, struct fault *f)
{
    bool fine = true;
    for (int i = 0; i < c->proof_count; i++) {
        const struct proof *p = &c->proof[i];
        struct field_path hz = check_field_at("proof", i, "hz");
        fine =
            (given(p->hz) ? check_within(f, hz.text, p->hz, LIMIT_HZ_LOW, LIMIT_HZ_HIGH, "Hz") : check_required(f, hz.text, "the tone")) &&
            fine;
        fine = check_within(f, check_field_at("proof", i, "left_db").text, p->left_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
        fine = check_within(f, check_field_at("proof", i, "right_db").text, p->right_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
        if (!given(p->left_db) && !given(p->right_db))
            fine = check_refuse(f, check_field_at("proof", i, "left_db").text, "required",
                                "give what was read on the left, the right or both");
    }
    return fine;
}

/* What only the deck can tell. */
static bool check_on_deck(const struct calibration *c, const struct deck *d, struct fault *f)
{
    struct setup setup;
    bool fine = true;
    if (!deck_setup(d, c->setup, &setup))
        fine = check_refuse(f, "setup", "unknown-setup", "the deck '%s' has no setup '%s'; leave it out for 'main', or add it to the deck",
                            d->id, c->setup);
    if (c->channel == CHANNEL_BOTH && d->per_channel)
        fine = check_refuse(f, "channel", "channel-needed", "this deck is trimmed channel by channel; say 'left' or 'right'");
    fine = check_moves(c, d, f) && fine;
    double low = given(c->low_hz) ? c->low_hz : deck_low_hz(d), high = given(c->high_hz) ? c->high_hz : deck_high_hz(d);
    if (!(low < high))
        fine = check_refuse(f, given(c->high_hz) ? "high_hz" : "low_hz", "not-rising",
                            "the high tone (%g Hz) must be above the low one (%g Hz)", high, low);
    return fine;
}

/* What is asked before a result as well as logged with it. */
static bool check_asked(const struct calibration *c, const struct deck *deck, struct fault *f)
{
    bool fine = !deck || check_on_deck(c, deck, f);
    fine = check_place(c, f) && fine;
    fine = check_method(c, f) && fine;
    fine = check_levels(c, f) && fine;
    return check_tones(f, c->low_hz, c->high_hz, c->tone_db) && fine;
}

bool check_bench(const struct calibration *c, const struct deck *deck, struct fault *f)
{
    return check_asked(c, deck, f);
}

bool check_calibration(const struct calibration *c, const struct deck *deck, const struct stock *stock, int64_t latest_us, struct fault *f)
{
    bool fine = deck || unknown(f, "deck", c->deck);
    fine = (stock || unknown(f, "stock", c->stock)) && fine;
    fine = check_when(f, c->made_at_us, latest_us) && fine;
    if (deck && stock && deck->medium != stock_medium(stock))
        fine = check_refuse(f, "stock", "media-differ", "the stock is %s tape and the deck takes %s; choose another",
                            medium_id(stock_medium(stock)), medium_id(deck->medium));
    fine = (!deck || check_dials(c, deck, f)) && fine;
    fine = check_asked(c, deck, f) && fine;
    fine = check_proof(c, f) && fine;
    return check_text_fits(f, "notes", c->notes) && fine;
}

/* ---- services ---- */

static const struct {
    const char *kind;
    bool resets; /* the record side is another afterwards */
} SERVICES[] = {{"belts", false},        {"pinch-roller", false},    {"heads-cleaned", false}, {"heads-replaced", true},
                {"azimuth", true},       {"playback-aligned", true}, {"record-trims", true},   {"realigned", true},
                {"demagnetised", false}, {"motor", false},           {"speed", false},         {"other", false}};
enum { SERVICE_KINDS = sizeof SERVICES / sizeof *SERVICES };

static int service_index(const char *kind)
{
    for (int i = 0; i < SERVICE_KINDS; i++)
        if (!strcmp(SERVICES[i].kind, kind))
            return i;
    return -1;
}

bool service_kind_known(const char *kind)
{
    return service_index(kind) >= 0;
}

bool service_kind_resets(const char *kind)
{
    int i = service_index(kind);
    return i >= 0 && SERVICES[i].resets;
}

bool check_service(const struct service *s, const struct deck *deck, int64_t latest_us, struct fault *f)
{
    bool fine = deck || unknown(f, "deck", s->deck);
    fine = check_when(f, s->made_at_us, latest_us) && fine;
    if (!*s->kind)
        fine = check_required(f, "kind", "what was done");
    else if (!service_kind_known(s->kind))
        fine = check_refuse(
            f, "kind", "not-in-list",
            "'%.40s' is not one of belts, pinch-roller, heads-cleaned, heads-replaced, azimuth, playback-aligned, record-trims, "
            "realigned, demagnetised, motor, speed, other",
            s->kind);
    fine = check_within(f, "bias_shift_db", s->bias_shift_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
    fine = check_within(f, "level_shift_db", s->level_shift_db, -LIMIT_DB, LIMIT_DB, "dB") && fine;
    return check_text_fits(f, "notes", s->notes) && fine;
}

bool check_deck_check(const struct deck_check *c, const struct deck *deck, int64_t latest_us, struct fault *f)
{
    const struct {
        const char *field;
        double value;
    } levels[] = {
        {"low_db", c->low_db}, {"high_db", c->high_db}, {"low_balance_db", c->low_balance_db}, {"high_balance_db", c->high_balance_db}};
    bool fine = deck || unknown(f, "deck", c->deck), any = false;
    fine = check_when(f, c->made_at_us, latest_us) && fine;
    for (size_t i = 0; i < sizeof levels / sizeof *levels; i++) {
        fine = check_within(f, levels[i].field, levels[i].value, -LIMIT_DB, LIMIT_DB, "dB") && fine;
        any = any || given(levels[i].value);
    }
    if (!any)
        fine = check_refuse(f, "low_db", "required", "a check needs at least one reading: low_db, high_db or a balance");
    return check_text_fits(f, "notes", c->notes) && fine;
}
