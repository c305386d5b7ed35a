/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Listen addresses.
 */
#include "stand.h"

#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

static struct stand s;
static struct speaker k;
static struct answer a;

static void any_free_port(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.listen = "127.0.0.1:0"});
    assert_int_equal(strncmp(s.address, "http://127.0.0.1:", 17), 0);
    assert_true(s.port > 0);
    ask(&s, ROUTE("GET /hello"), &a);
    assert_int_equal(a.status, 200);
    char taken[40];
    snprintf(taken, sizeof taken, "127.0.0.1:%d", s.port);
    struct fault f = {0};
    struct http_options o = {.listen = taken};
    assert_null(http_start(&o, stand_routes, &f));
    assert_string_equal(f.items[0].code, "cannot-listen");
    stand_down(&s);
    stand_up(&s, (struct http_options){.listen = taken}); /* free again at once */
    stand_down(&s);
}

static void wrong_addresses(void **state)
{
    (void)state;
    static const char *const wrong[] = {"",
                                        "127.0.0.1",
                                        ":80",
                                        "127.0.0.1:",
                                        "127.0.0.1:x",
                                        "127.0.0.1:65536",
                                        "127.0.0.1:-1",
                                        "127.0.0.1:80x",
                                        "::1:80",
                                        "[::1:80",
                                        "unix:",
                                        "unix:/nonexistent/folder/socket",
                                        "256.0.0.1:80"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct fault f = {0};
        struct http_options o = {.listen = wrong[i]};
        if (http_start(&o, stand_routes, &f))
            fail_msg("%s", wrong[i]);
        assert_int_equal(f.kind, FAULT_STORE);
        assert_string_equal(f.items[0].field, "listen");
    }
    char path[200] = "unix:/tmp/";
    memset(path + 10, 'a', 150);
    struct fault f = {0};
    struct http_options o = {.listen = path};
    assert_null(http_start(&o, stand_routes, &f));
}

static bool has_ipv6(void)
{
    int fd = socket(AF_INET6, SOCK_STREAM, 0);
    struct sockaddr_in6 a6 = {.sin6_family = AF_INET6, .sin6_addr = IN6ADDR_LOOPBACK_INIT};
    bool has = fd >= 0 && bind(fd, (struct sockaddr *)&a6, sizeof a6) == 0;
    if (fd >= 0)
        close(fd);
    return has;
}

static void sixth_version(void **state)
{
    (void)state;
    if (!has_ipv6())
        skip();
    stand_up(&s, (struct http_options){.listen = "[::1]:0"});
    assert_int_equal(strncmp(s.address, "http://[::1]:", 13), 0);
    struct sockaddr_in6 a6 = {.sin6_family = AF_INET6, .sin6_addr = IN6ADDR_LOOPBACK_INIT, .sin6_port = htons((uint16_t)s.port)};
    k.fd = socket(AF_INET6, SOCK_STREAM | SOCK_CLOEXEC, 0);
    k.got_n = 0;
    assert_int_equal(connect(k.fd, (struct sockaddr *)&a6, sizeof a6), 0);
    say(&k, ROUTE("GET /hello") "\r\n");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    hang_up(&k);
    stand_down(&s);
}

static void ask_unix(const char *path)
{
    struct sockaddr_un u = {.sun_family = AF_UNIX};
    snprintf(u.sun_path, sizeof u.sun_path, "%s", path);
    k.fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    k.got_n = 0;
    assert_int_equal(connect(k.fd, (struct sockaddr *)&u, sizeof u), 0);
    for (int i = 0; i < 3; i++) {
        say(&k, "GET /later/x?at-once HTTP/1.1\r\nHost: whatever\r\n\r\n");
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, 200);
    }
    hang_up(&k);
}

static void unix_socket(void **state)
{
    (void)state;
    char folder[] = "/tmp/biasbook-test-XXXXXX", where[120], path[80];
    struct stat st;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/socket", folder);
    snprintf(where, sizeof where, "unix:%s", path);
    stand_up(&s, (struct http_options){.listen = where, .open = true});
    assert_string_equal(s.address, where);
    ask_unix(path);
    struct fault f = {0};
    struct http_options o = {.listen = where};
    assert_null(http_start(&o, stand_routes, &f)); /* someone answers there */
    assert_int_equal(stat(path, &st), 0);
    stand_down(&s);
    assert_int_equal(stat(path, &st), -1); /* removed at the end */

    /* left behind by a killed daemon: taken over */
    struct sockaddr_un u = {.sun_family = AF_UNIX};
    snprintf(u.sun_path, sizeof u.sun_path, "%s", path);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&u, sizeof u), 0);
    close(fd);
    stand_up(&s, (struct http_options){.listen = where, .open = true});
    ask_unix(path);
    stand_down(&s);

    /* another kind of file is never removed */
    FILE *other = fopen(path, "w");
    fputs("mine", other);
    fclose(other);
    assert_null(http_start(&o, stand_routes, &f));
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_size, 4);
    unlink(path);
    rmdir(folder);
}

/* A socket made by someone else, as a service manager does. */
static void handed_over(void **state)
{
    (void)state;
    struct sockaddr_in in = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&in, sizeof in), 0);
    assert_int_equal(listen(fd, 16), 0);
    stand_up(&s, (struct http_options){.listen_fd = fd});
    ask(&s, ROUTE("GET /hello"), &a);
    assert_int_equal(a.status, 200);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_free_port), cmocka_unit_test(wrong_addresses), cmocka_unit_test(sixth_version),
        cmocka_unit_test(unix_socket),   cmocka_unit_test(handed_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
