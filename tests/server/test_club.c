/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A club of several: keys and sessions (RFC 6750, RFC 6265, Sec-Fetch-Site and Origin), whose rows are whose, what was before, what a spreadsheet sends.
 */
#include "daemon.h"

#include "ground/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

static struct daemon d;
static char *db;
static char steward[100], odda[100], odda_key[60]; /* header lines; the bare key */
static char odda_id[20];

#define DECK                                                                                                                               \
    "{\"name\":\"Bench "                                                                                                                   \
    "one\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-5,\"high\":5,\"step\":0.5,\"scale\":\"db\",\"db_per_unit\":0.5},"               \
    "\"level_dial\":{\"low\":-5,\"high\":5,\"step\":0.5,\"scale\":\"db\",\"db_per_unit\":0.5}}"
#define ROW(bias) ROW_ON("bench-one", bias)
#define ROW_ON(deck, bias)                                                                                                                 \
    "{\"deck\":\"" deck "\",\"stock\":\"amber-one\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":" bias                                   \
    ",\"level\":0,\"low_db\":0,\"high_db\":0}"

static struct answer as(const char *who, const char *method, const char *path, const char *body)
{
    char header[1000];
    snprintf(header, sizeof header, "%s%s%s", body ? "Content-Type: application/json" : "", body && *who ? "\r\n" : "", who);
    return ask(&d, method, path, body, *header ? header : NULL);
}

static json_t *expect(const char *who, const char *method, const char *path, const char *body, long status)
{
    struct answer a = as(who, method, path, body);
    if (a.status != status)
        fail_msg("%s %s: %ld instead of %ld: %s", method, path, a.status, status, a.body);
    json_t *j = a.length ? answer_json_of(&a) : json_null();
    answer_free(&a);
    return j;
}

static void must(const char *who, const char *method, const char *path, const char *body, long status)
{
    json_decref(expect(who, method, path, body, status));
}

static const char *text_at(json_t *j, const char *name)
{
    return json_string_value(json_object_get(j, name));
}

static const char *code_of(json_t *j)
{
    return text_at(json_array_get(json_object_get(j, "errors"), 0), "code");
}

static void header_of_key(char out[100], const char *key)
{
    snprintf(out, 100, "Authorization: Bearer %.60s", key);
}

static int start(void **state)
{
    (void)state;
    char out[400];
    db = strdup(scratch_path("club.db"));
    assert_int_equal(run_verb((const char *const[]){"init", "--db", db, "--name", "Wilma", NULL}, out, sizeof out), 0);
    out[strcspn(strstr(out, "bb1_"), "\n") + (size_t)(strstr(out, "bb1_") - out)] = 0;
    header_of_key(steward, strstr(out, "bb1_"));
    daemon_start(&d, (const char *const[]){"serve", "--db", db, "--listen", "127.0.0.1:0", NULL});
    json_t *j = expect(steward, "POST", "/api/members", "{\"name\":\"Odda\",\"role\":\"logger\",\"key_name\":\"phone\"}", 201);
    snprintf(odda_key, sizeof odda_key, "%s", text_at(json_object_get(j, "key"), "key"));
    snprintf(odda_id, sizeof odda_id, "%lld", (long long)json_integer_value(json_object_get(j, "id")));
    header_of_key(odda, odda_key);
    json_decref(j);
    must(steward, "PUT", "/api/decks/bench-one", DECK, 201);
    must(steward, "PUT", "/api/stocks/amber-one", "{\"name\":\"Amber One\",\"class\":\"type-1\"}", 201);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    int status = daemon_stop(&d);
    char out[2000];
    assert_int_equal(run_verb((const char *const[]){"check", "--db", db, NULL}, out, sizeof out), 0);
    free(db);
    return status;
}

static void path_of(char out[160], const char *format, const char *id)
{
    snprintf(out, 160, format, id);
}

/* ---- sessions ---- */

static void sign_in(const char *key, char cookie[200])
{
    char body[100];
    snprintf(body, sizeof body, "{\"key\":\"%s\"}", key);
    struct answer a = as("", "POST", "/api/session", body);
    assert_int_equal(a.status, 200);
    assert_null(strstr(a.body, "bb1_"));
    /* RFC 6265, 4.1.2; without TLS neither Secure nor __Host- can be said */
    assert_non_null(strstr(a.set_cookie, "; HttpOnly"));
    assert_non_null(strstr(a.set_cookie, "; SameSite=Strict"));
    assert_non_null(strstr(a.set_cookie, "; Path=/;"));
    assert_null(strstr(a.set_cookie, "Secure"));
    snprintf(cookie, 200, "Cookie: %.*s", (int)strcspn(a.set_cookie, ";"), a.set_cookie);
    answer_free(&a);
}

