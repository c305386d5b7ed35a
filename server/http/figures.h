/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the listener counts about itself. Atomics, relaxed: each is right by itself, not all at one instant.
 */
#ifndef BIASBOOK_HTTP_FIGURES_H
#define BIASBOOK_HTTP_FIGURES_H

#include "../ground/buffer.h"

#include <stdatomic.h>
#include <stdint.h>

#define FIGURE_BUCKETS 14 /* upper bounds in figures.c, then everything slower */

struct http_figures {
    atomic_llong replies[6];                  /* by status class; [0] unused */
    atomic_llong latency[FIGURE_BUCKETS + 1]; /* from the request line to the reply being handed over */
    atomic_llong latency_us;                  /* sum */
    atomic_llong connections_open, connections_total, connections_reaped, connections_refused;
    atomic_llong wrong_keys, worker_refusals;
};

static inline void figure_add(atomic_llong *figure, long long n)
{
    atomic_fetch_add_explicit(figure, n, memory_order_relaxed);
}

void figures_reply(struct http_figures *f, int status, int64_t us);
/* Prometheus text format 0.0.4. */
void figures_write(const struct http_figures *f, struct buffer *b);

#endif
