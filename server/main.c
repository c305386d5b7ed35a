/* SPDX-License-Identifier: GPL-3.0-or-later
 * Picks the verb, nothing else. */
#include "verbs/verbs.h"

int main(int argc, char **argv)
{
    return verbs_main(argc, argv);
}
