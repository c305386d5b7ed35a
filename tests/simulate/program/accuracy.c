/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Prints how good the estimator is on clubs it has never seen, beside plain means, with the bars it has to reach.
 *
 *   accuracy [CLUBS]     so many clubs of the largest size, two and eight times as many of the smaller ones (default 3)
 */
#include "../judge_sizes.h"

#include <stdio.h>
#include <stdlib.h>

static const int TIMES[JUDGE_SIZES] = {8, 2, 1};

static bool print_size(int i, int clubs)
{
    const struct judge_size *z = &JUDGE_SIZE[i];
    struct judge_total t;
    if (!judge_size(z, 9000 + 1000 * (uint64_t)i, clubs, &t)) {
        fputs("accuracy: a club could not be judged\n", stderr);
        exit(1);
    }
    bool range = t.later >= 0.88 && t.later <= 0.93;
    printf("%6ld %6d %6.3f %6.3f %6.3f %7.3f %6.3f %6.3f %6.2f %6.3f %6.2f %5.1f%% %5.1f%% %5.1f%% %7.3f%s%s\n", z->rows, clubs,
           t.rmse[PLAIN_CLASS], t.rmse[PLAIN_STOCK], t.rmse[PLAIN_MEDIAN], t.rmse[PLAIN_TWO_WAY], t.rmse[PLAIN_COUNT], t.ratio, z->bar,
           t.level_rmse, t.worst, 100 * t.next, 100 * t.later, 100 * t.clean, t.seconds, t.ratio <= z->bar ? "" : "  ratio misses its bar",
           range ? "" : "  range misses its bar");
    fflush(stdout);
    return t.ratio <= z->bar && range;
}

int main(int argc, char **argv)
{
    int clubs = argc > 1 ? atoi(argv[1]) : 3;
    if (clubs < 1 || clubs > 100) {
        fputs("usage: accuracy [CLUBS]\n", stderr);
        return 2;
    }
    bool reached = true;
    puts("Root mean square error of the suggested bias against the truth, dB, all known decks with all known tapes of unseen clubs\n");
    printf("%6s %6s %6s %6s %6s %7s %6s %6s %6s %6s %6s %6s %6s %6s %7s\n", "rows", "clubs", "class", "stock", "median", "two-way", "model",
           "ratio", "bar", "level", "worst", "next", "later", "clean", "s/club");
    for (int i = 0; i < JUDGE_SIZES; i++)
        reached = print_size(i, clubs * TIMES[i]) && reached;
    puts("\nclass, stock, median, two-way: plain means of the settings as written. ratio: model / mean of the stock's results. level: "
         "error of the\n"
         "record trim. worst: largest error of bias. Range of nine in ten, share inside: next = results up to one block ahead, later = all "
         "of the\n"
         "time after, asked at once (bar 88 to 93 %), clean = those without the misentries.");
    return reached ? 0 : 1;
}
