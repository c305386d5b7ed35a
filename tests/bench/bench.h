/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the parts of the bench share: a club's names, a line of the table, costs kept for the exponents.
 */
#ifndef BIASBOOK_TESTS_BENCH_H
#define BIASBOOK_TESTS_BENCH_H

#include "../server/daemon.h"

#include <sys/types.h>

struct club {
    char what[40]; /* "100000 calibrations" */
    long rows;
    char *file;
    int decks, stocks;
    char deck[64][65], stock[128][65];
};

int port_of(const struct daemon *d);
void read_names(const struct daemon *d, struct club *c); /* its cassette decks and tapes */
void serve(struct daemon *d, const char *file);          /* open, on a port of its own */
void wait_ready(const struct daemon *d);

/* One line: what, of which club, the measurement in words; then the bar and whether it is reached (bar "" = none). */
void line(const char *what, const char *club, const char *bar, bool reached, const char *format, ...) __attribute__((format(printf, 5, 6)));
const char *verdict(bool reached); /* where one line has several bars */
/* Cost in whatever unit at so many rows; `exponents` prints its growth between the sizes. */
void cost(const char *what, const char *unit, long rows, double value);
void exponents(void);
double median_of(double *values, int n); /* sorts them */

/* ---- replies.c ---- */
void measure_suggestions(const struct daemon *d, struct club *c);
void measure_seen(const struct daemon *d, struct club *c);
size_t suggestion_request(void *club, long i, char *out, size_t size);

/* ---- logging.c ---- */
void add_bench_deck(const struct daemon *d);
size_t log_request(void *club, long i, char *out, size_t size);
void measure_logging(const struct daemon *d, struct club *c);
void measure_mixed(const struct daemon *d, struct club *c);

/* ---- files.c ---- */
void make_club(const char *maker, struct club *c); /* simulated, imported; measures the import on the way */
void measure_files(struct club *c);                /* export, raw insertion, start, memory */
void measure_idle(void);
void measure_slow_connections(void);

#endif
