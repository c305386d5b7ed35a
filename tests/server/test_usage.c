/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What each verb says to words it does not take: exit status 2 for wrong usage, 1 for what is refused, and a message on standard error that names the word at fault.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon.h"
#include "verbs/verbs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define LONG_TEXT                                                                                                                          \
    "a-text-of-two-hundred-and-more-bytes-........................................................................................"        \
    "............................................................................................................................"

static char db[200], yields[200], bare[200], broken[200];
static char err[8000];

/* Runs it with both outputs in `err`. */
static int run(const char *const *args)
{
    int fds[2], how = 0;
    char *argv[20] = {(char *)(uintptr_t) "biasbook"};
    int n = 1;
    while (args[n - 1] && n < 19) {
        argv[n] = (char *)(uintptr_t)args[n - 1];
        n++;
    }
    assert_int_equal(pipe(fds), 0);
    fflush(NULL);
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (!pid) {
        dup2(fds[1], STDOUT_FILENO);
        dup2(fds[1], STDERR_FILENO);
        close(fds[0]);
        close(fds[1]);
        exit(verbs_main(n, argv));
    }
    close(fds[1]);
    size_t held = 0;
    for (ssize_t got; held + 1 < sizeof err && (got = read(fds[0], err + held, sizeof err - 1 - held)) > 0;)
        held += (size_t)got;
    err[held] = 0;
    close(fds[0]);
    waitpid(pid, &how, 0);
    return WIFEXITED(how) ? WEXITSTATUS(how) : 1000 + WTERMSIG(how);
}

struct said {
    const char *args[16];
    int status;
    const char *says;
};

static void each(const struct said *cases, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        int status = run(cases[i].args);
        if (status != cases[i].status || !strstr(err, cases[i].says))
            fail_msg("case %zu (%s %s): ends %d and says: %s", i, cases[i].args[0], cases[i].args[1] ? cases[i].args[1] : "", status, err);
    }
}
#define EACH(cases) each(cases, sizeof cases / sizeof *cases)

static void options(void **state)
{
    const struct said cases[] = {
        {{"export", "--db"}, 2, "--db"},
        {{"export", "--db", db, "--db", db}, 2, "--db"},
        {{"export", "--exchange=yes", "--db", db}, 2, "exchange"},
        {{"export", "--db", db, "more"}, 2, "'more' is not expected"},
        {{"export", "--db", db, "--", "--format"}, 2, "'--format' is not expected"},
        {{"export", "-x"}, 2, "-x"},
        {{"export", "-h"}, 0, "usage: biasbook export"},
        {{"-h"}, 0, "usage"},
        {{"help"}, 0, "usage"},
        {{"--version"}, 0, "biasbook"},
        {{"export", "--db", ""}, 2, "--db"},
        {{"export"}, 2, "BIASBOOK_DB"},
        {{"init"}, 2, "--db"},
        {{"check"}, 2, "--db"},
        {{"backup"}, 2, "biasbook backup"},
        {{"restore"}, 2, "biasbook restore"},
        {{"backup", "x"}, 2, "--db"},
        {{"restore", "x"}, 2, "--db"},
        {{"import", "x"}, 2, "--db"},
        {{"member", "list"}, 2, "--db"},
        {{"serve"}, 2, "--db"},
        {{"suggest", "--deck", "d", "--stock", "s"}, 2, "--db"},
    };
    (void)state;
    EACH(cases);
    assert_int_equal(setenv("BIASBOOK_DB", db, 1), 0); /* the environment names the club when the option does not */
    assert_int_equal(run((const char *[]){"export", NULL}), 0);
    assert_non_null(strstr(err, "\"kind\":\"end\""));
    unsetenv("BIASBOOK_DB");
}