static void a_session_stands_for_its_key(void **state)
{
    (void)state;
    char cookie[200], own[600], foreign[600], site[600];
    sign_in(odda_key, cookie);
    json_t *j = expect(cookie, "GET", "/api/session", NULL, 200);
    assert_string_equal(text_at(j, "member"), "Odda");
    assert_string_equal(text_at(j, "role"), "logger");
    json_decref(j);
    must(cookie, "GET", "/api/decks", NULL, 200);
    must(cookie, "GET", "/api/members", NULL, 403);
    /* What changes something has to come from a page of ours. */
    char id[37], path[160];
    uuid_of(50, id);
    path_of(path, "/api/calibrations/%s", id);
    j = expect(cookie, "PUT", path, ROW("1"), 403);
    assert_string_equal(code_of(j), "no-origin");
    json_decref(j);
    snprintf(own, sizeof own, "%s\r\nOrigin: %s", cookie, d.address);
    snprintf(foreign, sizeof foreign, "%s\r\nOrigin: https://elsewhere.example", cookie);
    snprintf(site, sizeof site, "%s\r\nSec-Fetch-Site: cross-site", cookie);
    must(foreign, "PUT", path, ROW("1"), 403);
    must(site, "PUT", path, ROW("1"), 403);
    must(own, "PUT", path, ROW("1"), 201);
    /* A new sign-in ends the session it was made from, and signing out ends it. */
    char body[100];
    snprintf(body, sizeof body, "{\"key\":\"%s\"}", odda_key);
    struct answer a = as(own, "POST", "/api/session", body);
    assert_int_equal(a.status, 200);
    must(cookie, "GET", "/api/decks", NULL, 401);
    snprintf(cookie, sizeof cookie, "Cookie: other=1; %.*s; more=2", (int)strcspn(a.set_cookie, ";"), a.set_cookie);
    answer_free(&a);
    must(cookie, "GET", "/api/decks", NULL, 200);
    snprintf(own, sizeof own, "%s\r\nOrigin: %s", cookie, d.address);
    a = as(own, "DELETE", "/api/session", NULL);
    assert_int_equal(a.status, 204);
    assert_non_null(strstr(a.set_cookie, "Max-Age=0"));
    answer_free(&a);
    must(cookie, "GET", "/api/decks", NULL, 401);
    /* The token is no key, and a key is no token. */
    char token[200], as_key[300], as_token[300];
    sign_in(odda_key, token);
    snprintf(as_key, sizeof as_key, "Authorization: Bearer %s", strchr(token, '=') + 1);
    must(as_key, "GET", "/api/decks", NULL, 401);
    snprintf(as_token, sizeof as_token, "Cookie: biasbook=%s", odda_key);
    must(as_token, "GET", "/api/decks", NULL, 401);
}

/* ---- the same with a form, for browsers without scripts ---- */

#define BROWSER "Accept: text/html,application/xhtml+xml;q=0.9,*/*;q=0.8\r\n"
#define FORM    "Content-Type: application/x-www-form-urlencoded\r\n" BROWSER

static struct answer post_form(const char *path, const char *body, const char *more)
{
    char header[700];
    snprintf(header, sizeof header, FORM "Origin: %s%s%s", d.address, *more ? "\r\n" : "", more);
    return ask(&d, "POST", path, body, header);
}

/* Signs in and says where it leads. */
static void leads_to(const char *then, const char *where)
{
    char body[400];
    snprintf(body, sizeof body, "key=%s&then=%s", odda_key, then);
    struct answer a = post_form("/sign-in", body, "");
    if (a.status != 303 || strcmp(a.location, where))
        fail_msg("then=%s: %ld to '%s' instead of '%s'", then, a.status, a.location, where);
    answer_free(&a);
}

