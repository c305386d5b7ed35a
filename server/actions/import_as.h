/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Another club's decks and stocks under ids of ours: when the same id stands for another deck here, theirs comes in under a free one; when the same deck has another
 * id here, its rows go to ours. Said by whoever imports, as "deck:theirs=ours,stock:theirs=ours".
 */
#ifndef BIASBOOK_ACTIONS_IMPORT_AS_H
#define BIASBOOK_ACTIONS_IMPORT_AS_H

#include "../ground/buffer.h"
#include "../wire/wire.h"

#define IMPORT_AS_MOST 200 /* names in one import; a longer list is a file to be edited */

struct import_as {
    struct {
        bool is_deck;
        char theirs[LIMIT_SLUG + 1], ours[LIMIT_SLUG + 1];
        long rows; /* that named it */
    } names[IMPORT_AS_MOST];
    int count;
};
/* NULL or "" is fine: no names. False: a fault of field "as". */
bool import_as_read(const char *text, struct import_as *out, struct fault *f);
/* Changes what the line is or what it names; a line without such a name stays. */
void import_as_apply(struct import_as *as, struct line *l);
/* Appends ,"as":{"deck:theirs":3,…}: rows that named each; nothing when there are no names. */
void import_as_report(const struct import_as *as, struct buffer *b);

#endif
