/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Speed, as ratios within one run against something named: one line a measurement, with its bar where there is one. docs/performance.md tells what limits each.
 *
 *   bench MAKE_CLUB ROWS…      MAKE_CLUB is the program that writes invented clubs; ROWS are the sizes of clubs
 *   BENCH_ONLY="logging seen"  in the environment: only these of memory, suggestions, logging, mixed, seen, files (import aside, which makes the clubs)
 */
#include "bench.h"
#include "load.h"
#include "others.h"

#include <math.h>
#include <microhttpd.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int port_of(const struct daemon *d)
{
    const char *colon = strrchr(d->address, ':');
    return colon ? atoi(colon + 1) : 0;
}

void read_names(const struct daemon *d, struct club *c)
{
    struct answer a = ask(d, "GET", "/api/decks?limit=64", NULL, NULL);
    json_t *j = answer_json_of(&a), *e;
    size_t i;
    c->decks = c->stocks = 0;
    json_array_foreach(json_object_get(j, "decks"), i, e) if (!strcmp(json_string_value(json_object_get(e, "medium")), "cassette"))
        snprintf(c->deck[c->decks++], 65, "%s", json_string_value(json_object_get(e, "id")));
    json_decref(j);
    answer_free(&a);
    a = ask(d, "GET", "/api/stocks?limit=128", NULL, NULL);
    j = answer_json_of(&a);
    json_array_foreach(json_object_get(j, "stocks"), i, e) if (!strncmp(json_string_value(json_object_get(e, "class")), "type", 4))
        snprintf(c->stock[c->stocks++], 65, "%s", json_string_value(json_object_get(e, "id")));
    json_decref(j);
    answer_free(&a);
}

void serve(struct daemon *d, const char *file)
{
    daemon_start(d, (const char *[]){"serve", "--db", file, "--open", "--listen", "127.0.0.1:0", NULL});
}

void wait_ready(const struct daemon *d)
{
    for (int k = 0; k < 180000; k++) { /* half an hour */
        struct answer a = ask(d, "GET", "/readyz", NULL, NULL);
        bool ready = a.status == 200;
        answer_free(&a);
        if (ready)
            return;
        usleep(10000);
    }
    printf("the daemon was not ready after half an hour\n");
    exit(1);
}

/* Until nothing is worked out any more: a quarter of a second at a twentieth of a core. */
static void wait_calm(const struct daemon *d)
{
    wait_ready(d);
    sleep(1);
    for (int k = 0, calm = 0; k < 480 && calm < 3; k++) { /* two minutes at most */
        double before = processor_s(d->pid);
        usleep(250000);
        calm = processor_s(d->pid) - before < 0.02 ? calm + 1 : 0;
    }
}

const char *verdict(bool reached)
{
    return reached ? "reached" : "MISSED";
}

void line(const char *what, const char *club, const char *bar, bool reached, const char *format, ...)
{
    va_list ap;
    va_start(ap, format);
    printf("%-32s %-22s ", what, club);
    vprintf(format, ap);
    va_end(ap);
    if (*bar)
        printf("  [%s: %s]", bar, verdict(reached));
    printf("\n");
}

double median_of(double *values, int n)
{
    for (int i = 1; i < n; i++)
        for (int k = i; k > 0 && values[k] < values[k - 1]; k--) {
            double other = values[k];
            values[k] = values[k - 1];
            values[k - 1] = other;
        }
    return values[n / 2];
}

/* ---- growth ---- */

static struct {
    const char *what, *unit;
    long rows;
    double value;
} costs[200];
static int cost_count;

void cost(const char *what, const char *unit, long rows, double value)
{
    if (cost_count < 200) {
        costs[cost_count].what = what;
        costs[cost_count].unit = unit;
        costs[cost_count].rows = rows;
        costs[cost_count++].value = value;
    }
}