static void a_form_signs_in(void **state)
{
    (void)state;
    char body[2000], cookie[200];
    /* A browser is shown where to sign in; a program is told as ever. */
    struct answer a = ask(&d, "GET", "/log?deck=bench-one&stock=amber-one&batch=a%26b", NULL, BROWSER);
    assert_int_equal(a.status, 401);
    assert_string_equal(a.type, "text/html; charset=utf-8");
    assert_non_null(strstr(a.body, "action=\"sign-in\""));
    assert_non_null(strstr(a.body, "name=\"then\" value=\"/log?deck=bench-one&amp;stock=amber-one&amp;batch=a%26b\""));
    assert_null(strstr(a.body, "Bench one")); /* nothing of the club itself */
    answer_free(&a);
    a = ask(&d, "GET", "/log", NULL, NULL);
    assert_int_equal(a.status, 401);
    assert_string_equal(a.type, "application/problem+json");
    answer_free(&a);
    a = ask(&d, "GET", "/api/decks", NULL, BROWSER); /* data stays data */
    assert_string_equal(a.type, "application/problem+json");
    answer_free(&a);
    a = ask(&d, "GET", "/no%22where%3Cb%3E", NULL, BROWSER);
    assert_int_equal(a.status, 404);
    assert_string_equal(a.type, "text/html; charset=utf-8");
    assert_null(strstr(a.body, "<b>"));
    answer_free(&a);

    /* Back to where one came from, and nowhere else. */
    leads_to("%2Flog%3Fdeck%3Dbench-one%26batch%3Da%2526b", "./log?deck=bench-one&batch=a%26b");
    leads_to("", "./log");
    static const char *const elsewhere[] = {"https%3A%2F%2Felsewhere.example%2F",
                                            "%2F%2Felsewhere.example",
                                            "%2F%5Celsewhere.example",
                                            "elsewhere.example",
                                            "javascript%3Aalert(1)",
                                            "%2Flog%0D%0ASet-Cookie%3A%20a%3Db",
                                            "%2Flog%2F..%2F..%2Felsewhere",
                                            "%5C%5Celsewhere.example",
                                            "%2F%09%2Felsewhere.example"};
    for (size_t i = 0; i < sizeof elsewhere / sizeof *elsewhere; i++)
        leads_to(elsewhere[i], "./log");

    /* The cookie is that of the API; signing out ends it. */
    snprintf(body, sizeof body, "key=++%s%%0D%%0A", odda_key); /* blanks that come with copying */
    a = post_form("/sign-in", body, "");
    assert_int_equal(a.status, 303);
    assert_non_null(strstr(a.set_cookie, "; HttpOnly"));
    assert_non_null(strstr(a.set_cookie, "; SameSite=Strict"));
    assert_null(strstr(a.body, odda_key));
    snprintf(cookie, sizeof cookie, "Cookie: %.*s", (int)strcspn(a.set_cookie, ";"), a.set_cookie);
    answer_free(&a);
    must(cookie, "GET", "/api/decks", NULL, 200);
    snprintf(body, sizeof body, BROWSER "%s", cookie);
    a = ask(&d, "GET", "/log", NULL, body);
    assert_int_equal(a.status, 200);
    assert_non_null(strstr(a.body, "Signed in as Odda, logger"));
    answer_free(&a);
    a = ask(&d, "GET", "/sign-in", NULL, body);
    assert_non_null(strstr(a.body, "Signed in as Odda"));
    answer_free(&a);
    a = post_form("/sign-out", "", cookie);
    assert_int_equal(a.status, 200);
    assert_non_null(strstr(a.set_cookie, "Max-Age=0"));
    answer_free(&a);
    must(cookie, "GET", "/api/decks", NULL, 401);

    /* Not by a page of another site, not without a key, not with a wrong one. */
    snprintf(body, sizeof body, "key=%s", odda_key);
    a = ask(&d, "POST", "/sign-in", body, FORM "Origin: https://elsewhere.example");
    assert_int_equal(a.status, 403);
    assert_string_equal(a.set_cookie, "");
    answer_free(&a);
    a = ask(&d, "POST", "/sign-out", "", FORM "Sec-Fetch-Site: cross-site");
    assert_int_equal(a.status, 403);
    answer_free(&a);
    a = post_form("/sign-in", "key=+", "");
    assert_int_equal(a.status, 422);
    answer_free(&a);
    a = post_form("/sign-in", "key=a&other=b", "");
    assert_int_equal(a.status, 422);
    answer_free(&a);
    a = post_form("/sign-in", "key=bb1_wrong&then=%2Flog%3Fdeck%3Dbench-one", "");
    assert_int_equal(a.status, 401);
    assert_string_equal(a.set_cookie, "");
    assert_non_null(strstr(a.body, "value=\"/log?deck=bench-one\"")); /* what was wanted is not forgotten */
    answer_free(&a);
}

/* What was filled in while a session ended is not lost. */
static void a_form_sent_without_a_key_comes_back(void **state)
{
    (void)state;
    static const char typed[] =
        "id=0190a3de-1111-7def-8123-000000000001&deck=bench-one&stock=amber-one&bias=1%2C5&level=0&low_db=0&high_db=0"
        "&notes=%3Cb%3E%26+%22said%22+%C3%A4";
    struct answer a = post_form("/log", typed, "");
    assert_int_equal(a.status, 401);
    assert_string_equal(a.type, "text/html; charset=utf-8");
    const char *from = strstr(a.body, "name=\"typed\" value=\"");
    assert_non_null(from);
    from += strlen("name=\"typed\" value=\"");
    char kept[600] = "key=", *end = kept + 4;
    end += sprintf(end, "%s&typed=", odda_key);
    for (const char *p = from; *p != '"'; p++) { /* as a browser reads and sends it */
        if (!strncmp(p, "&amp;", 5))
            end += sprintf(end, "%%26"), p += 4;
        else if (strchr("%=+", *p))
            end += sprintf(end, "%%%02X", *p);
        else
            *end++ = *p;
    }
    *end = 0;
    answer_free(&a);
    must(odda, "GET", "/api/calibrations/0190a3de-1111-7def-8123-000000000001", NULL, 404);

    a = post_form("/sign-in", kept, "");
    assert_int_equal(a.status, 200);
    assert_non_null(strstr(a.set_cookie, "biasbook="));
    assert_non_null(strstr(a.body, "value=\"0190a3de-1111-7def-8123-000000000001\""));
    assert_non_null(strstr(a.body, "value=\"1,5\""));
    assert_non_null(strstr(a.body, "&lt;b&gt;&amp; &quot;said&quot; \303\244"));
    char cookie[200];
    snprintf(cookie, sizeof cookie, "Cookie: %.*s", (int)strcspn(a.set_cookie, ";"), a.set_cookie);
    answer_free(&a);
    a = post_form("/log", typed, cookie);
    assert_int_equal(a.status, 201);
    answer_free(&a);
    must(odda, "GET", "/api/calibrations/0190a3de-1111-7def-8123-000000000001", NULL, 200);

    /* Whoever only reads is told so before filling anything in. */
    json_t *j = expect(steward, "POST", "/api/members", "{\"name\":\"Reader\",\"role\":\"reader\"}", 201);
    char header[400];
    snprintf(header, sizeof header, BROWSER "Authorization: Bearer %.60s", text_at(json_object_get(j, "key"), "key"));
    json_decref(j);
    a = ask(&d, "GET", "/log", NULL, header);
    assert_int_equal(a.status, 200);
    assert_null(strstr(a.body, "method=\"post\"><input"));
    assert_non_null(strstr(a.body, "Your role reads"));
    answer_free(&a);
    a = ask(&d, "POST", "/log", typed, "Content-Type: application/x-www-form-urlencoded");
    assert_string_equal(a.type, "application/problem+json");
    answer_free(&a);
}

