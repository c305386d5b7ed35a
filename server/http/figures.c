/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figures.h"

/* Microseconds; from an answer out of memory to one that waits for a disk. */
static const int64_t bounds_us[FIGURE_BUCKETS] = {50,    100,   250,   500,    1000,   2500,    5000,
                                                  10000, 25000, 50000, 100000, 500000, 1000000, 5000000};

void figures_reply(struct http_figures *f, int status, int64_t us)
{
    int class = status / 100;
    figure_add(&f->replies[class >= 1 && class <= 5 ? class : 5], 1);
    int bucket = 0;
    while (bucket < FIGURE_BUCKETS && us > bounds_us[bucket])
        bucket++;
    figure_add(&f->latency[bucket], 1);
    figure_add(&f->latency_us, us);
}

static long long get(const atomic_llong *figure)
{
    return atomic_load_explicit(figure, memory_order_relaxed);
}

static void head(struct buffer *b, const char *name, const char *type, const char *help)
{
    buffer_format(b, "# HELP biasbook_http_%s %s\n# TYPE biasbook_http_%s %s\n", name, help, name, type);
}

static void single(struct buffer *b, const char *name, const char *type, const char *help, long long value)
{
    head(b, name, type, help);
    buffer_format(b, "biasbook_http_%s %lld\n", name, value);
}

static void histogram(const struct http_figures *f, struct buffer *b)
{
    head(b, "request_seconds", "histogram", "Time from the request line to the reply.");
    long long sum = 0;
    for (int i = 0; i < FIGURE_BUCKETS; i++) {
        sum += get(&f->latency[i]);
        buffer_text(b, "biasbook_http_request_seconds_bucket{le=\"");
        buffer_fixed(b, (double)bounds_us[i] / 1e6, 6);
        buffer_format(b, "\"} %lld\n", sum);
    }
    sum += get(&f->latency[FIGURE_BUCKETS]);
    buffer_format(b, "biasbook_http_request_seconds_bucket{le=\"+Inf\"} %lld\nbiasbook_http_request_seconds_sum ", sum);
    buffer_fixed(b, (double)get(&f->latency_us) / 1e6, 6);
    buffer_format(b, "\nbiasbook_http_request_seconds_count %lld\n", sum);
}

void figures_write(const struct http_figures *f, struct buffer *b)
{
    head(b, "requests_total", "counter", "Requests answered, by class of status.");
    for (int class = 1; class <= 5; class ++)
        buffer_format(b, "biasbook_http_requests_total{status=\"%dxx\"} %lld\n", class, get(&f->replies[class]));
    histogram(f, b);
    single(b, "connections", "gauge", "Connections open now.", get(&f->connections_open));
    single(b, "connections_total", "counter", "Connections taken since start.", get(&f->connections_total));
    single(b, "connections_reaped_total", "counter", "Connections ended because a head, a body or a pause took too long.",
           get(&f->connections_reaped));
    single(b, "wrong_keys_total", "counter", "Requests with a key that is not known.", get(&f->wrong_keys));
    single(b, "worker_refusals_total", "counter", "Questions refused because too many waited.", get(&f->worker_refusals));
}
