/* SPDX-License-Identifier: GPL-3.0-or-later
 * See daemon.h. */
#include "daemon.h"

#include "verbs/verbs.h"

#include <pthread.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

static int run_child(const char *const *args, int out)
{
    char *argv[40] = {(char *)(uintptr_t) "biasbook"};
    int n = 1;
    while (args[n - 1] && n < 39) {
        argv[n] = (char *)(uintptr_t)args[n - 1];
        n++;
    }
    dup2(out, STDOUT_FILENO);
    close(out);
    return verbs_main(n, argv);
}

static int status_of(int how)
{
    return WIFEXITED(how) ? WEXITSTATUS(how) : 1000 + WTERMSIG(how);
}

/* Forks it and reads what it says first; without the last slash. */
static void launch(struct daemon *d, const char *const *args)
{
    int fds[2];
    assert_int_equal(pipe(fds), 0);
    fflush(NULL);
    d->pid = fork();
    assert_true(d->pid >= 0);
    if (!d->pid) {
        prctl(PR_SET_PDEATHSIG, SIGKILL); /* a test that fails leaves none behind */
        close(fds[0]);
        exit(run_child(args, fds[1]));
    }
    close(fds[1]);
    size_t n = 0;
    while (n + 1 < sizeof d->address && read(fds[0], d->address + n, 1) == 1 && d->address[n] != '\n')
        n++;
    d->address[n] = 0;
    close(fds[0]); /* the daemon prints nothing more on standard output */
    if (n && d->address[n - 1] == '/')
        d->address[n - 1] = 0;
}

void daemon_start(struct daemon *d, const char *const *args)
{
    launch(d, args);
    if (strncmp(d->address, "http", 4))
        fail_msg("the daemon did not say its address but '%s'", d->address);
}

bool daemon_try(struct daemon *d, const char *const *args, int *status)
{
    int how = 0;
    launch(d, args);
    if (!strncmp(d->address, "http", 4))
        return true;
    waitpid(d->pid, &how, 0);
    *status = status_of(how);
    return false;
}

int daemon_stop(struct daemon *d)
{
    int status = 0;
    kill(d->pid, SIGTERM);
    waitpid(d->pid, &status, 0);
    return status_of(status);
}

void daemon_kill(struct daemon *d)
{
    kill(d->pid, SIGKILL);
    waitpid(d->pid, NULL, 0);
}

int run_verb(const char *const *args, char *out, size_t size)
{
    int fds[2], status = 0;
    assert_int_equal(pipe(fds), 0);
    fflush(NULL);
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (!pid) {
        close(fds[0]);
        exit(run_child(args, fds[1]));
    }
    close(fds[1]);
    size_t n = 0;
    char block[4096];
    ssize_t got;
    while ((got = read(fds[0], block, sizeof block)) > 0)
        for (ssize_t i = 0; i < got && out; i++)
            if (n + 1 < size)
                out[n++] = block[i];
    if (out)
        out[n] = 0;
    close(fds[0]);
    waitpid(pid, &status, 0);
    return status_of(status);
}

/* ---- requests ---- */

static size_t take_body(char *bytes, size_t size, size_t count, void *user)
{
    struct answer *a = user;
    size_t n = size * count;
    char *grown = realloc(a->body, a->length + n + 1);
    if (!grown)
        return 0;
    a->body = grown;
    memcpy(a->body + a->length, bytes, n);
    a->length += n;
    a->body[a->length] = 0;
    return n;
}

static void keep(const char *line, size_t n, const char *name, char *out, size_t size)
{
    size_t m = strlen(name);
    if (n <= m || strncasecmp(line, name, m))
        return;
    while (m < n && line[m] == ' ')
        m++;
    while (n > m && (line[n - 1] == '\r' || line[n - 1] == '\n'))
        n--;
    snprintf(out, size, "%.*s", (int)(n - m), line + m);
}

static size_t take_header(char *bytes, size_t size, size_t count, void *user)
{
    struct answer *a = user;
    size_t n = size * count;
    keep(bytes, n, "ETag:", a->etag, sizeof a->etag);
    keep(bytes, n, "Link:", a->link, sizeof a->link);
    keep(bytes, n, "Location:", a->location, sizeof a->location);
    keep(bytes, n, "Content-Type:", a->type, sizeof a->type);
    keep(bytes, n, "Retry-After:", a->retry_after, sizeof a->retry_after);
    keep(bytes, n, "Set-Cookie:", a->set_cookie, sizeof a->set_cookie);
    return n;
}