static void a_lost_laptop(void **state)
{
    (void)state;
    char cookie[200], path[160], header[100], list[160];
    snprintf(list, sizeof list, "/api/members/%s/keys", odda_id);
    json_t *j = expect(steward, "POST", list, "{\"name\":\"laptop\"}", 201);
    header_of_key(header, text_at(j, "key"));
    sign_in(text_at(j, "key"), cookie);
    snprintf(path, sizeof path, "/api/members/%s/keys/%lld", odda_id, (long long)json_integer_value(json_object_get(j, "id")));
    json_decref(j);
    must(header, "GET", "/api/decks", NULL, 200);
    must(cookie, "GET", "/api/decks", NULL, 200);
    must(steward, "DELETE", path, NULL, 204);
    must(header, "GET", "/api/decks", NULL, 401); /* at once, and its sessions with it */
    must(cookie, "GET", "/api/decks", NULL, 401);
    must(odda, "GET", "/api/decks", NULL, 200); /* the phone goes on */
    must(steward, "DELETE", path, NULL, 204);   /* again is as well */
}

static void revoked_at_the_file(void **state)
{
    (void)state;
    char out[4000], header[100], number[30], cookie[200];
    assert_int_equal(
        run_verb((const char *const[]){"member", "add", "--db", db, "--name", "Odda", "--label", "tablet", NULL}, out, sizeof out), 0);
    char *key = strstr(out, "bb1_");
    key[strcspn(key, "\n")] = 0;
    header_of_key(header, key);
    long status = 401;
    for (int i = 0; i < 40 && status != 200; i++) { /* a second is promised, the machine may be busy */
        usleep(50000);
        struct answer a = as(header, "GET", "/api/decks", NULL);
        status = a.status;
        answer_free(&a);
    }
    assert_int_equal(status, 200);
    sign_in(key, cookie);
    assert_int_equal(run_verb((const char *const[]){"member", "list", "--db", db, NULL}, out, sizeof out), 0);
    char *line = strstr(out, "tablet");
    assert_non_null(line);
    while (line > out && line[-1] != '\n')
        line--;
    snprintf(number, sizeof number, "%d", (int)strtol(line, NULL, 10));
    assert_int_equal(run_verb((const char *const[]){"member", "revoke", "--db", db, "--key", number, NULL}, out, sizeof out), 0);
    for (int i = 0; i < 40 && status == 200; i++) {
        usleep(50000);
        struct answer a = as(header, "GET", "/api/decks", NULL);
        status = a.status;
        answer_free(&a);
    }
    assert_int_equal(status, 401);
    must(cookie, "GET", "/api/decks", NULL, 401);
    assert_int_equal(run_verb((const char *const[]){"member", "rotate", "--db", db, "--key", number, NULL}, out, sizeof out), 1);
    assert_int_equal(run_verb((const char *const[]){"member", "revoke", "--db", db, "--key", "99999", NULL}, out, sizeof out), 1);
    assert_int_equal(run_verb((const char *const[]){"member", "revoke", "--db", db, NULL}, out, sizeof out), 2);
}

static void scope_and_expiry(void **state)
{
    (void)state;
    char list[100], reads[100], path[160], id[37];
    snprintf(list, sizeof list, "/api/members/%s/keys", odda_id);
    json_t *j = expect(steward, "POST", list, "{\"name\":\"wall display\",\"scope\":\"read\"}", 201);
    header_of_key(reads, text_at(j, "key"));
    json_decref(j);
    uuid_of(51, id);
    path_of(path, "/api/calibrations/%s", id);
    must(reads, "GET", "/api/decks", NULL, 200);
    must(reads, "PUT", path, ROW("1"), 403);
    /* A smaller key sees the others, but cannot get hold of a larger one. */
    j = expect(reads, "GET", list, NULL, 200);
    size_t i;
    json_t *key;
    long long phone = 0;
    json_array_foreach(json_object_get(j, "keys"), i, key) if (!strcmp(text_at(key, "name"), "phone")) phone =
        json_integer_value(json_object_get(key, "id"));
    assert_true(phone > 0);
    json_decref(j);
    snprintf(path, sizeof path, "%s/%lld/rotate", list, phone);
    j = expect(reads, "POST", path, NULL, 403);
    assert_string_equal(code_of(j), "larger-scope");
    json_decref(j);
    /* With the phone itself it can be rotated: the old one is refused, the new one is as good. */
    j = expect(odda, "POST", path, NULL, 201);
    must(odda, "GET", "/api/decks", NULL, 401);
    snprintf(odda_key, sizeof odda_key, "%s", text_at(j, "key"));
    header_of_key(odda, odda_key);
    json_decref(j);
    must(odda, "GET", list, NULL, 200);
    must(odda, "POST", list, "{}", 403);
    must(odda, "GET", "/api/members/1/keys", NULL, 403);

    j = expect(steward, "POST", list, "{\"expires_at\":\"2020-01-01T00:00:00Z\"}", 422);
    assert_string_equal(code_of(j), "in-the-past");
    json_decref(j);
    char body[100], soon[40], short_lived[100];
    time_t in_two = time(NULL) + 2;
    struct tm tm;
    gmtime_r(&in_two, &tm);
    strftime(soon, sizeof soon, "%Y-%m-%dT%H:%M:%SZ", &tm);
    snprintf(body, sizeof body, "{\"expires_at\":\"%s\"}", soon);
    j = expect(steward, "POST", list, body, 201);
    header_of_key(short_lived, text_at(j, "key"));
    json_decref(j);
    long status = 200;
    for (int tries = 0; tries < 500 && status != 401; tries++) {
        struct answer late = as(short_lived, "GET", "/api/decks", NULL);
        status = late.status;
        answer_free(&late);
        usleep(20000);
    }
    assert_int_equal(status, 401);
    assert_true(time(NULL) >= in_two); /* not before its time */
}

