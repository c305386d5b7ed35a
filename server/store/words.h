/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Private to store/: the words the file uses for the records' lists. They are part of the file's format: never change one.
 */
#ifndef BIASBOOK_STORE_WORDS_H
#define BIASBOOK_STORE_WORDS_H

#include "sql.h"

/* Each list is indexed by its enum; NULL stands for "not given" (SQL NULL). Closed by WORD_END. */
extern const char WORD_END[];
extern const char *const WORDS_ROLE[],
    *const WORDS_SCOPE[], *const WORDS_MEDIUM[], *const WORDS_CLASS[], *const WORDS_PLUS[],
                                                                           *const WORDS_SCALE[],
                                                                               *const WORDS_DIRECTION[],
                                                                                   *const WORDS_COUNTER[],
                                                                                       *const WORDS_CHANNEL[],
                                                                                           *const WORDS_SIDE[],
                                                                                               *const WORDS_STOP[],
                                                                                                   *const WORDS_METHOD[],
                                                                                                       *const WORDS_POSITION[],
                                                                                                           *const WORDS_CHECK[];

void bind_word(struct binder *b, const char *const *words, int value); /* out of the list: NULL */
int take_word(struct columns *c, const char *const *words,
              int otherwise); /* `otherwise` for NULL without an own place, or a word not in the list */

#endif
