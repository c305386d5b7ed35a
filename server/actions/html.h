/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Pages the daemon writes itself, for browsers without scripts: the same style sheet, nothing inline. The escaping context is in the name.
 */
#ifndef BIASBOOK_ACTIONS_HTML_H
#define BIASBOOK_ACTIONS_HTML_H

#include "exchange.h"

void html_text(struct buffer *b, const char *text);      /* between tags */
void html_attribute(struct buffer *b, const char *text); /* inside "…" */
/* Type set, head and the beginning of <main>. `root` is the relative way to the pages' root: "" or "../". */
struct buffer *html_begin(struct exchange *x, const char *root, const char *title);
void html_end(struct buffer *b);
/* <option value="…">name</option>, selected when equal to `chosen`. */
void html_option(struct buffer *b, const char *value, const char *name, const char *chosen);

#endif