static void members_change(void **state)
{
    (void)state;
    char path[160];
    json_t *j = expect(steward, "POST", "/api/members", "{\"name\":\"Odda\",\"role\":\"reader\"}", 409);
    assert_string_equal(code_of(j), "name-taken");
    json_decref(j);
    must(steward, "POST", "/api/members", "{\"name\":\"Una\"}", 422);
    must(steward, "POST", "/api/members", "{\"name\":\"Una\",\"role\":\"queen\"}", 422);
    must(steward, "POST", "/api/members", "{\"name\":\"Una\",\"role\":\"reader\",\"colour\":1}", 422);
    j = expect(steward, "PUT", "/api/members/1", "{\"role\":\"reader\"}", 409);
    assert_string_equal(code_of(j), "last-steward");
    json_decref(j);
    path_of(path, "/api/members/%s", odda_id);
    must(steward, "PUT", path, "{\"role\":\"reader\"}", 200);
    char id[37], row[160];
    uuid_of(52, id);
    path_of(row, "/api/calibrations/%s", id);
    must(odda, "PUT", row, ROW("1"), 403); /* from the next request on */
    must(steward, "PUT", path, "{\"role\":\"logger\"}", 200);
    must(odda, "PUT", row, ROW("1"), 201);
    must(steward, "PUT", "/api/members/777", "{\"role\":\"reader\"}", 404);
    must(steward, "PUT", "/api/members/x", "{\"role\":\"reader\"}", 404);
    j = expect(steward, "GET", "/api/members", NULL, 200);
    assert_int_equal(json_array_size(json_object_get(j, "members")), 3);
    json_decref(j);
}

/* ---- whose rows, and what was before ---- */

static void corrections_and_undo(void **state)
{
    (void)state;
    char id[37], path[160], sub[200], header[300];
    uuid_of(60, id);
    path_of(path, "/api/calibrations/%s", id);
    must(steward, "PUT", path, ROW("1"), 201);
    struct answer a = as(odda, "GET", path, NULL);
    snprintf(header, sizeof header, "%s\r\nIf-Match: %.90s", odda, a.etag);
    answer_free(&a);
    json_t *j = expect(header, "PUT", path, ROW("2"), 403); /* somebody else's */
    assert_string_equal(code_of(j), "not-the-author");
    json_decref(j);
    snprintf(sub, sizeof sub, "%s/void", path);
    must(odda, "POST", sub, "{\"reason\":\"I say so\"}", 403);
    snprintf(sub, sizeof sub, "%s/undo", path);
    must(odda, "POST", sub, NULL, 403);
    j = expect(steward, "POST", sub, NULL, 409);
    assert_string_equal(code_of(j), "nothing-to-undo");
    json_decref(j);

    uuid_of(61, id); /* Odda's own, corrected by the steward, undone by Odda */
    path_of(path, "/api/calibrations/%s", id);
    must(odda, "PUT", path, ROW("1"), 201);
    a = as(steward, "GET", path, NULL);
    snprintf(header, sizeof header, "%s\r\nIf-Match: %.90s", steward, a.etag);
    answer_free(&a);
    must(header, "PUT", path, ROW("2.5"), 200);
    snprintf(sub, sizeof sub, "%s/undo", path);
    snprintf(header, sizeof header, "%s\r\nIf-Match: \"1-00\"", odda);
    must(header, "POST", sub, NULL, 412);
    must(odda, "POST", sub, NULL, 200);
    snprintf(sub, sizeof sub, "%s/revisions", path);
    j = expect(odda, "GET", sub, NULL, 200);
    json_t *list = json_object_get(j, "revisions");
    static const struct {
        int revision;
        const char *by;
        double bias;
    } want[] = {{3, "Odda", 1}, {2, "Wilma", 2.5}, {1, "Odda", 1}};
    assert_int_equal(json_array_size(list), 3);
    for (size_t i = 0; i < 3; i++) {
        json_t *one = json_array_get(list, i);
        assert_int_equal(json_integer_value(json_object_get(one, "revision")), want[i].revision);
        assert_string_equal(text_at(one, "by"), want[i].by);
        assert_true(json_number_value(json_object_get(json_object_get(one, "state"), "bias")) == want[i].bias);
    }
    json_decref(j);

    char point[200];
    snprintf(point, sizeof point, "%s/void", path); /* void and back */
    must(odda, "POST", point, "{\"reason\":\"wrong tape\"}", 200);
    snprintf(point, sizeof point, "%s/undo", path);
    must(odda, "POST", point, NULL, 200);
    j = expect(odda, "GET", path, NULL, 200);
    assert_null(json_object_get(j, "void"));
    assert_true(json_number_value(json_object_get(j, "bias")) == 1);
    json_decref(j);
    must(odda, "GET", "/api/calibrations/0190a3de-89ab-7def-8123-456789abcdef/revisions", NULL, 404);
    must(odda, "GET", "/api/decks/bench-one/revisions", NULL, 200);
    must(odda, "GET", "/api/decks/nowhere/revisions", NULL, 404);
    must(odda, "GET", "/api/stocks/amber-one/revisions", NULL, 200);
}

