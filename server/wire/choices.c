/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What enum values are called in JSON, in the order of their enums.
 */
#include "members.h"

#include "../trade/classes.h"

#define LIST(function, ...)                                                                                                                \
    const char *function(int v)                                                                                                            \
    {                                                                                                                                      \
        static const char *const names[] = {__VA_ARGS__};                                                                                  \
        return v >= 0 && v < (int)(sizeof names / sizeof *names) ? names[v] : NULL;                                                        \
    }

LIST(plus_choice, "more", "less")
LIST(scale_choice, "db", "percent", "ratio", "points", "learn")
LIST(direction_choice, "forward", "reverse")
LIST(channel_choice, "both", "left", "right")
LIST(stop_choice, "none", "low", "high")
LIST(method_choice, "flat", "overbias", "distortion", "by-ear", "automatic")
LIST(check_kind_choice, "playback", "control-tape")
LIST(plan_choice, "single", "ladder")

const char *class_choice(int v)
{
    const struct class_info *info = class_info((enum tape_class)v);
    return info ? info->id : NULL;
}

const char *medium_choice(int v)
{
    return v == MEDIUM_CASSETTE || v == MEDIUM_REEL ? medium_id((enum medium)v) : NULL;
}

/* SIDE_NONE is JSON null and has no name, but the list must not end there. */
const char *side_choice(int v)
{
    static const char *const names[] = {[SIDE_NONE] = "none", [SIDE_A] = "a", [SIDE_B] = "b"};
    return v >= 0 && v <= SIDE_B ? names[v] : NULL;
}
