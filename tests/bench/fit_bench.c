/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How long a cold fit takes: invented clubs of the sizes asked for, fed to the estimator's door, variances from their prior scales, all effects, both
 * responses, the ranges' replay and the tables included.
 *
 *   fit_bench MAKE_CLUB [ROWS…]      MAKE_CLUB is the program that writes invented clubs
 */
#include "ground/memory.h"
#include "model/club.h"
#include "wire/wire.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static double cpu_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static bool put(struct model *m, const struct line *l, int64_t seq)
{
    struct stamp stamp = {.seq = seq, .revision = 1, .is_void = l->is_void};
    snprintf(stamp.member, sizeof stamp.member, "%s", l->member);
    switch (l->kind) {
    case LINE_DECK: return model_put_deck(m, &l->as.deck);
    case LINE_STOCK: return model_put_stock(m, &l->as.stock);
    case LINE_SERVICE: return model_put_service(m, &l->as.service, &stamp);
    case LINE_CALIBRATION: return model_put_calibration(m, &l->as.calibration, &stamp);
    default: return true;
    }
}

static struct model *read_club(FILE *in)
{
    struct model *m = model_new();
    struct line *l = malloc(sizeof *l);
    char *text = NULL;
    size_t room = 0;
    ssize_t n;
    int64_t seq = 0;
    bool ok = m && l;
    while (ok && (n = getline(&text, &room, in)) > 0) {
        struct arena *a = arena_new(1 << 20);
        struct fault f = {0};
        ok = a && wire_read_line(text, (size_t)n, a, l, &f) && put(m, l, ++seq);
        if (!ok)
            fprintf(stderr, "line %lld of the club was not taken\n", (long long)seq);
        arena_free(a);
    }
    free(text);
    free(l);
    if (ok)
        model_reached(m, seq);
    return ok ? m : NULL;
}

static bool bench(const char *make_club, long rows)
{
    char command[400];
    int decks = rows >= 50000 ? 300 : 40, stocks = rows >= 50000 ? 900 : 120;
    snprintf(command, sizeof command, "'%s' --rows %ld --decks %d --stocks %d --seed 5", make_club, rows, decks, stocks);
    FILE *in = popen(command, "r");
    struct model *m = in ? read_club(in) : NULL;
    if (in)
        pclose(in);
    if (!m) {
        fprintf(stderr, "fit_bench: no club of %ld rows could be read from %s\n", rows, make_club);
        return false;
    }
    struct fault f = {0};
    double begun = now_s(), begun_cpu = cpu_s();
    bool ok = model_refit(m, &f);
    double took = now_s() - begun, took_cpu = cpu_s() - begun_cpu, bar = rows >= 50000 ? 15 : 1;
    struct model_view *v = ok ? model_publish(m, &f) : NULL;
    if (v) {
        struct model_figures g;
        model_view_figures(v, &g);
        printf("cold fit    %7ld rows (%ld in the fit), %3ld decks, %3ld stocks  %7.2f s (%.2f s of processor)  bar %4.0f s  %s  bias %s "
               "in %ld, level %s in %ld\n",
               g.rows, g.rows_used, g.decks, g.stocks, took, took_cpu, bar, took <= bar ? "reached" : "MISSED", g.response[BIAS].reason,
               g.response[BIAS].evaluations, g.response[LEVEL].reason, g.response[LEVEL].evaluations);
        fflush(stdout);
    }
    char text[300];
    if (!v)
        fprintf(stderr, "fit_bench: %s\n", fault_text(&f, text, sizeof text));
    model_view_free(v);
    model_free(m);
    return v != NULL;
}

int main(int argc, char **argv)
{
    static const long usual[] = {4000, 100000};
    if (argc < 2) {
        fprintf(stderr, "usage: fit_bench MAKE_CLUB [ROWS…]\n");
        return 2;
    }
    bool ok = true;
    for (int i = 0; ok && i < (argc > 2 ? argc - 2 : 2); i++)
        ok = bench(argv[1], argc > 2 ? atol(argv[i + 2]) : usual[i]);
    return ok ? 0 : 1;
}
