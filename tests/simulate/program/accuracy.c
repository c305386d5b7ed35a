/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Prints how good the estimator is on clubs it has never seen, beside plain means, with the bars it has to reach.
 *
 *   accuracy [CLUBS]     so many clubs of each size (default 4)
 */
#include "../judge_sizes.h"

#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
    int clubs = argc > 1 ? atoi(argv[1]) : 4;
    if (clubs < 1 || clubs > 100) {
        fputs("usage: accuracy [CLUBS]\n", stderr);
        return 2;
    }
    bool reached = true;
    printf("Root mean square error of the suggested bias against the truth, dB, all decks with all tapes (%d clubs a size)\n\n", clubs);
    printf("%6s %6s %6s %6s %6s %6s %7s %6s %6s %6s %6s %6s %6s %7s\n", "rows", "class", "stock", "median", "two-way", "model", "ratio",
           "bar", "level", "worst", "next", "later", "clean", "s/club");
    for (int i = 0; i < JUDGE_SIZES; i++) {
        struct judge_total t;
        if (!judge_size(&JUDGE_SIZE[i], 9000 + 100 * (uint64_t)i, clubs, &t)) {
            fputs("accuracy: a club could not be judged\n", stderr);
            return 1;
        }
        printf("%6ld %6.3f %6.3f %6.3f %7.3f %6.3f %6.3f %6.2f %6.3f %6.2f %5.1f%% %5.1f%% %5.1f%% %7.3f%s\n", JUDGE_SIZE[i].rows,
               t.rmse[PLAIN_CLASS], t.rmse[PLAIN_STOCK], t.rmse[PLAIN_MEDIAN], t.rmse[PLAIN_TWO_WAY], t.rmse[PLAIN_COUNT], t.ratio,
               JUDGE_SIZE[i].bar, t.level_rmse, t.worst, 100 * t.next, 100 * t.later, 100 * t.clean, t.seconds,
               t.ratio <= JUDGE_SIZE[i].bar ? "" : "   bar missed");
        reached = reached && t.ratio <= JUDGE_SIZE[i].bar;
    }
    puts("\nratio: model / mean of the stock's results. next: results up to one block ahead inside the range of nine in ten; later: all "
         "results of the time after,\n"
         "asked at once; clean: those without the misentries. The range's bar is 88 to 93 % of later results.");
    return reached ? 0 : 1;
}
