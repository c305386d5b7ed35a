/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The file's words: see words.h. Order follows trade/records.h.
 */
#include "words.h"

#include <string.h>

const char WORD_END[] = "";
const char *const WORDS_ROLE[] = {"none", "reader", "logger", "steward", WORD_END};
const char *const WORDS_SCOPE[] = {"all", "read", "log", WORD_END};
const char *const WORDS_MEDIUM[] = {"cassette", "reel", WORD_END};
const char *const WORDS_CLASS[] = {"type-1", "type-2", "type-3", "type-4", "reel-standard", "reel-high-output", "reel-extra-output",
                                   WORD_END};
const char *const WORDS_PLUS[] = {"more", "less", WORD_END};
const char *const WORDS_SCALE[] = {"db", "percent", "ratio", "points", "learn", WORD_END};
const char *const WORDS_DIRECTION[] = {"forward", "reverse", WORD_END};
const char *const WORDS_COUNTER[] = {NULL, "time", "turns", "points", WORD_END};
const char *const WORDS_CHANNEL[] = {"both", "left", "right", WORD_END};
const char *const WORDS_SIDE[] = {NULL, "a", "b", WORD_END};
const char *const WORDS_STOP[] = {NULL, "low", "high", WORD_END};
const char *const WORDS_METHOD[] = {"flat", "overbias", "distortion", "by-ear", "automatic", WORD_END};
const char *const WORDS_POSITION[] = {NULL, "seconds", "turns", "counter", "part", WORD_END};
const char *const WORDS_CHECK[] = {"playback", "control-tape", WORD_END};

void bind_word(struct binder *b, const char *const *words, int value)
{
    const char *word = NULL;
    for (int i = 0; words[i] != WORD_END; i++)
        if (i == value)
            word = words[i];
    bind_text(b, word);
}

int take_word(struct columns *c, const char *const *words, int otherwise)
{
    const char *word = take_long(c);
    for (int i = 0; words[i] != WORD_END; i++)
        if (word ? words[i] && strcmp(words[i], word) == 0 : !words[i])
            return i;
    return otherwise;
}
