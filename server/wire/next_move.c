/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See next_move.h: the rows of a calibration's table that make sense before it is logged.
 */
#include "next_move.h"

#include "members.h"

#include <string.h>

static const char *const taken[] = {"deck",
                                    "stock",
                                    "setup",
                                    "channel",
                                    "batch",
                                    "tape",
                                    "position_s",
                                    "position_turns",
                                    "position_counter",
                                    "position_part",
                                    "recordings",
                                    "treble_db",
                                    "for_noise_reduction",
                                    "low_hz",
                                    "high_hz",
                                    "tone_db",
                                    "bias_method",
                                    "drop_db",
                                    "drop_hz",
                                    "moves",
                                    NULL};

static const struct member own_members[] = {
    {.name = "class",
     .type = MEMBER_CHOICE,
     .at = offsetof(struct next_move_body, tape_class),
     .choice = class_choice,
     .not_given = CLASS_NONE},
    CHOICE(struct next_move_body, plan, plan_choice, PLAN_SINGLE),
    MEMBERS_END,
};

bool wire_read_next_move(const char *json, size_t n, struct arena *a, struct next_move_body *out, struct fault *f)
{
    struct reading r;
    struct member asked[sizeof taken / sizeof *taken];
    for (size_t i = 0; i < sizeof taken / sizeof *taken; i++)
        asked[i] = taken[i] ? *member_find(calibration_members, taken[i]) : (struct member)MEMBERS_END;
    reading_start(&r, a, f);
    calibration_init(&out->ask);
    out->tape_class = CLASS_NONE;
    out->plan = PLAN_SINGLE;
    struct document d;
    if (!document_parse_object(&d, json, n, f))
        return false;
    struct member_set sets[] = {{own_members, out}, {asked, &out->ask}};
    read_members(&r, d.root, sets, 2, "a question for the next move");
    document_free(&d);
    if (r.fine && !*out->ask.deck)
        reading_wrong(&r, "deck", "required", "say which deck; add the member 'deck'");
    if (r.fine && !*out->ask.stock && out->tape_class == CLASS_NONE)
        reading_wrong(&r, "stock", "required", "say which tape: add the member 'stock', or 'class' for a tape nobody has logged");
    if (r.fine && *out->ask.stock && out->tape_class != CLASS_NONE)
        reading_wrong(&r, "class", "one-of", "give either 'stock' or 'class'");
    return r.fine;
}