static void members(void **state)
{
    const struct said cases[] = {
        {{"member", "--db", db}, 2, "add, list, revoke or rotate"},
        {{"member", "drop", "--db", db}, 2, "'drop' is not known"},
        {{"member", "add", "--db", db, "--name", "O", "--role", "king"}, 2, "--role"},
        {{"member", "add", "--db", db, "--name", "O", "--role", "none"}, 2, "--role"},
        {{"member", "add", "--db", db, "--name", "O", "--role", "reader", "--scope", "some"}, 2, "--scope"},
        {{"member", "add", "--db", db, "--name", "O", "--role", "reader", "--expires", "soon"}, 2, "--expires"},
        {{"member", "add", "--db", db, "--name", "", "--role", "reader"}, 2, "--name"},
        {{"member", "add", "--db", db, "--name", LONG_TEXT, "--role", "reader"}, 2, "--name"},
        {{"member", "add", "--db", db, "--name", "O", "--label", LONG_TEXT}, 2, "--label"},
        {{"member", "add", "--db", db, "--role", "reader"}, 2, "--name is needed"},
        {{"member", "add", "--db", db, "--name", "O"}, 2, "--role is needed"},
        {{"member", "add", "--db", db, "--name", "O", "--role", "reader", "--key", "1"}, 2, "--key belongs"},
        {{"member", "list", "--db", db, "--role", "reader"}, 2, "belong to add"},
        {{"member", "list", "--db", db, "--label", "x"}, 2, "belong to add"},
        {{"member", "list", "--db", db, "--scope", "read"}, 2, "belong to add"},
        {{"member", "list", "--db", db, "--expires", "2030-01-01T00:00:00Z"}, 2, "belong to add"},
        {{"member", "list", "--db", db, "--key", "1"}, 2, "--key belongs"},
        {{"member", "list", "--db", db, "--name", "O"}, 2, "list shows everybody"},
        {{"member", "revoke", "--db", db}, 2, "say which"},
        {{"member", "revoke", "--db", db, "--key", "1", "--name", "O"}, 2, "say which"},
        {{"member", "revoke", "--db", db, "--key", "one"}, 2, "key"},
        {{"member", "revoke", "--db", db, "--key", "0"}, 2, "key"},
        {{"member", "revoke", "--db", db, "--key", "1e300"}, 2, "key"},
        {{"member", "revoke", "--db", db, "--key", "77"}, 1, "77"},
        {{"member", "revoke", "--db", db, "--name", "Nobody"}, 1, "Nobody"},
        {{"member", "rotate", "--db", db}, 2, "say which key"},
        {{"member", "rotate", "--db", db, "--key", "1", "--name", "O"}, 2, "say which key"},
        {{"member", "rotate", "--db", db, "--key", "77"}, 1, "77"},
        {{"member", "add", "--db", db, "--name", "Nobody", "--label", "phone"}, 1, "Nobody"},
        {{"member", "add", "--db", db, "--name", "Odo", "--role", "logger"}, 0, "bb1_"},
        {{"member", "add", "--db", db, "--name", "Odo", "--role", "logger"}, 1, "Odo"},
        {{"member", "add", "--db", db, "--name", "Odo", "--label", "bench", "--scope", "log", "--expires", "2090-01-01T00:00:00Z"},
         0,
         "bb1_"},
        {{"member", "list", "--db", db}, 0, "bench"},
        {{"member", "revoke", "--db", db, "--name", "Odo"}, 0, ""},
    };
    (void)state;
    EACH(cases);
}

static void files(void **state)
{
    const struct said cases[] = {
        {{"export", "--db", db, "--format", "xml"}, 2, "--format is ndjson or csv, not 'xml'"},
        {{"export", "--db", db, "--members", "all"}, 2, "--members"},
        {{"export", "--db", db, "--since", "monday"}, 2, "--since"},
        {{"import", "--db", db}, 2, "which file?"},
        {{"import", "--db", db, "--format", "xml", "x"}, 2, "--format"},
        {{"import", "--db", db, "--on-conflict", "win", "x"}, 2, "--on-conflict"},
        {{"import", "--db", db, "--as", "deck:a", "x"}, 2, "--as"},
        {{"import", "--db", db, "--separator", "|", "x"}, 2, "--separator"},
        {{"import", "--db", db, "--separator", ";", "/nonexistent/x.csv"}, 1, "/nonexistent/x.csv"},
        {{"import", "--db", db, "/tmp"}, 1, "/tmp"},
        {{"backup", "--db", db, "/nonexistent/copy.db"}, 1, "/nonexistent/copy.db"},
        {{"restore", "--db", bare, db}, 1, ""},
        {{"init", "--db", db}, 1, "is there already"},
        {{"check", "--db", yields}, 1, "biasbook"},
        {{"suggest", "--db", db}, 2, "--deck is needed"},
        {{"suggest", "--db", db, "--deck", "d"}, 2, "--stock or --class"},
        {{"suggest", "--db", db, "--deck", "d", "--stock", "s"}, 1, "deck"},
    };
    (void)state;
    EACH(cases);
}

