/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Writes an invented club as lines of the exchange format to standard output.
 *
 *   make_club                                            the demo's club
 *   make_club --rows N --decks D --stocks S --seed K     a club of any size, for load and benches
 */
#include "diary.h"
#include "lines.h"

#include <stdlib.h>
#include <string.h>

static void usage(FILE *out)
{
    fputs("usage: make_club [--rows N] [--decks D] [--stocks S] [--members M] [--seed K]\n"
          "Without options it writes the demo's club. Example: make_club --rows 100000 --decks 300 --stocks 900 --seed 5 > large.ndjson\n",
          out);
}

/* Three results that members took back; in the demo only. */
static const char *void_reason(long row)
{
    return row == 181   ? "Wrong tape in the deck: see the next entry."
           : row == 402 ? "Noise reduction was on all along."
           : row == 655 ? "Written twice."
                        : NULL;
}

static void note_case(const struct diary_row *row, bool explain)
{
    static const char *const WHAT[] = {"", "sign", "tenfold", "other deck"};
    char id[UUID_TEXT];
    if (explain && row->fact.misentry != ENTRY_RIGHT)
        fprintf(stderr, "%s\t%s\t%s\t%s\tset %.2f dB\n", uuid_format(&row->calibration.id, id), WHAT[row->fact.misentry],
                row->calibration.deck, row->calibration.stock, row->fact.set_db[BENCH_BIAS]);
}

/* Services and checks stand among the results in order of time. */
static void write_due(struct lines *l, const struct club *c, int64_t until_us, int *service, int *check)
{
    for (;;) {
        int64_t s = *service < c->service_count ? c->services[*service].made_at_us : INT64_MAX;
        int64_t k = *check < c->check_count ? c->checks[*check].made_at_us : INT64_MAX;
        if ((s < k ? s : k) > until_us || (s == INT64_MAX && k == INT64_MAX))
            return;
        if (s <= k)
            lines_service(l, &c->services[(*service)++]);
        else
            lines_check(l, &c->checks[(*check)++]);
    }
}

static bool write_club(struct club *c, long rows, bool demo, bool explain)
{
    struct diary *d = diary_new(c, rows);
    if (!d)
        return false;
    struct lines l;
    struct diary_row row;
    int service = 0, check = 0;
    lines_start(&l, stdout);
    for (int i = 0; i < c->deck_count; i++)
        lines_deck(&l, &c->decks[i].record);
    for (int i = 0; i < c->stock_count; i++)
        lines_stock(&l, &c->stocks[i].record);
    for (long n = 0; diary_next(d, &row); n++) {
        write_due(&l, c, row.calibration.made_at_us, &service, &check);
        lines_calibration(&l, &row.calibration, c->members[row.member].name, demo ? void_reason(n) : NULL);
        note_case(&row, explain);
    }
    write_due(&l, c, INT64_MAX - 1, &service, &check);
    diary_free(d);
    return lines_end(&l);
}

int main(int argc, char **argv)
{
    long rows = 0, decks = 20, stocks = 60, members = 0, seed = 1;
    bool explain = false;
    const struct {
        const char *name;
        long *value;
    } option[] = {{"--rows", &rows}, {"--decks", &decks}, {"--stocks", &stocks}, {"--members", &members}, {"--seed", &seed}};
    for (int i = 1; i < argc; i++) {
        long *value = NULL;
        for (size_t j = 0; j < sizeof option / sizeof *option; j++)
            if (strcmp(argv[i], option[j].name) == 0)
                value = option[j].value;
        if (strcmp(argv[i], "--explain") == 0) { /* misentries to standard error */
            explain = true;
        } else if (strcmp(argv[i], "--help") == 0) {
            usage(stdout);
            return 0;
        } else if (!value || i + 1 >= argc || (*value = strtol(argv[++i], NULL, 10)) < 0) {
            usage(stderr);
            return 2;
        }
    }
    if (decks < 1 || stocks < 1 || decks > LIMIT_DECKS || stocks > LIMIT_STOCKS || members > LIMIT_MEMBERS) {
        usage(stderr);
        return 2;
    }
    struct club_size size = {
        (int)decks,  (int)stocks, (int)(members > 0 ? members : 5 + decks / 2), 1728900000LL * 1000000, 1792800000LL * 1000000,
        rows > 20000};
    struct club *c = secrets_start() ? rows > 0 ? club_random((uint64_t)seed, &size) : club_demo(CLUB_DEMO_SEED) : NULL;
    bool done = c && write_club(c, rows > 0 ? rows : CLUB_DEMO_ROWS, rows == 0, explain);
    if (!done)
        fputs("make_club: could not write the club (memory or output)\n", stderr);
    club_free(c);
    return done ? 0 : 1;
}
