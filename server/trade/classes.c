/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Names of classes, media and equalisations. Type III equalisation is disputed in print (120 µs in one published answer); decks
 * normally use 70 µs for it: common practice, no source.
 */
#include "classes.h"

#include "../ground/buffer.h"

#include <string.h>

static const struct class_info CLASSES[CLASS_COUNT] = {
    [CLASS_TYPE_1] = {"type-1", "Type I, ferric", MEDIUM_CASSETTE, "120us"},
    [CLASS_TYPE_2] = {"type-2", "Type II, chrome or cobalt-ferric", MEDIUM_CASSETTE, "70us"},
    [CLASS_TYPE_3] = {"type-3", "Type III, ferrichrome", MEDIUM_CASSETTE, "70us"},
    [CLASS_TYPE_4] = {"type-4", "Type IV, metal", MEDIUM_CASSETTE, "70us"},
    [CLASS_REEL_STANDARD] = {"reel-standard", "Open reel, standard operating level", MEDIUM_REEL, "50us"},
    [CLASS_REEL_HIGH_OUTPUT] = {"reel-high-output", "Open reel, high output", MEDIUM_REEL, "50us"},
    [CLASS_REEL_EXTRA_OUTPUT] = {"reel-extra-output", "Open reel, extra high output", MEDIUM_REEL, "50us"},
};

const struct class_info *class_info(enum tape_class c)
{
    return (int)c >= 0 && c < CLASS_COUNT ? &CLASSES[c] : NULL;
}

enum tape_class class_from_id(const char *id)
{
    for (int c = 0; id && c < CLASS_COUNT; c++)
        if (!strcmp(CLASSES[c].id, id))
            return (enum tape_class)c;
    return CLASS_NONE;
}

const char *medium_id(enum medium m)
{
    return m == MEDIUM_CASSETTE ? "cassette" : m == MEDIUM_REEL ? "reel" : "";
}

enum medium medium_from_id(const char *id)
{
    for (int m = MEDIUM_CASSETTE; id && m <= MEDIUM_REEL; m++)
        if (!strcmp(medium_id((enum medium)m), id))
            return (enum medium)m;
    return MEDIUM_NONE;
}

double equalisation_turnover_hz(double time_constant_us)
{
    return 1e6 / (2 * M_PI * time_constant_us);
}

double equalisation_time_constant_us(const char *text)
{
    const char *plus = text ? strrchr(text, '+') : NULL;
    const char *start = plus ? plus + 1 : text;
    if (!start)
        return ABSENT;
    while (*start == ' ')
        start++;
    size_t digits = strspn(start, "0123456789.");
    const char *unit = start + digits + strspn(start + digits, " ");
    double us;
    bool micro = !strcmp(unit, "us") || !strcmp(unit, "\xC2\xB5s") || !strcmp(unit, "\xCE\xBCs"); /* µ as micro sign or as Greek letter */
    return micro && number_parse(start, digits, &us) && us > 0 ? us : ABSENT;
}