static void tables(void **state)
{
    const struct said cases[] = {
        {{"fit"}, 2, "--csv is needed"},
        {{"fit", "--csv", yields}, 2, "--response is needed"},
        {{"fit", "--csv", yields, "--response", "yield"}, 2, "--group is needed"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", ""}, 2, "--group is needed"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch,"}, 0, "groups"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", ",batch"}, 1, "group"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch,batch"}, 1, "batch"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "a,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p,q,r"}, 1, "at most"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", LONG_TEXT}, 1, "group"},
        {{"fit", "--csv", yields, "--response", "weight", "--group", "batch"}, 1, "it has batch, yield"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch:"}, 1, "batch"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch:vat"}, 1, "vat"},
        {{"fit", "--csv", yields, "--response", "batch", "--group", "yield"}, 1, "batch"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch", "--weight", "batch"}, 1, "batch"},
        {{"fit", "--csv", bare, "--response", "yield", "--group", "batch"}, 1, ""},
        {{"fit", "--csv", broken, "--response", "yield", "--group", "batch"}, 1, "3"},
        {{"fit", "--csv", "/nonexistent.csv", "--response", "yield", "--group", "batch"}, 1, "/nonexistent.csv"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch", "--predict", "/nonexistent.csv"}, 1, "/nonexistent.csv"},
        {{"fit", "--csv", yields, "--response", "yield", "--group", "batch", "--flat", "--no-intercept"},
         0,
         "\"groups\":[{\"name\":\"batch\""},
        {{"fit", "--csv=%s", yields}, 2, "not expected"},
    };
    (void)state;
    EACH(cases);
}

static void serving(void **state)
{
    const struct said cases[] = {
        {{"serve", "--db", db, "--listen", "0.0.0.0:0"}, 2, "--plain-http"},
        {{"serve", "--db", db, "--listen", "[::]:0"}, 2, "--plain-http"},
        {{"serve", "--db", db, "--listen", "192.0.2.1:0"}, 2, "--plain-http"},
        {{"serve", "--db", db, "--listen", "somewhere"}, 2, ""},
        {{"serve", "--db", db, "--listen", "localhost:0", "--tls-cert", "x"}, 2, "go together"},
        {{"serve", "--db", db, "--listen", "[::1]:0", "--tls-key", "x"}, 2, "go together"},
        {{"serve", "--db", db, "--tls-cert", "x", "--tls-key", "y", "--behind-proxy"}, 2, "either"},
        {{"serve", "--db", db, "--trusted-proxy", "::1"}, 2, "--behind-proxy"},
        {{"serve", "--db", db, "--contact", "steward@club.example"}, 2, "--contact"},
        {{"serve", "--db", db, "--contact", "mailto:a b"}, 2, "--contact"},
        {{"serve", "--db", db, "--contact", "http://club.example/"}, 2, "--contact"},
        {{"serve", "--db", db, "--open", "--behind-proxy"}, 2, "--open"},
        {{"serve", "--db", db, "--tls-cert", "/nonexistent.pem", "--tls-key", "/nonexistent.key", "--contact", "tel:+0"},
         1,
         "/nonexistent"},
        {{"serve", "--db", db, "--listen", LONG_TEXT ":0", "--contact", "https://club.example/", "--plain-http"}, 1, ""},
        {{"serve", "--db", db, "--config", "/nonexistent.conf"}, 2, "/nonexistent.conf"},
        {{"demo", "--listen", "0.0.0.0:0"}, 2, ""},
    };
    (void)state;
    EACH(cases);
}

static bool write_file(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    return f && fputs(text, f) >= 0 && fclose(f) == 0;
}

static int start(void **state)
{
    (void)state;
    snprintf(db, sizeof db, "%s", scratch_path("club.db"));
    snprintf(yields, sizeof yields, "%s", scratch_path("yields.csv"));
    snprintf(bare, sizeof bare, "%s", scratch_path("bare.csv"));
    snprintf(broken, sizeof broken, "%s", scratch_path("broken.csv"));
    unsetenv("BIASBOOK_DB");
    return !(write_file(yields, "batch,yield\na,1\na,2\nb,3\nb,4\nc,2\nc,5\n") && write_file(bare, "batch,yield\n") &&
             write_file(broken, "batch,yield\na,1\nb\n") && run((const char *[]){"init", "--db", db, NULL}) == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(options), cmocka_unit_test(members), cmocka_unit_test(files), cmocka_unit_test(tables), cmocka_unit_test(serving),
    };
    return cmocka_run_group_tests_name("usage", tests, start, NULL);
}
