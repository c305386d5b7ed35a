/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A club opened for a verb: store, and live when the verb asks the model.
 */
#ifndef BIASBOOK_VERBS_CLUB_H
#define BIASBOOK_VERBS_CLUB_H

#include "../actions/house.h"

struct club {
    struct house house;
};
enum club_way { CLUB_WRITE, CLUB_READ };
bool club_open(struct club *c, const char *path, enum club_way way, bool with_model, struct fault *f);
void club_close(struct club *c);
/* Makes a new member's key and prints it alone on the last line. */
bool club_add_member(struct store *s, const char *name, enum role role, struct fault *f);

#endif
