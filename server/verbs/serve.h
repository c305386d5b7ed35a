/* SPDX-License-Identifier: GPL-3.0-or-later
 * What serving a club needs to be told. */
#ifndef BIASBOOK_VERBS_SERVE_H
#define BIASBOOK_VERBS_SERVE_H

#include <stdbool.h>

struct serve_options {
    const char *verb; /* for messages */
    const char *db, *listen, *static_dir, *scratch_dir;
    bool open, public_read;
    bool refit_first; /* estimate before the address is printed */
};
int serve_run(const struct serve_options *o); /* until a signal; exit status */

#endif