static void the_log_tells_it(void **state)
{
    (void)state;
    json_t *j = expect(steward, "GET", "/api/journal?limit=500", NULL, 200), *one;
    size_t i;
    int seen = 0;
    char last[60] = "9999";
    json_array_foreach(json_object_get(j, "entries"), i, one)
    {
        const char *what = text_at(one, "what"), *who = text_at(one, "who");
        assert_true(strcmp(text_at(one, "at"), last) <= 0 || strlen(text_at(one, "at")) != strlen(last)); /* newest first */
        snprintf(last, sizeof last, "%s", text_at(one, "at"));
        if (!strcmp(what, "correction") && who && !strcmp(who, "Wilma"))
            seen |= 1, assert_string_equal(text_at(one, "subject"), "Odda");
        if (!strcmp(what, "key-revoked") && who && !strcmp(who, "Wilma"))
            seen |= 2;
        if (!strcmp(what, "key-revoked") && !who)
            seen |= 4; /* at the club's file */
        if (!strcmp(what, "member-added"))
            seen |= 8;
        if (!strcmp(what, "void"))
            seen |= 16, assert_string_equal(text_at(one, "detail"), "wrong tape");
        if (!strcmp(what, "unvoid"))
            seen |= 32;
        if (!strcmp(what, "key-rotated"))
            seen |= 64;
    }
    assert_int_equal(seen, 127);
    /* Page by page it is the same log. */
    size_t all = json_array_size(json_object_get(j, "entries")), paged = 0;
    char path[300] = "/api/journal?limit=3";
    while (*path) {
        json_t *page = expect(steward, "GET", path, NULL, 200);
        size_t n = json_array_size(json_object_get(page, "entries"));
        for (i = 0; i < n; i++)
            assert_true(
                json_equal(json_array_get(json_object_get(page, "entries"), i), json_array_get(json_object_get(j, "entries"), paged + i)));
        paged += n;
        snprintf(path, sizeof path, "%s", json_object_get(page, "next") ? text_at(page, "next") : "");
        json_decref(page);
    }
    assert_int_equal(paged, all);
    json_decref(j);
    must(odda, "GET", "/api/journal", NULL, 403);
    must(steward, "GET", "/api/journal?after=1.2", NULL, 400);
}

/* ---- a misentry ---- */

/* Until the model has learned of it. */
static json_t *wait_for_review(const char *id, bool there)
{
    for (int i = 0; i < 300; i++) {
        json_t *j = expect(odda, "GET", "/api/review", NULL, 200), *one;
        size_t k;
        json_t *found = NULL;
        json_array_foreach(json_object_get(j, "calibrations"), k, one) if (!strcmp(text_at(one, "id"), id) && text_at(one, "slip")) found =
            json_incref(one);
        json_decref(j);
        if ((found != NULL) == there)
            return found;
        json_decref(found);
        usleep(20000);
    }
    fail_msg("%s was %s among the misentries", id, there ? "never" : "for ever");
    return NULL;
}

static void a_misentry_is_found_and_its_slip_named(void **state)
{
    (void)state;
    char id[37], path[160], body[300];
    must(steward, "PUT", "/api/decks/steady", DECK, 201);
    for (unsigned n = 0; n < 30; n++) {
        uuid_of(100 + n, id);
        path_of(path, "/api/calibrations/%s", id);
        snprintf(body, sizeof body,
                 "{\"deck\":\"steady\",\"stock\":\"amber-one\",\"made_at\":\"2026-02-%02uT19:00:00Z\",\"bias\":%.1f,\"level\":%.1f,\"low_"
                 "db\":0,\"high_db\":0}",
                 1 + n % 28, 4 + 0.5 * (n % 3) - 0.5, -1 + 0.5 * (n % 2));
        must(odda, "PUT", path, body, 201);
    }
    uuid_of(200, id);
    path_of(path, "/api/calibrations/%s", id);
    must(odda, "PUT", path, ROW_ON("steady", "-4"), 201);
    json_t *found = wait_for_review(id, true);
    assert_non_null(strstr(text_at(found, "slip"), "other side of its zero"));
    assert_string_equal(text_at(found, "member"), "Odda");
    json_decref(found);
    path_of(path, "/api/review/%s", id);
    must(odda, "POST", path, "{\"verdict\":\"accept\"}", 403);
    must(steward, "POST", path, "{\"verdict\":\"reject\"}", 422);
    must(steward, "POST", path, "{\"verdict\":\"accept\"}", 204);
    assert_null(wait_for_review(id, false));
    must(steward, "POST", "/api/review/0190a3de-89ab-7def-8123-456789abcdef", "{\"verdict\":\"accept\"}", 404);
    /* Corrected once more it is another state, and is looked at anew. */
    char header[300];
    path_of(path, "/api/calibrations/%s", id);
    struct answer a = as(odda, "GET", path, NULL);
    snprintf(header, sizeof header, "%s\r\nIf-Match: %.90s", odda, a.etag);
    answer_free(&a);
    must(header, "PUT", path, ROW_ON("steady", "-4.5"), 200);
    json_decref(wait_for_review(id, true));
}

