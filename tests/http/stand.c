/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stand.h"

#include "ground/clock.h"
#include "ground/secrets.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

/* ---- actions ---- */

static enum action_result fill(struct exchange *x, const char *text)
{
    x->reply.status = 200;
    x->reply.content_type = "application/json";
    buffer_text(&x->reply.body, text);
    return ACTION_DONE;
}

static enum action_result hello(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    const char *etag = request_parameter(&x->request, "etag");
    if (etag)
        snprintf(x->reply.etag, sizeof x->reply.etag, "%s", etag);
    return fill(x, "{\"hello\":true}");
}

/* Says back what was understood. */
static enum action_result echo(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    struct buffer *b = &x->reply.body;
    fill(x, "");
    buffer_format(b, "%d|%s|", x->request.method, x->request.path);
    for (int i = 0; i < 3 && x->request.captures[i]; i++)
        buffer_format(b, "%s|", x->request.captures[i]);
    for (int i = 0; i < x->request.parameter_count; i++)
        buffer_format(b, "%s=%s|", x->request.parameters[i].name, x->request.parameters[i].value);
    if (x->request.body)
        buffer_add(b, x->request.body, x->request.body_length);
    buffer_format(b, "|%s|%d|%s|%s", x->request.content_type, x->request.who.role, x->request.who.name,
                  x->request.if_match ? x->request.if_match : "");
    return ACTION_DONE;
}

static enum action_result later(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    if (request_parameter(&x->request, "refuse")) {
        struct fault f = {0};
        fault_add(&f, FAULT_UNACCEPTABLE, "bias", "outside-dial", "keep it inside the dial");
        reply_fault(&x->reply, &f);
        return ACTION_DONE;
    }
    if (request_parameter(&x->request, "at-once")) { /* finished before the HTTP thread can suspend */
        fill(x, "at once");
        exchange_finish(x);
        return ACTION_LATER;
    }
    pthread_mutex_lock(&house->lock);
    assert_true(house->held_count < 256);
    house->held[house->held_count++] = x;
    pthread_cond_broadcast(&house->changed);
    pthread_mutex_unlock(&house->lock);
    return ACTION_LATER;
}

static enum action_result gate(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    pthread_mutex_lock(&house->lock);
    house->at_gate++;
    pthread_cond_broadcast(&house->changed);
    while (!house->gate_open)
        pthread_cond_wait(&house->changed, &house->lock);
    house->at_gate--;
    pthread_mutex_unlock(&house->lock);
    return fill(x, "passed");
}

/* Length and sum of an upload. */
static enum action_result weigh(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    unsigned char bytes[4096];
    long total = 0, sum = 0;
    ssize_t n;
    while ((n = read(x->request.body_fd, bytes, sizeof bytes)) > 0)
        for (ssize_t i = 0; i < n; i++, total++)
            sum += bytes[i];
    buffer_format(&x->reply.body, "%ld %ld", total, sum);
    return fill(x, "");
}

static enum action_result file(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    char path[] = "/tmp/biasbook-test-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    unlink(path);
    for (int i = 0; i < 1000; i++)
        assert_int_equal(write(fd, "0123456789", 10), 10);
    lseek(fd, 0, SEEK_SET);
    x->reply.file = fd;
    x->reply.file_size = 10000;
    snprintf(x->reply.file_name, sizeof x->reply.file_name, "club.ndjson");
    x->reply.status = 200;
    x->reply.content_type = "application/x-ndjson";
    return ACTION_DONE;
}

static enum action_result nothing(struct house *house, struct exchange *x)
{
    (void)x;
    atomic_fetch_add(&house->actions, 1);
    return ACTION_DONE;
}

static enum action_result too_long(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    buffer_free(&x->reply.body); /* what it holds already would count as room */
    x->reply.body.max = 100;
    for (int i = 0; i < 100; i++)
        buffer_text(&x->reply.body, "long ");
    enum action_result r = fill(x, "");
    x->reply.body.max = LIMIT_REPLY;
    return r;
}

