/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See cautions.h: one function a concern, in the order in which they are told.
 */
#include "cautions.h"

#include "classes.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct list {
    struct caution *out;
    int count;
};

static void say(struct list *l, const char *code, const char *format, ...) __attribute__((format(printf, 3, 4)));
static void say(struct list *l, const char *code, const char *format, ...)
{
    if (l->count == CAUTIONS_MAX)
        return;
    struct caution *c = &l->out[l->count++];
    c->code = code;
    size_t n = strlen(format);
    if (n < sizeof c->text && !memchr(format, '%', n)) { /* most are plain sentences, and nearly every suggestion has one */
        memcpy(c->text, format, n + 1);
        return;
    }
    va_list ap;
    va_start(ap, format);
    vsnprintf(c->text, sizeof c->text, format, ap);
    va_end(ap);
}

void caution_facts_init(struct caution_facts *facts)
{
    *facts = (struct caution_facts){.tape_class = CLASS_NONE,
                                    .position_s = ABSENT,
                                    .recordings = -1,
                                    .left_low_db = ABSENT,
                                    .left_high_db = ABSENT,
                                    .newest_years = ABSENT,
                                    .of_stock = CAUTION_FEW,
                                    .on_deck = CAUTION_FEW,
                                    .club = CAUTION_FEW};
}

/* "about 1.2 dB dull", "right": what is left at the high tone. */
static const char *left_over(double db, const char *more, const char *less, char out[48])
{
    if (!given(db) || fabs(db) < 0.05)
        snprintf(out, 48, "about right");
    else
        snprintf(out, 48, "about %.1f dB %s", fabs(db), db > 0 ? more : less);
    return out;
}

static void about_dials(struct list *l, const struct caution_facts *x)
{
    char treble[48], level[48];
    bool told = x->bias_beyond || x->level_beyond || !x->deck->bias_dial.present || !x->deck->level_dial.present ||
                x->worth_rel_se[0] > CAUTION_WORTH || x->worth_rel_se[1] > CAUTION_WORTH;
    if (!told)
        return; /* as for most questions: no number is printed for nothing */
    left_over(x->left_high_db, "bright", "dull", treble);
    left_over(x->left_low_db, "loud", "soft", level);
    if (x->bias_beyond && x->deck->bias_dial.present)
        say(l, "dial-runs-out",
            "The bias dial runs out before this tape is satisfied: the treble will be %s. Check tape type, equalisation and clean heads "
            "first.",
            treble);
    if (x->level_beyond && x->deck->level_dial.present)
        say(l, "dial-runs-out", "The record level dial runs out before this tape is satisfied: the tape will play back %s.", level);
    if (!x->deck->bias_dial.present)
        say(l, "no-bias-dial", "This deck has no bias dial, so the treble comes out as it comes: %s.", treble);
    if (!x->deck->level_dial.present && x->for_noise_reduction)
        say(l, "no-level-dial",
            "This deck has no record level dial, and noise reduction expects the level it made: the tape plays back %s, and the decoder "
            "enlarges such errors.",
            level);
    for (int r = 0; r < 2; r++)
        if (x->worth_rel_se[r] > CAUTION_WORTH)
            say(l, "dial-worth-learned",
                "What one mark of the %s dial is worth is not well known yet (to about %.0f %%). Log a few moves with their readings, and "
                "it will be.",
                r ? "record level" : "bias", 100 * x->worth_rel_se[r]);
}

static void about_calibrating(struct list *l, const struct caution_facts *x)
{
    if (x->noise_reduction)
        say(l, "noise-reduction-on",
            "Noise reduction was on while calibrating. It bends both readings, so this result is kept and shown but not learned from. "
            "Switch it off and read again.");
    if (x->mpx_filter)
        say(l, "mpx-filter-on",
            "The 19 kHz (MPX) filter was on while calibrating. It can lower the high tone, so this result is kept and shown but not "
            "learned from. Switch it off and read again.");
}

static void about_basis(struct list *l, const struct caution_facts *x)
{
    if (x->club == 0) {
        say(l, "no-results", "Nothing has been logged yet: this is what such tapes usually want, and no more. Take readings.");
        return;
    }
    const struct class_info *info = class_info(x->tape_class);
    if (x->class_only)
        say(l, "class-only",
            "Nobody has logged this tape: the number is what %s tapes have wanted here on the whole. Single stocks differ by a decibel and "
            "more.",
            info ? info->name : "such");
    else if (x->of_stock == 0)
        say(l, "few-results", "No result of this stock yet: take the range seriously.");
    else if (x->of_stock < CAUTION_FEW)
        say(l, "few-results", "Only %ld result%s of this stock so far: take the range seriously.", x->of_stock,
            x->of_stock == 1 ? "" : "s");
    if (x->on_deck == 0)
        say(l, "few-results", "No result on this deck yet: take the range seriously.");
    else if (x->on_deck < CAUTION_FEW)
        say(l, "few-results",
            x->on_deck == 1 ? "Only %ld result on this deck so far: take the range seriously."
                            : "Only %ld results on this deck so far: take the range seriously.",
            x->on_deck);
    if (given(x->newest_years) && x->newest_years > CAUTION_OLD_YEARS)
        say(l, "old-result", "The newest result on this deck is %.1f years old, and decks drift. Take readings.", x->newest_years);
}

static void about_place(struct list *l, const struct caution_facts *x)
{
    if (given(x->position_s) && x->position_s < CAUTION_START_S)
        say(l, "start-of-tape", "The first half minute of a tape wavers: wind on past %.0f seconds before you calibrate (common practice).",
            CAUTION_START_S);
    if (x->position_kind != POSITION_NONE && !given(x->position_s))
        say(l, "position-unknown", "The place on the reel could not be turned into seconds: %s.",
            x->position_why && *x->position_why ? x->position_why : "too little is known of the reel");
    else if (x->position_kind == POSITION_TURNS)
        say(l, "position-converted", "The place on the reel was worked out from turns: %.0f seconds, give or take 3 %%.", x->position_s);
    else if (x->position_kind == POSITION_COUNTER && !(x->deck && x->deck->counter.kind == COUNTER_TIME))
        say(l, "position-converted", "The place on the reel was worked out from the counter: %.0f seconds, give or take 3 %%.",
            x->position_s);
    if (x->recordings >= CAUTION_RECORDINGS)
        say(l, "recordings-many",
            "Recorded over %d times: a tape that worn is not the tape it was, and its treble may waver (common practice).", x->recordings);
}

static void about_wish(struct list *l, const struct caution_facts *x)
{
    if (x->treble_db >= CAUTION_LIFT_DB)
        say(l, "lift-by-underbias",
            "A lift of %.1f dB is got by too little bias, which distorts more and drops out sooner. 3 dB is about as far as people go.",
            x->treble_db);
    if (x->tape_class == CLASS_TYPE_3)
        say(l, "type-3-equalisation",
            "Decks disagree about the equalisation of Type III (120 or 70 microseconds: 4.5 dB at 10 kHz). Keep to the switch position "
            "that was logged.");
}

int cautions_of(const struct caution_facts *facts, struct caution out[CAUTIONS_MAX])
{
    struct list l = {out, 0};
    if (facts->deck)
        about_dials(&l, facts);
    about_calibrating(&l, facts);
    about_basis(&l, facts);
    about_place(&l, facts);
    about_wish(&l, facts);
    return l.count;
}