/* One handle a thread, so that connections are kept; it goes with its thread. */
static pthread_key_t handle_key;
static void make_key(void)
{
    pthread_key_create(&handle_key, curl_easy_cleanup);
}

static CURL *handle(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, make_key);
    CURL *c = pthread_getspecific(handle_key);
    if (!c) {
        c = curl_easy_init();
        pthread_setspecific(handle_key, c);
    }
    return c;
}

struct answer ask_may_fail(const struct daemon *d, const char *method, const char *path, const char *body, const char *header)
{
    CURL *c = handle();
    struct answer a = {0};
    char url[4600];
    a.body = calloc(1, 1);
    snprintf(url, sizeof url, "%s%s", d->address, path);
    curl_easy_reset(c);
    struct curl_slist *headers = NULL;
    headers = curl_slist_append(headers, "Expect:");
    if (header)
        headers = curl_slist_append(headers, header);
    if (header && strstr(header, "\r\nAccept:"))
        headers = curl_slist_append(headers, "Accept:"); /* not the library's as well */
    if (body && (!header || strncasecmp(header, "content-type", 12)))
        headers = curl_slist_append(headers, "Content-Type: application/json");
    curl_easy_setopt(c, CURLOPT_URL, url);
    curl_easy_setopt(c, CURLOPT_CUSTOMREQUEST, method);
    curl_easy_setopt(c, CURLOPT_NOBODY, !strcmp(method, "HEAD") ? 1L : 0L);
    if (body) {
        curl_easy_setopt(c, CURLOPT_POSTFIELDSIZE, (long)strlen(body));
        curl_easy_setopt(c, CURLOPT_POSTFIELDS, body);
    }
    curl_easy_setopt(c, CURLOPT_CUSTOMREQUEST, method);
    curl_easy_setopt(c, CURLOPT_HTTPHEADER, headers);
    curl_easy_setopt(c, CURLOPT_WRITEFUNCTION, take_body);
    curl_easy_setopt(c, CURLOPT_WRITEDATA, &a);
    curl_easy_setopt(c, CURLOPT_HEADERFUNCTION, take_header);
    curl_easy_setopt(c, CURLOPT_HEADERDATA, &a);
    curl_easy_setopt(c, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(c, CURLOPT_TIMEOUT, 60L);
    if (curl_easy_perform(c) == CURLE_OK)
        curl_easy_getinfo(c, CURLINFO_RESPONSE_CODE, &a.status);
    curl_slist_free_all(headers);
    return a;
}

struct answer ask(const struct daemon *d, const char *method, const char *path, const char *body, const char *header)
{
    struct answer a = ask_may_fail(d, method, path, body, header);
    if (!a.status)
        fail_msg("%s %s: no answer", method, path);
    return a;
}

void answer_free(struct answer *a)
{
    free(a->body);
    a->body = NULL;
}

json_t *answer_json_of(const struct answer *a)
{
    json_error_t e;
    json_t *j = json_loadb(a->body, a->length, JSON_REJECT_DUPLICATES, &e);
    if (!j)
        fail_msg("no JSON: %s in %s", e.text, a->body);
    return j;
}

/* ---- small things ---- */

void uuid_of(unsigned n, char out[37])
{
    snprintf(out, 37, "%08x-%04x-4%03x-8%03x-%012x", n * 2654435761u, n & 0xffff, (n >> 3) & 0xfff, (n >> 5) & 0xfff, n);
}

static char scratch_dir[64];
static pid_t scratch_maker;

/* Children leave by exit() too: only the process that made the folder removes it. */
static void remove_scratch(void)
{
    char command[128];
    if (getpid() != scratch_maker)
        return;
    snprintf(command, sizeof command, "rm -rf '%s'", scratch_dir);
    if (system(command))
        print_message("%s was not removed\n", scratch_dir);
}

char *scratch_path(const char *name)
{
    static char paths[8][160];
    static int next;
    if (!scratch_dir[0]) {
        snprintf(scratch_dir, sizeof scratch_dir, "/tmp/biasbook-test-XXXXXX");
        assert_non_null(mkdtemp(scratch_dir));
        scratch_maker = getpid();
        atexit(remove_scratch);
    }
    char *path = paths[next++ & 7];
    snprintf(path, sizeof paths[0], "%s/%s", scratch_dir, name);
    return path;
}
