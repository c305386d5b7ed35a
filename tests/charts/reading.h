/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Reads a drawing back: its texts with their places, and what must hold of every drawing whatever it shows.
 */
#ifndef BIASBOOK_TESTS_CHARTS_READING_H
#define BIASBOOK_TESTS_CHARTS_READING_H

#include "charts/svg.h"

struct drawn_text {
    double x, y, size;
    char anchor; /* s, m, e */
    char text[200];
};
/* Texts in order; returns how many, at most `room`. */
int drawn_texts(const char *svg, struct drawn_text *out, int room);
int drawn_count(const char *svg, const char *needle);
double drawn_number(const char *element, const char *attribute); /* NaN when it is not there */

/* Well-formed (xmllint), one root with title and description named by aria-labelledby, no style, script, link or event attribute, no NaN or infinity, texts of
 * at least 12 px that stand inside the sheet. */
void drawing_holds(const char *svg);
#endif
