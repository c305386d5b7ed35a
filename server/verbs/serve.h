/* SPDX-License-Identifier: GPL-3.0-or-later
 * What serving a club needs to be told. */
#ifndef BIASBOOK_VERBS_SERVE_H
#define BIASBOOK_VERBS_SERVE_H

#include <stdbool.h>

struct serve_options {
    const char *verb; /* for messages */
    const char *db, *listen, *static_dir, *scratch_dir;
    const char *tls_cert, *tls_key, *trusted_proxies, *contact; /* NULL = not given */
    bool behind_proxy;
    int listen_fd; /* handed over, instead of `listen`; 0 = none */
    bool open, public_read;
    bool refit_first; /* estimate before the address is printed */
};
#define SERVE_DEFAULT "127.0.0.1:8460"
#define SERVE_LISTEN_TEXT                                                                                                                  \
    "  --listen ADDR:PORT  where to listen (" SERVE_DEFAULT "); port 0 = any free one; or unix:PATH\n"                                     \
    "  --static DIR        serve the pages from this folder, while designing\n"

/* Loopback by address, or a Unix socket: the only places where `--open` is safe. */
bool serve_is_local(const char *listen);
int serve_run(const struct serve_options *o); /* until a signal; exit status */

#endif
