/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Durable logging by 1, 8 and 64 clients against one commit a row, and suggestions meanwhile.
 */
#include "bench.h"
#include "load.h"
#include "others.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#define ROUNDS  3
#define ROUND_S 1.5

void add_bench_deck(const struct daemon *d)
{
    struct answer a =
        ask(d, "PUT", "/api/decks/bench",
            "{\"name\":\"Bench\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-5,\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5},"
            "\"level_dial\":{\"low\":-5,\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5}}",
            NULL);
    if (a.status != 201 && a.status != 200)
        fail_msg("the deck was not taken: %ld %s", a.status, a.body);
    answer_free(&a);
}

/* Version 7, as the pages make them (RFC 9562): the time in ms in front, so that rows lie in the index as they come. */
static void time_uuid(char out[37])
{
    static unsigned long count, salt;
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    unsigned long ms = (unsigned long)t.tv_sec * 1000 + (unsigned long)t.tv_nsec / 1000000;
    if (!salt)
        salt = ((unsigned long)getpid() << 16) ^ ms;
    count++;
    snprintf(out, 37, "%08lx-%04lx-7%03lx-8%03lx-%04lx%08lx", (ms >> 16) & 0xffffffff, ms & 0xffff, count >> 32 & 0xfff, salt & 0xfff,
             salt >> 12 & 0xffff, count & 0xffffffff);
}

size_t log_request(void *user, long i, char *out, size_t size)
{
    const struct club *c = user;
    char id[37], body[512];
    time_uuid(id);
    int length = snprintf(body, sizeof body,
                          "{\"deck\":\"bench\",\"stock\":\"%s\",\"made_at\":\"2026-05-0%ldT19:00:00Z\",\"bias\":%ld,\"level\":%ld,\"low_"
                          "db\":0.1,\"high_db\":-0.2,\"tape\":\"T%ld\",\"recordings\":%ld}",
                          c->stock[(unsigned long)i % (unsigned long)c->stocks], 1 + i % 9, i % 5 - 2, i % 3 - 1, i % 97, i % 9);
    return (size_t)snprintf(
        out, size, "PUT /api/calibrations/%s HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
        id, length, body);
}

static void print_histogram(const struct load_result *r)
{
    double low = 0;
    printf("    latency, 64 clients:");
    for (int i = 0; i < LOAD_STEPS; low = load_steps_ms[i++]) {
        double share = 100.0 * (double)r->up_to[i] / (double)r->replies;
        if (i == LOAD_STEPS - 1)
            printf("  above %g ms %.2f %%", low, share);
        else
            printf("  to %g ms %.2f %%", load_steps_ms[i], share);
    }
    printf("\n");
}

static void clients(int count, const struct daemon *d, struct club *c)
{
    double ours[ROUNDS], bare[ROUNDS], p50[ROUNDS], p99[ROUNDS], sync[ROUNDS], processor[ROUNDS];
    struct load_result r = {0};
    long errors = 0;
    for (int k = 0; k < ROUNDS; k++) {
        bare[k] = sqlite_one_commit_a_row(scratch_path("bare.db"), 0.7);
        sync[k] = one_sync_us(scratch_path("sync"));
        struct load l = {.port = port_of(d), .connections = count, .seconds = ROUND_S, .request = log_request, .user = c};
        double before = processor_s(d->pid);
        r = load_run(&l);
        processor[k] = r.replies ? (processor_s(d->pid) - before) * 1e6 / (double)r.replies : 0;
        ours[k] = r.per_second, p50[k] = r.p50_us, p99[k] = r.p99_us;
        errors += r.errors;
    }
    double us = median_of(ours, ROUNDS), them = median_of(bare, ROUNDS), one = median_of(sync, ROUNDS), middle = median_of(p50, ROUNDS),
           late = median_of(p99, ROUNDS);
    char what[40], bar[120] = "";
    bool reached = true;
    snprintf(what, sizeof what, "durable logging, %d client%s", count, count > 1 ? "s" : "");
    if (count == 1) {
        snprintf(bar, sizeof bar, "p50 one sync + 1 ms");
        reached = middle <= one + 1000;
    } else if (count == 64) {
        snprintf(bar, sizeof bar, "10 x %s; p99 5 ms + sync %s; 25000/s", verdict(us >= 10 * them), verdict(late <= 5000 + one));
        reached = us >= 25000;
    }
    line(what, c->what, bar, reached && !errors,
         "%.0f/s = %.1f x one commit a row (%.0f/s); p50 %.2f ms, p99 %.2f ms; one sync %.2f ms; processor %.0f us a row, client %.0f%s",
         us, us / them, them, middle / 1e3, late / 1e3, one / 1e3, median_of(processor, ROUNDS), r.client_us, errors ? " ERRORS" : "");
    if (count == 64)
        print_histogram(&r);
}

void measure_logging(const struct daemon *d, struct club *c)
{
    add_bench_deck(d);
    clients(1, d, c);
    clients(8, d, c);
    clients(64, d, c);
}

/* Sixty-four clients log from a process of their own while suggestions are asked for from this one. */
void measure_mixed(const struct daemon *d, struct club *c)
{
    add_bench_deck(d);
    struct load ask_ = {.port = port_of(d), .connections = 32, .seconds = 3, .request = suggestion_request, .user = c};
    struct load_result alone = load_run(&ask_);
    pid_t pid = fork();
    if (!pid) {
        struct load l = {.port = port_of(d), .connections = 64, .seconds = 4, .request = log_request, .user = c};
        struct load_result r = load_run(&l);
        printf("    meanwhile %.0f/s were logged, p99 %.2f ms%s\n", r.per_second, r.p99_us / 1e3, r.errors ? ", ERRORS" : "");
        fflush(stdout);
        _exit(0);
    }
    usleep(500000);
    struct load_result r = load_run(&ask_);
    waitpid(pid, NULL, 0);
    line("suggestions while 64 clients log", c->what, "", true, "%.0f/s of %.0f/s alone, p50 %.2f ms, p99 %.2f ms (alone %.2f)%s",
         r.per_second, alone.per_second, r.p50_us / 1e3, r.p99_us / 1e3, alone.p99_us / 1e3, r.errors ? " ERRORS" : "");
}