/* Between the smallest and the largest club: value ~ rows to the power of the exponent. 0 is flat, 1 grows as the rows do. */
void exponents(void)
{
    for (int i = 0; i < cost_count; i++) {
        int first = i, last = i;
        bool before = false;
        for (int k = 0; k < cost_count; k++)
            if (!strcmp(costs[k].what, costs[i].what)) {
                before = before || k < i;
                first = costs[k].rows < costs[first].rows ? k : first;
                last = costs[k].rows > costs[last].rows ? k : last;
            }
        if (before || costs[first].rows == costs[last].rows || costs[first].value <= 0)
            continue;
        double exponent = log(costs[last].value / costs[first].value) / log((double)costs[last].rows / (double)costs[first].rows);
        line("growth", costs[i].what, "", true, "%.2f %s at %ld, %.2f %s at %ld rows: exponent %.2f", costs[first].value, costs[i].unit,
             costs[first].rows, costs[last].value, costs[i].unit, costs[last].rows, exponent);
    }
}

/* ---- all of it ---- */

static void print_machine(void)
{
    char name[200] = "unknown processor", text[256];
    FILE *f = fopen("/proc/cpuinfo", "r");
    while (f && fgets(text, sizeof text, f))
        if (!strncmp(text, "model name", 10) && strchr(text, ':')) {
            snprintf(name, sizeof name, "%.*s", (int)strcspn(strchr(text, ':') + 2, "\n"), strchr(text, ':') + 2);
            break;
        }
    if (f)
        fclose(f);
    double load[3] = {0};
    if (getloadavg(load, 3) < 0)
        load[0] = 0;
    printf("biasbook %s, libmicrohttpd %s, SQLite %s; %s, %ld cores, %.1f programs wanted them when this began\n"
           "The client of each measurement shares the cores with the server.\n",
           BIASBOOK_VERSION, MHD_get_version(), sqlite3_libversion(), name, sysconf(_SC_NPROCESSORS_ONLN), load[0]);
}

static bool wanted(const char *part)
{
    const char *only = getenv("BENCH_ONLY");
    return !only || !*only || strstr(only, part);
}

static void demo_club(void)
{
    static struct club c = {.what = "demo club", .rows = 900};
    struct daemon d;
    daemon_start(&d, (const char *[]){"demo", "--listen", "127.0.0.1:0", NULL});
    wait_calm(&d);
    read_names(&d, &c);
    if (wanted("suggestions"))
        measure_suggestions(&d, &c);
    if (wanted("logging"))
        measure_logging(&d, &c);
    if (wanted("mixed"))
        measure_mixed(&d, &c);
    daemon_stop(&d);
}

static void club_of(const char *maker, long rows)
{
    static struct club c;
    struct daemon d;
    memset(&c, 0, sizeof c);
    c.rows = rows;
    make_club(maker, &c);
    serve(&d, c.file);
    wait_calm(&d);
    read_names(&d, &c);
    if (wanted("suggestions"))
        measure_suggestions(&d, &c);
    if (wanted("seen"))
        measure_seen(&d, &c);
    if (rows >= 100000 && wanted("logging"))
        measure_logging(&d, &c);
    daemon_stop(&d);
    if (wanted("files"))
        measure_files(&c);
    unlink(c.file);
    free(c.file);
}

int main(int argc, char **argv)
{
    setvbuf(stdout, NULL, _IOLBF, 0);
    if (argc < 2) {
        fprintf(stderr, "usage: bench MAKE_CLUB [ROWS...]\n");
        return 2;
    }
    if (!freopen("/dev/null", "w", stderr)) /* the daemons' logs */
        return 1;
    print_machine();
    if (wanted("memory")) {
        measure_idle();
        measure_slow_connections();
    }
    if (wanted("suggestions") || wanted("logging") || wanted("mixed"))
        demo_club();
    for (int i = 2; i < argc; i++)
        club_of(argv[1], atol(argv[i]));
    exponents();
    return 0;
}
