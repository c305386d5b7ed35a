/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The file: import and export against raw insertion of the same rows, how long a start takes, how much memory what needs.
 */
#include "bench.h"
#include "load.h"
#include "others.h"

#include "verbs/verbs.h"

#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

struct used {
    double seconds, processor, memory_mb;
};

/* A verb in a child of its own, its output into a file; what it used. */
static struct used run_into(const char *path, const char *const *args)
{
    struct rusage u;
    int status;
    double start = now_s();
    fflush(NULL);
    pid_t pid = fork();
    if (!pid) {
        char *argv[20] = {(char *)(uintptr_t) "biasbook"};
        int n = 1, out = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
        for (; args[n - 1] && n < 19; n++)
            argv[n] = (char *)(uintptr_t)args[n - 1];
        dup2(out, STDOUT_FILENO);
        exit(verbs_main(n, argv));
    }
    wait4(pid, &status, 0, &u);
    if (!WIFEXITED(status) || WEXITSTATUS(status)) {
        printf("biasbook %s ended with %d\n", args[0], status);
        exit(1);
    }
    return (struct used){now_s() - start,
                         (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) + (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec) / 1e6,
                         (double)u.ru_maxrss / 1024};
}

static struct used run(const char *const *args)
{
    return run_into("/dev/null", args);
}

static double file_mb(const char *path)
{
    struct stat s;
    return stat(path, &s) == 0 ? (double)s.st_size / 1048576 : 0;
}

void make_club(const char *maker, struct club *c)
{
    char command[1200], *lines = strdup(scratch_path("club.ndjson"));
    c->file = strdup(scratch_path("club.db"));
    snprintf(c->what, sizeof c->what, "%ld calibrations", c->rows);
    bool large = c->rows >= 50000;
    snprintf(command, sizeof command, "'%s' --rows %ld --decks %d --stocks %d --seed 11 > '%s'", maker, c->rows, large ? 300 : 40,
             large ? 900 : 120, lines);
    if (system(command)) {
        printf("the simulator did not run: %s\n", command);
        exit(1);
    }
    run((const char *[]){"init", "--db", c->file, NULL});
    struct used first = run((const char *[]){"import", "--db", c->file, lines, NULL});
    long rows;
    double raw = sqlite_raw_insertion(c->file, scratch_path("raw.db"), &rows), ours = (double)rows / first.seconds;
    line("import", c->what, "0.5 x raw insertion", ours >= 0.5 * raw,
         "%.0f rows/s = %.2f x SQLite inserting the same rows (%.0f/s); processor %.1f us a row, memory at most %.0f MB; lines %.0f MB, "
         "file %.0f MB",
         ours, ours / raw, raw, first.processor * 1e6 / (double)rows, first.memory_mb, file_mb(lines), file_mb(c->file));
    cost("import, processor a row", "us", c->rows, first.processor * 1e6 / (double)rows);
    cost("import, highest memory", "MB", c->rows, first.memory_mb);
    unlink(lines);
    free(lines);
}

/* Until the first answer, and until every row is in what is served. */
static void start(struct club *c, const char *how, const char *bar)
{
    struct daemon d;
    double begun = now_s();
    serve(&d, c->file);
    struct answer a = ask(&d, "GET", "/api/suggestion?deck=none&stock=none", NULL, NULL);
    double first = now_s() - begun;
    answer_free(&a);
    double processor = processor_s(d.pid);
    wait_ready(&d);
    double ready = now_s() - begun;
    line("start", c->what, bar, first < 0.5, "%s: first answer after %.0f ms (processor %.0f ms), every row known after %.1f s", how,
         first * 1e3, processor * 1e3, ready);
    cost(how, "ms", c->rows, first * 1e3);
    usleep(200000);
    line("memory", c->what, "", true, "%.0f MB when ready, %.0f MB at most", memory_mb(d.pid), highest_memory_mb(d.pid));
    cost("memory when ready", "MB", c->rows, memory_mb(d.pid));
    daemon_stop(&d);
}

void measure_files(struct club *c)
{
    char *out = strdup(scratch_path("export.ndjson")), quoted[1300];
    struct daemon d;
    serve(&d, c->file);
    double begun = now_s();
    snprintf(quoted, sizeof quoted, "curl -s -o '%s' '%s/api/export?format=ndjson'", out, d.address);
    if (system(quoted))
        printf("the export did not run\n");
    double took = now_s() - begun;
    daemon_stop(&d);
    long rows;
    double raw = sqlite_raw_insertion(c->file, scratch_path("raw.db"), &rows);
    struct used used = run_into(out, (const char *[]){"export", "--db", c->file, "--format", "ndjson", NULL});
    line("export", c->what, "", true,
         "%.0f rows/s = %.2f x inserting them (over HTTP %.0f/s); processor %.1f us a row, memory at most %.0f MB",
         (double)rows / used.seconds, (double)rows / used.seconds / raw, (double)rows / took, used.processor * 1e6 / (double)rows,
         used.memory_mb);
    cost("export, processor a row", "us", c->rows, used.processor * 1e6 / (double)rows);
    cost("export, highest memory", "MB", c->rows, used.memory_mb);
    unlink(out);
    free(out);
    start(c, "start, tables saved", c->rows <= 150000 ? "first answer < 0.5 s" : "");
}

void measure_idle(void)
{
    struct daemon d;
    char *file = strdup(scratch_path("empty.db"));
    run((const char *[]){"init", "--db", file, NULL});
    serve(&d, file);
    sleep(1);
    double before = processor_s(d.pid);
    sleep(5);
    line("memory", "an empty club", "", true, "%.0f MB; at rest it uses %.2f %% of a core", memory_mb(d.pid),
         (processor_s(d.pid) - before) * 20);
    daemon_stop(&d);
    unlink(file);
    free(file);
}

void measure_slow_connections(void)
{
    enum { MANY = 900 };
    static const char half[] = "GET /api/model HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ";
    static int fds[MANY];
    struct daemon d;
    char *file = strdup(scratch_path("slow.db"));
    run((const char *[]){"init", "--db", file, NULL});
    serve(&d, file);
    sleep(1);
    double before = memory_mb(d.pid);
    for (int i = 0; i < MANY; i++) {
        fds[i] = load_connect(port_of(&d));
        if (write(fds[i], half, sizeof half - 1) < 0)
            printf("a slow connection was not taken\n");
    }
    usleep(500000);
    double during = memory_mb(d.pid), begun = now_s();
    struct answer a = ask(&d, "GET", "/api/model", NULL, NULL);
    double took = now_s() - begun;
    line("memory", "900 slow connections", "", true, "%.0f MB, %.0f MB more than with none; another client is answered %ld in %.1f ms",
         during, during - before, a.status, took * 1e3);
    answer_free(&a);
    for (int i = 0; i < MANY; i++)
        close(fds[i]);
    daemon_stop(&d);
    unlink(file);
    free(file);
}
