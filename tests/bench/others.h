/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the daemon is measured against, and what a process has used.
 */
#ifndef BIASBOOK_TESTS_OTHERS_H
#define BIASBOOK_TESTS_OTHERS_H

#include <stddef.h>
#include <sys/types.h>

double now_s(void);

struct other {
    pid_t pid; /* 0 = not here */
    int port;
};
/* A libmicrohttpd server, epoll pool of two, that sends one constant keep-alive reply of so many bytes, head aside. */
struct other bare_start(size_t body);
/* nginx with `return 200` of so many bytes, one process a core, keep-alive without end, no log. pid 0 when nginx is not installed. */
struct other nginx_start(size_t body);
void other_stop(struct other *o);

double sqlite_one_commit_a_row(const char *path, double seconds); /* rows per second: WAL, synchronous=FULL */
double one_sync_us(const char *path);                             /* median of writing 16 kB and fdatasync */
/* The calibrations, moves and proof readings of a club's file read and inserted into a new file with the same tables and indices, 10,000 rows a transaction, WAL and
 * synchronous=FULL: rows per second. */
double sqlite_raw_insertion(const char *club, const char *path, long *rows);

double processor_s(pid_t pid);       /* user and system time so far */
double memory_mb(pid_t pid);         /* resident now */
double highest_memory_mb(pid_t pid); /* resident at most; of a child that has ended: children_memory_mb */

#endif
