/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The command line: one file a verb. Exit status: 0 done, 1 refused or nothing found, 2 wrong usage. Results go to standard output,
 * everything else to standard error.
 */
#ifndef BIASBOOK_VERBS_VERBS_H
#define BIASBOOK_VERBS_VERBS_H

enum { EXIT_DONE = 0, EXIT_REFUSED = 1, EXIT_USAGE = 2 };

int verbs_main(int argc, char **argv);

/* argv[0] is the verb itself. */
int verb_serve(int argc, char **argv);
int verb_demo(int argc, char **argv);
int verb_init(int argc, char **argv);
int verb_suggest(int argc, char **argv);
int verb_import(int argc, char **argv);
int verb_export(int argc, char **argv);
int verb_fit(int argc, char **argv);
int verb_member(int argc, char **argv);
int verb_backup(int argc, char **argv);
int verb_restore(int argc, char **argv);
int verb_check(int argc, char **argv);
int verb_version(int argc, char **argv);

#endif