static enum action_result created(struct house *house, struct exchange *x)
{
    atomic_fetch_add(&house->actions, 1);
    fill(x, "{}");
    x->reply.status = 201;
    snprintf(x->reply.location, sizeof x->reply.location, "/made/1");
    snprintf(x->reply.link, sizeof x->reply.link, "</made?after=1>; rel=\"next\"");
    return ACTION_DONE;
}

const struct route stand_routes[] = {
    {"/hello", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, hello, BODY_NONE, 0, NULL},
    {"/echo/fixed/{uuid}", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {"/echo/{id}", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {"/echo/{id}", METHOD_PUT | METHOD_DELETE, ROLE_NONE, 0, RUN_INLINE, echo, BODY_RECORD, 0, NULL},
    {"/echo/{id}/{uuid}", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {"/drawings/{id}.svg", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {"/form", METHOD_POST, ROLE_NONE, 0, RUN_INLINE, echo, BODY_FORM, 0, NULL},
    {"/later/{id}", METHOD_PUT, ROLE_NONE, 0, RUN_WRITE, later, BODY_RECORD, 0, NULL},
    {"/later/{id}", METHOD_GET, ROLE_NONE, 0, RUN_WRITE, later, BODY_NONE, 0, NULL},
    {"/gate", METHOD_GET, ROLE_NONE, 0, RUN_WORKER, gate, BODY_NONE, 0, NULL},
    {"/weigh", METHOD_POST, ROLE_NONE, 0, RUN_WORKER, weigh, BODY_SPOOL, 3000000, NULL},
    {"/file", METHOD_GET, ROLE_NONE, 0, RUN_WORKER, file, BODY_NONE, 0, NULL},
    {"/nothing", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, nothing, BODY_NONE, 0, NULL},
    {"/too-long", METHOD_GET, ROLE_NONE, 0, RUN_INLINE, too_long, BODY_NONE, 0, NULL},
    {"/made", METHOD_POST, ROLE_NONE, 0, RUN_INLINE, created, BODY_RECORD, 0, NULL},
    {"/for-reader", METHOD_GET, ROLE_READER, 0, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {"/for-reader-private", METHOD_GET, ROLE_READER, ROUTE_PRIVATE, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {"/asks", METHOD_POST, ROLE_READER, 0, RUN_INLINE, echo, BODY_RECORD, 0, NULL},
    {"/for-logger", METHOD_PUT, ROLE_LOGGER, 0, RUN_INLINE, echo, BODY_RECORD, 0, NULL},
    {"/for-steward", METHOD_POST, ROLE_STEWARD, 0, RUN_INLINE, echo, BODY_RECORD, 0, NULL},
    {"/who", METHOD_GET, ROLE_NONE, ROUTE_WHO, RUN_INLINE, echo, BODY_NONE, 0, NULL},
    {NULL, 0, ROLE_NONE, 0, RUN_INLINE, NULL, BODY_NONE, 0, NULL},
};

static bool find_key(struct house *house, const char *key, struct identity *out)
{
    (void)house;
    static const struct {
        const char *key, *name;
        enum role role;
    } keys[] = {{STEWARD_KEY, "Ottoline", ROLE_STEWARD}, {LOGGER_KEY, "Lysander", ROLE_LOGGER}, {READER_KEY, "Ragna", ROLE_READER}};
    for (size_t i = 0; i < 3; i++)
        if (strcmp(keys[i].key, key) == 0) {
            out->member = (int64_t)i + 1;
            out->role = keys[i].role;
            snprintf(out->name, sizeof out->name, "%s", keys[i].name);
            return true;
        }
    return false;
}

/* ---- the house ---- */

int stand_finish_held(struct stand *s)
{
    struct exchange *mine[256];
    pthread_mutex_lock(&s->house.lock);
    int n = s->house.held_count;
    memcpy(mine, s->house.held, sizeof mine);
    s->house.held_count = 0;
    pthread_mutex_unlock(&s->house.lock);
    for (int i = 0; i < n; i++) {
        fill(mine[i], "finished ");
        buffer_text(&mine[i]->reply.body, mine[i]->request.captures[0]);
        exchange_finish(mine[i]);
    }
    return n;
}

static void *finish_as_they_come(void *user)
{
    struct stand *s = user;
    for (;;) {
        pthread_mutex_lock(&s->house.lock);
        while (s->house.held_count == 0 && s->house.finisher_runs)
            pthread_cond_wait(&s->house.changed, &s->house.lock);
        bool end = s->house.held_count == 0;
        pthread_mutex_unlock(&s->house.lock);
        if (end)
            return NULL;
        stand_finish_held(s);
    }
}

void stand_finisher(struct stand *s)
{
    s->house.finisher_runs = true;
    assert_int_equal(pthread_create(&s->house.finisher, NULL, finish_as_they_come, s), 0);
}

static void wait_for(struct stand *s, const int *figure, int count)
{
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += 5;
    pthread_mutex_lock(&s->house.lock);
    while (*figure < count)
        if (pthread_cond_timedwait(&s->house.changed, &s->house.lock, &until) == ETIMEDOUT)
            break;
    int reached = *figure;
    pthread_mutex_unlock(&s->house.lock);
    assert_true(reached >= count);
}

void stand_wait_held(struct stand *s, int count)
{
    wait_for(s, &s->house.held_count, count);
}

void stand_wait_gate(struct stand *s, int count)
{
    wait_for(s, &s->house.at_gate, count);
}

void stand_open_gate(struct stand *s)
{
    pthread_mutex_lock(&s->house.lock);
    s->house.gate_open = true;
    pthread_cond_broadcast(&s->house.changed);
    pthread_mutex_unlock(&s->house.lock);
}

void stand_up(struct stand *s, struct http_options o)
{
    struct fault f = {0};
    char text[256];
    assert_true(secrets_start());
    memset(s, 0, sizeof *s);
    pthread_mutex_init(&s->house.lock, NULL);
    pthread_cond_init(&s->house.changed, NULL);
    if (!o.listen)
        o.listen = "127.0.0.1:0";
    o.house = &s->house;
    if (!o.find_key)
        o.find_key = find_key;
    s->http = http_start(&o, stand_routes, &f);
    if (!s->http)
        fail_msg("%s", fault_text(&f, text, sizeof text));
    http_address(s->http, s->address);
    const char *colon = strrchr(s->address, ':');
    s->port = colon ? atoi(colon + 1) : 0;
}

void stand_down(struct stand *s)
{
    stand_open_gate(s);
    if (s->http) {
        http_refuse(s->http);
        stand_finish_held(s);
        http_stop(s->http, clock_monotonic_us() + 5000000);
        s->http = NULL;
    }
    if (s->house.finisher_runs) {
        pthread_mutex_lock(&s->house.lock);
        s->house.finisher_runs = false;
        pthread_cond_broadcast(&s->house.changed);
        pthread_mutex_unlock(&s->house.lock);
        pthread_join(s->house.finisher, NULL);
    }
    pthread_cond_destroy(&s->house.changed);
    pthread_mutex_destroy(&s->house.lock);
}

/* ---- client ---- */

void dial_in(struct stand *s, struct speaker *k)
{
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_port = htons((uint16_t)s->port), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    k->got_n = 0;
    k->fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_true(k->fd >= 0);
    assert_int_equal(connect(k->fd, (struct sockaddr *)&a, sizeof a), 0);
    int on = 1;
    setsockopt(k->fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
}

void hang_up(struct speaker *k)
{
    if (k->fd >= 0)
        close(k->fd);
    k->fd = -1;
}

void say_bytes(struct speaker *k, const char *bytes, size_t n)
{
    while (n > 0) {
        ssize_t sent = send(k->fd, bytes, n, MSG_NOSIGNAL);
        if (sent <= 0)
            return; /* the server closed: what it said is what counts */
        bytes += sent;
        n -= (size_t)sent;
    }
}

void say(struct speaker *k, const char *text)
{
    say_bytes(k, text, strlen(text));
}

/* Receives something within `ms`: 1 bytes came, 0 the end, -1 nothing. */
static int receive(struct speaker *k, int ms)
{
    struct pollfd p = {.fd = k->fd, .events = POLLIN};
    assert_true(k->got_n < sizeof k->got);
    if (poll(&p, 1, ms) != 1)
        return -1;
    ssize_t n = recv(k->fd, k->got + k->got_n, sizeof k->got - k->got_n, 0);
    if (n <= 0)
        return 0;
    k->got_n += (size_t)n;
    return 1;
}

static void take_away(struct speaker *k, size_t n)
{
    memmove(k->got, k->got + n, k->got_n - n);
    k->got_n -= n;
}

bool hear(struct speaker *k, struct answer *a, bool head_only)
{
    char text[512];
    memset(a, 0, sizeof *a);
    char *end;
    while (!(end = memmem(k->got, k->got_n, "\r\n\r\n", 4)))
        if (receive(k, 5000) <= 0)
            return false;
    size_t head_n = (size_t)(end - k->got);
    assert_true(head_n < sizeof a->head);
    memcpy(a->head, k->got, head_n);
    take_away(k, head_n + 4);
    assert_int_equal(sscanf(a->head, "HTTP/1.1 %d ", &a->status), 1);
    if (a->status == 100)
        return hear(k, a, head_only);
    size_t body_n = (size_t)strtoul(header_of(a, "Content-Length", text), NULL, 10);
    if (head_only || a->status == 304 || a->status == 204)
        return true;
    while (body_n > 0) {
        if (k->got_n == 0 && receive(k, 5000) <= 0)
            return false;
        size_t n = k->got_n < body_n ? k->got_n : body_n, room = sizeof a->body - 1 - a->body_n;
        memcpy(a->body + a->body_n, k->got, n < room ? n : room);
        a->body_n += n < room ? n : room;
        take_away(k, n);
        body_n -= n;
    }
    return true;
}

bool hears_end(struct speaker *k, int ms)
{
    return k->got_n == 0 && receive(k, ms) == 0;
}

bool hears_rest_and_end(struct speaker *k, int ms)
{
    int more;
    do
        k->got_n = 0;
    while ((more = receive(k, ms)) == 1);
    return more == 0;
}

bool hears_nothing(struct speaker *k, int ms)
{
    return k->got_n == 0 && receive(k, ms) == -1;
}

int headers_of(const struct answer *a, const char *name)
{
    int count = 0;
    size_t n = strlen(name);
    for (const char *p = strstr(a->head, "\r\n"); p; p = strstr(p + 2, "\r\n"))
        count += strncasecmp(p + 2, name, n) == 0 && p[2 + n] == ':';
    return count;
}

const char *header_of(const struct answer *a, const char *name, char out[512])
{
    size_t n = strlen(name);
    out[0] = '\0';
    for (const char *p = strstr(a->head, "\r\n"); p; p = strstr(p + 2, "\r\n"))
        if (strncasecmp(p + 2, name, n) == 0 && p[2 + n] == ':') {
            const char *value = p + 2 + n + 1 + strspn(p + 2 + n + 1, " ");
            snprintf(out, 512, "%.*s", (int)strcspn(value, "\r"), value);
            break;
        }
    return out;
}

void ask(struct stand *s, const char *request, struct answer *a)
{
    static struct speaker k;
    dial_in(s, &k);
    say(&k, request);
    say(&k, "Connection: close\r\n\r\n");
    if (!hear(&k, a, strncmp(request, "HEAD", 4) == 0))
        fail_msg("no answer to %s", request);
    hang_up(&k);
}
