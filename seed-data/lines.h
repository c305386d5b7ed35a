/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The club's records as lines of its exchange format: one JSON object a line, `kind` first, and the end line with rows and SHA-256.
 * Written apart from the server's own writer on purpose: two writers and one reader keep the format honest.
 */
#ifndef BIASBOOK_SEED_LINES_H
#define BIASBOOK_SEED_LINES_H

#include "ground/buffer.h"
#include "ground/secrets.h"
#include "trade/records.h"

#include <stdio.h>

struct lines {
    FILE *out;
    struct buffer text;
    struct sum sum;
    long rows;
    bool failed;
};

void lines_start(struct lines *l, FILE *out);
void lines_deck(struct lines *l, const struct deck *d);
void lines_stock(struct lines *l, const struct stock *s);
void lines_service(struct lines *l, const struct service *s);
void lines_check(struct lines *l, const struct deck_check *c);
/* `void_reason` NULL = stands. */
void lines_calibration(struct lines *l, const struct calibration *c, const char *member, const char *void_reason);
bool lines_end(struct lines *l); /* the last line; false when anything could not be written */
#endif
