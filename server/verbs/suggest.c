/* SPDX-License-Identifier: GPL-3.0-or-later
 * `suggest`: where to start, on the command line, without a server. */
#include "../actions/suggest.h"
#include "club.h"
#include "options.h"
#include "verbs.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool say_setting(const char *what, const struct setting *s, bool is_bias)
{
    struct buffer b;
    buffer_init(&b, 4096);
    buffer_format(&b, "%-13s ", what);
    setting_words(&b, s, is_bias);
    if (s->dial->present) {
        buffer_text(&b, "\n              nine times in ten between ");
        dial_place_words(&b, s->dial, s->low90_reading);
        buffer_text(&b, " and ");
        dial_place_words(&b, s->dial, s->high90_reading);
        if (s->beyond)
            buffer_text(&b, "; the dial ends before what is wanted");
    }
    buffer_format(&b, "\n              %.2f dB %s, standard error %.2f dB\n", fabs(s->db),
                  is_bias ? (s->db < 0 ? "less bias" : "more bias") : (s->db < 0 ? "less record gain" : "more record gain"), s->se_db);
    bool whole = !b.failed;
    fputs(whole ? b.data : "", stdout);
    buffer_free(&b);
    return whole;
}

static bool say(const struct suggestion *s)
{
    const struct model_answer *a = &s->answer;
    printf("%s with %s\n", s->question.deck->name, s->question.stock ? s->question.stock->name : "a tape nobody has logged");
    if (!say_setting("bias", &s->bias, true) || !say_setting("record trim", &s->level, false))
        return false;
    printf("rests on      %s: %ld of this pair, %ld on this deck, %ld of this stock, %ld in the club\n", basis_kind_text(a->basis), a->pair,
           a->on_deck, a->of_stock, a->club);
    for (int i = 0; i < s->caution_count; i++)
        printf("%s %s\n", i ? "             " : "mind         ", s->cautions[i].text);
    return true;
}

static bool add(struct request *q, const char *name, const char *value)
{
    if (value)
        q->parameters[q->parameter_count++] = (struct parameter){name, value};
    return true;
}

int verb_suggest(int argc, char **argv)
{
    static const struct verb_help help = {"suggest", "suggest --db FILE --deck ID (--stock ID | --class ID) [options]",
                                          "Tells where to start for this deck and this tape.\n\n"
                                          "  --db FILE          the club's file\n"
                                          "  --deck ID          the deck\n"
                                          "  --stock ID         the tape's stock, or\n"
                                          "  --class ID         its class, for a tape nobody has logged\n"
                                          "  --setup ID         speed or direction (main)\n"
                                          "  --channel CHANNEL  both, left or right\n"
                                          "  --batch TEXT       production batch\n"
                                          "  --tape TEXT        the label on this one cassette or reel\n"
                                          "  --recordings N     times recorded over before\n"
                                          "  --position-s S     seconds from the start of the side\n"
                                          "  --treble-db DB     lift wanted at the high tone (0)\n"
                                          "  --at TIME          the time asked about (now)\n"
                                          "  --json             the answer as the API gives it\n",
                                          "biasbook suggest --db club.db --deck hall-deck --stock amber-one"};
    const char *db = NULL, *deck = NULL, *stock = NULL, *class_id = NULL, *setup = NULL, *channel = NULL, *batch = NULL, *tape = NULL,
               *recordings = NULL, *position = NULL, *treble = NULL, *at = NULL;
    bool json = false;
    const struct option_spec specs[] = {{"db", &db, NULL},
                                        {"deck", &deck, NULL},
                                        {"stock", &stock, NULL},
                                        {"class", &class_id, NULL},
                                        {"setup", &setup, NULL},
                                        {"channel", &channel, NULL},
                                        {"batch", &batch, NULL},
                                        {"tape", &tape, NULL},
                                        {"recordings", &recordings, NULL},
                                        {"position-s", &position, NULL},
                                        {"treble-db", &treble, NULL},
                                        {"at", &at, NULL},
                                        {"json", NULL, &json},
                                        {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!deck)
        return wrong_usage(&help, "--deck is needed");
    if (!stock && !class_id)
        return wrong_usage(&help, "--stock or --class is needed");
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    struct request q = {.now_us = clock_now_us(), .body_fd = -1};
    add(&q, "deck", deck), add(&q, "stock", stock), add(&q, "class", class_id), add(&q, "setup", setup), add(&q, "channel", channel),
        add(&q, "batch", batch), add(&q, "tape", tape), add(&q, "recordings", recordings), add(&q, "position_s", position),
        add(&q, "treble_db", treble), add(&q, "at", at);
    struct fault f = {0};
    struct club c;
    if (!club_open(&c, db, CLUB_READ, true, &f))
        return refused("suggest", &f);
    static struct suggestion s; /* large; one a process */
    struct view *v = live_take(c.house.live);
    bool ok = question_read(v, &q, &s, &f);
    if (ok) {
        suggestion_make(v, &s);
        struct buffer b;
        buffer_init(&b, LIMIT_LINE);
        if (json)
            suggestion_write(&b, &s);
        ok = json ? !b.failed && fputs(b.data, stdout) >= 0 : say(&s);
        if (!ok)
            fault_add(&f, FAULT_MEMORY, "", "memory", "out of memory, or the answer could not be written");
        buffer_free(&b);
    }
    view_give(v);
    club_close(&c);
    return ok ? EXIT_DONE : refused("suggest", &f);
}
