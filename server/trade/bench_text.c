/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The bench's reasons in words of the trade. What to check first is common practice, no source.
 */
#include "bench_parts.h"

#include <stdio.h>
#include <string.h>

/* One decimal without a bare "-0.0". */
static double tenth(double db)
{
    double t = round(db * 10.0) / 10.0;
    return t == 0.0 ? 0.0 : t;
}

static const char *side_of(const struct bench *b, const struct next_move *out, const struct bench_point *last)
{
    double off = last->high - last->low - b->treble;
    if (fabs(off) < 0.5 * out->tolerance[1]) {
        return "The two tones agree";
    }
    return off > 0 ? "The high tone is too bright" : "The high tone is too dull";
}

static void say_move(const struct bench *b, struct next_move *out)
{
    const struct bench_point *last = b->count ? &b->point[b->count - 1] : NULL;
    if (!last) {
        snprintf(out->text, sizeof out->text, "Not read yet: take a reading of both tones at each setting.");
        return;
    }
    double bias = out->set.db[0] - last->x[0], level = out->set.db[1] - last->x[1];
    const char *turn = !b->has[0] || fabs(bias) < 1e-9 ? NULL : bias > 0 ? "more bias" : "less bias";
    const char *trim = !b->has[1] || fabs(level) < 1e-9 ? NULL : level > 0 ? "more record level" : "less record level";
    snprintf(out->text, sizeof out->text, "%s by %.1f dB: %s%s%s. Expect %+.1f dB at the low tone and %+.1f dB at the high tone.",
             side_of(b, out, last), fabs(tenth(last->high - last->low - b->treble)),
             turn   ? turn
             : trim ? trim
                    : "leave it",
             turn && trim ? ", " : "", turn && trim ? trim : "", tenth(out->set.low_db), tenth(out->set.high_db));
}

static const char check_playback[] = "Before you follow this, check what bias must not cure: clean the heads, line up azimuth for this "
                                     "shell, look at equalisation and tape-type "
                                     "selector, noise reduction and MPX filter off. Then read again.";

static void say_reason(const struct bench *b, struct next_move *out)
{
    char *t = out->text;
    size_t n = sizeof out->text;
    switch (out->reason) {
    case MOVE_START: snprintf(t, n, "Start here: what the club knows of this deck and this tape. Read both tones."); break;
    case MOVE_FOLLOW: say_move(b, out); break;
    case MOVE_SETTLED:
        snprintf(t, n, "It sits: within %.1f dB at the low tone and %.1f dB at the high tone, as sure as %.0f in 100. Log it.",
                 out->tolerance[0], out->tolerance[1], floor(100.0 * out->chance_right));
        break;
    case MOVE_AS_NEAR:
        snprintf(t, n, "No setting of the dials comes nearer than this one: %+.1f dB at the low tone, %+.1f dB at the high tone are left.",
                 tenth(out->set.low_db), tenth(out->set.high_db - b->treble));
        break;
    case MOVE_BELOW_PEAK:
        snprintf(t, n, "Below the peak: the treble rises with bias. Come up, past the peak, and start again from there.");
        break;
    case MOVE_SURPRISE: snprintf(t, n, "Surprise: the last reading is not what this move should have done. %s", check_playback); break;
    case MOVE_UNLIKE_LABEL:
        snprintf(t, n,
                 "This tape reads unlike others of its label. %s If all is well, the tape may be another formulation than its label says.",
                 check_playback);
        break;
    case MOVE_WANDER:
        snprintf(t, n,
                 "The readings contradict each other by more than the move between them. Wait for the tone to steady, wind on past the "
                 "first half minute, clean heads and "
                 "pinch roller, then read again.");
        break;
    case MOVE_RUNS_OUT:
        snprintf(t, n,
                 "The %s dial ends here, before it lines up. Usual causes: tape-type selector or equalisation, a tape of another "
                 "formulation, dirt or a worn head, the preset "
                 "inside the deck.",
                 out->beyond[1] && !out->beyond[0] ? "record level" : "bias");
        break;
    case MOVE_NO_BIAS_DIAL:
        snprintf(t, n, "The low tone sits. This deck has no bias dial: the high tone stays at %+.1f dB.", tenth(out->set.high_db));
        break;
    case MOVE_NO_DIAL:
        snprintf(t, n, "This deck has no dial to turn: the low tone reads about %+.1f dB and the high tone %+.1f dB with this tape.",
                 tenth(out->set.low_db), tenth(out->set.high_db));
        break;
    case MOVE_UP_TO_PEAK: snprintf(t, n, "Come up in bias until the high tone has peaked and falls again."); break;
    case MOVE_PAST_PEAK:
        snprintf(t, n, "Past the peak: go on until the high tone has dropped %.1f dB below it, then trim the record level at the low tone.",
                 b->q->drop_db);
        break;
    case MOVE_REASONS: break;
    }
}

void bench_words(const struct bench *b, struct next_move *out)
{
    say_reason(b, out);
    if (!b->has[1]) {
        double left = tenth(out->set.low_db);
        snprintf(out->note, sizeof out->note, "%s The level is then about %+.1f dB off%s",
                 b->has[0] ? "No record level dial: only the two tones can be made alike." : "No record level dial.", left,
                 fabs(left) < 0.5 ? "." : ", and noise reduction mistracks by that, by up to twice that where it works hardest.");
    }
}