/* What the newest result of a pair moved: before, found and now, in dB of flat equivalents. */
static void the_last_result_of_a_pair(void **state)
{
    (void)state;
    char id[37], path[160];
    must(steward, "PUT", "/api/stocks/other-tape", "{\"name\":\"Other tape\",\"class\":\"type-1\"}", 201);
    json_t *j = expect(odda, "GET", "/api/last-result?deck=steady&stock=other-tape", NULL, 200);
    assert_true(json_is_null(json_object_get(j, "calibration")));
    json_decref(j);
    uuid_of(300, id);
    path_of(path, "/api/calibrations/%s", id);
    must(odda, "PUT", path,
         "{\"deck\":\"steady\",\"stock\":\"other-tape\",\"made_at\":\"2026-03-05T19:00:00Z\",\"bias\":-2,\"level\":1,\"low_db\":0,\"high_"
         "db\":0}",
         201);
    uuid_of(301, id); /* an older one, entered late, is not the last */
    path_of(path, "/api/calibrations/%s", id);
    must(odda, "PUT", path,
         "{\"deck\":\"steady\",\"stock\":\"other-tape\",\"made_at\":\"2026-03-04T19:00:00Z\",\"bias\":-1,\"level\":1,\"low_db\":0,\"high_"
         "db\":0}",
         201);
    json_t *moved = NULL;
    for (int i = 0; i < 1500 && !moved; i++) { /* until it was replayed, when all is quiet */
        j = expect(odda, "GET", "/api/last-result?deck=steady&stock=other-tape", NULL, 200);
        moved = json_object_get(j, "moved");
        if (!moved)
            json_decref(j), usleep(20000);
    }
    assert_non_null(moved);
    uuid_of(300, id);
    assert_string_equal(text_at(j, "calibration"), id);
    assert_string_equal(text_at(j, "member"), "Odda");
    assert_int_equal(json_integer_value(json_object_get(j, "later")), 1); /* the one of the form, made today */
    static const char *const responses[] = {"bias_db", "level_db"};
    for (int r = 0; r < 2; r++) {
        double before = json_number_value(json_object_get(json_object_get(j, "before"), responses[r]));
        double found = json_number_value(json_object_get(json_object_get(j, "found"), responses[r]));
        double now = json_number_value(json_object_get(json_object_get(j, "now"), responses[r]));
        assert_true(fabs(now - before - json_number_value(json_object_get(moved, responses[r]))) < 2e-4); /* four decimals each */
        assert_true(fabs(found - (r ? 0.5 : -1)) < 1e-4);              /* half a dB a mark, the tones level */
        assert_true(fabs(now - found) <= fabs(before - found) + 1e-4); /* it moved towards what was found */
    }
    json_decref(j);
    must(odda, "GET", "/api/last-result?deck=steady", NULL, 422);
    must(odda, "GET", "/api/last-result?deck=steady&stock=nowhere", NULL, 404);
    for (unsigned n = 300; n <= 301; n++) { /* out of the way of what follows */
        uuid_of(n, id);
        path_of(path, "/api/calibrations/%s/void", id);
        must(odda, "POST", path, "{\"reason\":\"was a test\"}", 200);
    }
    j = expect(odda, "GET", "/api/last-result?deck=steady&stock=other-tape", NULL, 200);
    assert_true(json_is_null(json_object_get(j, "calibration"))); /* void ones do not count */
    json_decref(j);
}

static void coverage_points_to_what_is_not_known(void **state)
{
    (void)state;
    must(steward, "PUT", "/api/decks/new-deck", DECK, 201);
    must(steward, "PUT", "/api/decks/big-reel", "{\"name\":\"Big reel\",\"medium\":\"reel\"}", 201);
    json_t *j = NULL;
    for (int i = 0; i < 200; i++) { /* until the model knows of the new deck */
        json_decref(j);
        j = expect(odda, "GET", "/api/coverage", NULL, 200);
        if (json_array_size(json_object_get(j, "decks")) == 4)
            break;
        usleep(20000);
    }
    json_t *first = json_array_get(json_object_get(j, "try_next"), 0);
    assert_string_equal(text_at(first, "deck"), "new-deck");
    assert_string_equal(text_at(first, "stock"), "amber-one");
    assert_true(json_number_value(json_object_get(first, "fall_percent")) > 10);
    size_t i;
    json_t *row;
    json_array_foreach(json_object_get(j, "rows"), i, row)
    {
        json_t *n = json_array_get(json_object_get(row, "results"), 0);
        const char *deck = text_at(row, "deck");
        if (!strcmp(deck, "steady"))
            assert_int_equal(json_integer_value(n), 31);
        else if (!strcmp(deck, "bench-one"))
            assert_int_equal(json_integer_value(n), 5);
        else if (!strcmp(deck, "new-deck"))
            assert_int_equal(json_integer_value(n), 0);
        else
            assert_true(json_is_null(n)); /* a cassette does not fit a reel machine */
    }
    json_decref(j);
}

/* ---- a spreadsheet: RFC 4180, with semicolons and decimal commas as declared ---- */

