/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the daemon is made of, as the actions see it. verbs/ builds it, http/ only carries the pointer.
 */
#ifndef BIASBOOK_ACTIONS_HOUSE_H
#define BIASBOOK_ACTIONS_HOUSE_H

#include "../live/live.h"
#include "../store/store.h"
#include "exchange.h"

struct house {
    struct store *store;
    struct live *live;
    const char *scratch_dir; /* where large replies are spooled */
    const char *contact;     /* whom to tell of a weakness, a URI; NULL = not said */
    bool open;               /* no key needed: everyone is a steward */
    bool public_read;
    int64_t started_us;
    /* Figures of the listener for /metrics, as Prometheus text; NULL in tests, and until the listener, which answers from its start, is known here. */
    void (*_Atomic listener_figures)(void *listener, struct buffer *b); /* set after `listener` */
    void *_Atomic listener;
};

/* For http/: who a presented key belongs to. */
bool house_find_key(struct house *house, const char *key, struct identity *out);

#endif
