/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Is it the tape or the deck, and what to check first. Pure: residuals in, odds and hints out.
 *
 * hint_weigh   which of a deck, a deck with one class, a tape, a batch, a stock, one tape on one deck, or nothing at all best
 *              explains the residuals; normal offsets with prior spreads, compared by their marginal likelihood
 * hints_find   rows of a table of patterns that fit what was found, each with the results it rests on
 *
 * The table is common practice, no source.
 */
#ifndef BIASBOOK_TRADE_HINTS_H
#define BIASBOOK_TRADE_HINTS_H

#include "records.h"

/* What can be off. Residuals: result minus what everything else explains, dB. */
enum hint_sign {
    HINT_BIAS,         /* wants more bias (+: it is brighter) or less (−: it is duller) than it should */
    HINT_LEVEL,        /* wants more record level (+: it is quieter) or less */
    HINT_UNSTEADY,     /* wander of the high tone beyond the usual */
    HINT_LOW_BALANCE,  /* left minus right at the low tone */
    HINT_HIGH_BALANCE, /* at the high tone */
    HINT_SIGNS
};

struct hint_row {
    bool on_deck, of_class, of_stock, of_batch, of_tape; /* whether it shares these with the case asked about */
    bool recent;                                         /* since the change asked about, or among the deck's newest */
    double value[HINT_SIGNS], sd[HINT_SIGNS];            /* ABSENT where not read; sd of one such residual */
    bool stopped, unsettled;                             /* a dial ran out; would not line up */
    int64_t tag;                                         /* the caller's own number of this result */
};

enum hint_scope {
    HINT_NOTHING,
    HINT_DECK,       /* all recent results on this deck */
    HINT_DECK_CLASS, /* those of this class */
    HINT_TAPE,       /* all results of this one tape, on any deck */
    HINT_BATCH,
    HINT_STOCK,
    HINT_PAIR, /* this tape on this deck only, or this one result */
    HINT_SCOPES
};
bool hint_in_scope(const struct hint_row *r, enum hint_scope scope);

enum hint_verdict { VERDICT_NOTHING, VERDICT_TAPE, VERDICT_DECK, VERDICT_CANNOT_TELL };
const char *hint_verdict_text(enum hint_verdict v); /* "nothing unusual", "tape", "deck", "cannot tell yet" */

#define HINT_SURE 0.9 /* a verdict is dared from here on */

struct hint_finding {
    double chance[HINT_SCOPES]; /* sums to 1 */
    double tape, deck;          /* tape + batch + stock; deck + deck with class */
    double odds;                /* of the likelier of tape and deck against all else */
    enum hint_verdict verdict;
    enum hint_scope scope;                        /* the likeliest */
    double size[HINT_SIGNS], size_se[HINT_SIGNS]; /* its offsets; ABSENT where nothing was read */
    int rows;                                     /* results in that scope */
    const char *would_tell;                       /* what would settle it when the verdict is "cannot tell yet"; else "" */
};
void hint_weigh(const struct hint_row *rows, int n, struct hint_finding *out);

/* ---- record side or playback side of a deck that changed ---- */
enum hint_half { HALF_RECORD, HALF_PLAYBACK, HALF_CANNOT_TELL };
/* `shift` = how the deck's own recordings changed at the high tone, `check` = how a playback check or a control tape read since then, dB with their se;
 * check ABSENT = none was made. *playback = chance that playback explains it. */
enum hint_half hint_half_of(double shift, double shift_se, double check, double check_se, double *playback);

/* ---- the table ---- */
enum hint_cause { CAUSE_OFFSET, CAUSE_STOPPED, CAUSE_UNSETTLED };
#define HINT_CHECKS 7
struct hint_rule {
    const char *code;    /* stable */
    const char *pattern; /* what is seen, for a person */
    enum hint_scope scope;
    enum hint_cause cause;
    enum hint_sign sign;             /* CAUSE_OFFSET only */
    int direction;                   /* +1, −1, 0 either */
    double least_db;                 /* smaller offsets are nothing to look for */
    const char *checks[HINT_CHECKS]; /* what practitioners look at, in order; NULL after the last */
};
extern const struct hint_rule hint_rules[];
extern const int hint_rule_count;
#define HINT_SOURCE "common practice, no source"

#define HINT_EVIDENCE 40
struct hint_hit {
    const struct hint_rule *rule;
    double chance;               /* that the pattern is there */
    double size_db, size_se_db;  /* CAUSE_OFFSET; else the share of results, and that elsewhere */
    int row_count;               /* results in scope that bear on it */
    int64_t tags[HINT_EVIDENCE]; /* the first of them */
};
/* Likeliest first; at most `most`, returns how many were written. */
int hints_find(const struct hint_row *rows, int n, struct hint_hit *out, int most);
#endif