static void a_spreadsheet(void **state)
{
    (void)state;
    static const char sheet[] =
        "Kind;ID;Deck;Stock;Made_At;Bias;Level;low_db;high_db;Notes\r\n"
        "calibration;0190a3de-0000-7def-8123-000000000001;bench-one;amber-one;2026-03-02T10:00:00Z;1,5;-0,5;0,2;-0,1;\"said \"\"fine\"\"; "
        "again\"\r\n"
        "calibration;0190a3de-0000-7def-8123-000000000002;bench-one;amber-one;2026-03-02T10:00:00Z;1.5.2;0;0;0;\r\n"
        "calibration;0190a3de-0000-7def-8123-000000000003;bench-one;amber-one;2026-03-02T10:00:00Z;99;0;0;0;\r\n"
        "calibration;0190a3de-0000-7def-8123-000000000004;bench-one;amber-one;2026-03-02T10:00:00Z;2;0;0;0;'=1+1\r\n";
    char header[300];
    snprintf(header, sizeof header, "Content-Type: text/csv\r\n%s", steward);
    struct answer a = ask(&d, "POST", "/api/import?separator=semicolon&decimal_comma=1&dry_run=1", sheet, header);
    json_t *j = answer_json_of(&a);
    if (a.status != 200)
        fail_msg("%s", a.body);
    assert_int_equal(json_integer_value(json_object_get(j, "accepted")), 2);
    assert_int_equal(json_integer_value(json_object_get(j, "refused")), 2);
    json_t *one = json_array_get(json_object_get(j, "errors"), 0), *two = json_array_get(json_object_get(j, "errors"), 1);
    assert_int_equal(json_integer_value(json_object_get(one, "line")), 3);
    assert_string_equal(text_at(one, "field"), "bias");
    assert_int_equal(json_integer_value(json_object_get(two, "line")), 4);
    assert_string_equal(text_at(two, "field"), "bias");
    assert_string_equal(text_at(two, "code"), "outside-dial");
    json_decref(j);
    answer_free(&a);
    must(steward, "GET", "/api/calibrations/0190a3de-0000-7def-8123-000000000001", NULL, 404); /* it was a rehearsal */

    a = ask(&d, "POST", "/api/import?separator=semicolon&decimal_comma=1&atomic=1", sheet, header);
    assert_int_equal(a.status, 422);
    answer_free(&a);
    must(steward, "GET", "/api/calibrations/0190a3de-0000-7def-8123-000000000001", NULL, 404); /* all or none */

    a = ask(&d, "POST", "/api/import?separator=semicolon&decimal_comma=1", sheet, header);
    assert_int_equal(a.status, 200);
    answer_free(&a);
    j = expect(steward, "GET", "/api/calibrations/0190a3de-0000-7def-8123-000000000001", NULL, 200);
    assert_true(json_number_value(json_object_get(j, "bias")) == 1.5);
    assert_string_equal(text_at(j, "notes"), "said \"fine\"; again");
    json_decref(j);
    j = expect(steward, "GET", "/api/calibrations/0190a3de-0000-7def-8123-000000000004", NULL, 200);
    assert_string_equal(text_at(j, "notes"), "=1+1"); /* the apostrophe that keeps a spreadsheet from reckoning is taken off again */
    json_decref(j);
    j = expect(steward, "GET", "/api/journal?limit=1", NULL, 200);
    assert_string_equal(text_at(json_array_get(json_object_get(j, "entries"), 0), "what"), "import");
    json_decref(j);
}

/* ---- wrong keys ---- */

static void wrong_keys_are_slowed(void **state)
{
    (void)state;
    char strange[100], body[100];
    long got = 0;
    snprintf(strange, sizeof strange, "Authorization: Bearer bb1_%043d", 7);
    for (int i = 0; i < 2 * LIMIT_WRONG_KEYS && got != 429; i++) {
        struct answer a = as(strange, "GET", "/api/decks", NULL);
        got = a.status;
        assert_true(got == 401 || got == 429);
        if (got == 429)
            assert_true(strtol(a.retry_after, NULL, 10) >= 1);
        answer_free(&a);
    }
    assert_int_equal(got, 429);
    snprintf(body, sizeof body, "{\"key\":\"bb1_%043d\"}", 7); /* the same count for keys in a body */
    json_t *j = expect("", "POST", "/api/session", body, 429);
    json_decref(j);
    snprintf(body, sizeof body, "key=bb1_%043d", 7); /* and in a form */
    struct answer waits = post_form("/sign-in", body, "");
    assert_int_equal(waits.status, 429);
    assert_string_equal(waits.type, "text/html; charset=utf-8");
    answer_free(&waits);
    must(odda, "GET", "/api/decks", NULL, 200); /* whoever has a right one is not locked out by a neighbour */
    struct answer alive = as("", "GET", "/livez", NULL);
    assert_int_equal(alive.status, 200);
    answer_free(&alive);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_session_stands_for_its_key),
        cmocka_unit_test(a_form_signs_in),
        cmocka_unit_test(a_form_sent_without_a_key_comes_back),
        cmocka_unit_test(a_lost_laptop),
        cmocka_unit_test(revoked_at_the_file),
        cmocka_unit_test(scope_and_expiry),
        cmocka_unit_test(members_change),
        cmocka_unit_test(corrections_and_undo),
        cmocka_unit_test(the_log_tells_it),
        cmocka_unit_test(a_misentry_is_found_and_its_slip_named),
        cmocka_unit_test(coverage_points_to_what_is_not_known),
        cmocka_unit_test(a_spreadsheet),
        cmocka_unit_test(the_last_result_of_a_pair),
        cmocka_unit_test(wrong_keys_are_slowed),
    };
    return cmocka_run_group_tests(tests, start, stop);
}
