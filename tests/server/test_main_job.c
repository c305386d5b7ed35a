/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The main job over sockets: a deck, a tape, a calibration go in; the next suggestion knows it. Corrections, voids, refusals, paging.
 * RFC 9110 (ETag 8.8.3, If-Match 13.1.1, HEAD 9.3.2), RFC 9457 (problem documents 3.1), RFC 8288 (Link 3), RFC 3339 (5.6).
 */
#include "daemon.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static struct daemon d;

#define DECK                                                                                                                               \
    "{\"name\":\"Bench one\",\"medium\":\"cassette\",\"heads\":3,"                                                                         \
    "\"bias_dial\":{\"unit\":\"mark\",\"low\":-5,\"high\":5,\"step\":0.5,\"zero\":0,\"plus\":\"more\",\"scale\":\"db\",\"db_per_unit\":0." \
    "5},"                                                                                                                                  \
    "\"level_dial\":{\"unit\":\"mark\",\"low\":-5,\"high\":5,\"step\":0.5,\"scale\":\"db\",\"db_per_unit\":0.5}}"
#define STOCK "{\"name\":\"Amber One\",\"class\":\"type-1\"}"
#define ROW(bias, level)                                                                                                                   \
    "{\"deck\":\"bench-one\",\"stock\":\"amber-one\",\"made_at\":\"2026-03-01T19:00:00+01:00\",\"bias\":" #bias ",\"level\":" #level       \
    ",\"low_db\":0.1,\"high_db\":-0.2}"

static int start(void **state)
{
    (void)state;
    const char *init[] = {"init", "--db", scratch_path("club.db"), NULL};
    assert_int_equal(run_verb(init, NULL, 0), 0);
    const char *serve[] = {"serve", "--db", scratch_path("club.db"), "--open", "--listen", "127.0.0.1:0", NULL};
    daemon_start(&d, serve);
    EXPECT(201, &d, "PUT", "/api/decks/bench-one", DECK);
    EXPECT(201, &d, "PUT", "/api/stocks/amber-one", STOCK);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    return daemon_stop(&d);
}

static json_t *get_json(const char *path)
{
    struct answer a = ask(&d, "GET", path, NULL, NULL);
    if (a.status != 200)
        print_message("%s: %s\n", path, a.body);
    assert_int_equal(a.status, 200);
    json_t *j = answer_json_of(&a);
    answer_free(&a);
    return j;
}

static double number_at(json_t *j, const char *one, const char *two)
{
    json_t *v = json_object_get(j, one);
    if (two)
        v = json_object_get(v, two);
    assert_true(json_is_number(v));
    return json_number_value(v);
}

static void wait_for(json_int_t seq)
{
    for (int i = 0; i < 400; i++) {
        json_t *m = get_json("/api/model");
        json_int_t as_of = json_integer_value(json_object_get(m, "as_of"));
        json_decref(m);
        if (as_of >= seq)
            return;
        usleep(10000);
    }
    fail_msg("change %lld never came into the model", (long long)seq);
}

static void test_before_any_row(void **state)
{
    (void)state;
    json_t *j = get_json("/api/suggestion?deck=bench-one&stock=amber-one");
    assert_string_equal(json_string_value(json_object_get(json_object_get(j, "basis"), "kind")), "no results");
    /* Nobody knows anything: the range is wide. Prior class sd alone is 1.5 dB. */
    assert_true(number_at(j, "bias", "se_db") > 1.5);
    json_decref(j);
}

static void test_logged_is_in_the_next_suggestion(void **state)
{
    (void)state;
    char id[37], path[100];
    uuid_of(1, id);
    snprintf(path, sizeof path, "/api/calibrations/%s", id);
    struct answer a = ask(&d, "PUT", path, ROW(3, -2), NULL);
    assert_int_equal(a.status, 201);
    assert_non_null(strstr(a.location, id));
    json_t *j = answer_json_of(&a);
    json_int_t seq = json_integer_value(json_object_get(j, "seq"));
    json_decref(j);
    answer_free(&a);
    wait_for(seq);

    j = get_json("/api/suggestion?deck=bench-one&stock=amber-one");
    assert_string_equal(json_string_value(json_object_get(json_object_get(j, "basis"), "kind")), "this pair");
    assert_int_equal(number_at(j, "basis", "pair"), 1);
    assert_true(number_at(j, "bias", "db") > 0.5 && number_at(j, "bias", "db") < 1.6); /* drawn towards 3 marks of 0.5 dB */
    assert_true(number_at(j, "level", "db") < 0);
    /* parts add up exactly; the dial agrees with the dB to half a step */
    double bias = 0;
    size_t i;
    json_t *part;
    json_array_foreach(json_object_get(j, "parts"), i, part) bias += json_number_value(json_object_get(part, "bias_db"));
    assert_true(fabs(bias - number_at(j, "bias", "db")) < 1e-9);
    assert_true(fabs(number_at(j, "bias", "dial") * 0.5 - number_at(j, "bias", "db")) <= 0.125 + 1e-9);
    assert_non_null(strstr(json_string_value(json_object_get(json_object_get(j, "bias"), "words")), "more bias"));
    json_decref(j);

    /* the same again: 200 and the row's own number */
    a = ask(&d, "PUT", path, ROW(3, -2), NULL);
    assert_int_equal(a.status, 200);
    j = answer_json_of(&a);
    assert_int_equal(json_integer_value(json_object_get(j, "seq")), seq);
    json_decref(j);
    answer_free(&a);
}

static void test_correct_and_void(void **state)
{
    (void)state;
    char id[37], path[100], header[140], void_path[120];
    uuid_of(2, id);
    snprintf(path, sizeof path, "/api/calibrations/%s", id);
    snprintf(void_path, sizeof void_path, "%s/void", path);
    struct answer a = ask(&d, "PUT", path, ROW(1, 0), NULL);
    assert_int_equal(a.status, 201);
    char etag[100];
    snprintf(etag, sizeof etag, "%s", a.etag);
    assert_true(etag[0] == '"');
    answer_free(&a);
    EXPECT(409, &d, "PUT", path, ROW(2, 0));
    a = ask(&d, "PUT", path, ROW(2, 0), "If-Match: \"nonsense\"");
    assert_int_equal(a.status, 412);
    answer_free(&a);
    snprintf(header, sizeof header, "If-Match: %s", etag);
    a = ask(&d, "PUT", path, ROW(2, 0), header);
    assert_int_equal(a.status, 200);
    json_t *j = answer_json_of(&a);
    assert_int_equal(json_integer_value(json_object_get(j, "revision")), 2);
    json_decref(j);
    assert_string_not_equal(a.etag, etag);
    answer_free(&a);
    j = get_json(path);
    assert_true(number_at(j, "bias", NULL) == 2);
    json_decref(j);
    EXPECT(200, &d, "POST", void_path, "{\"reason\":\"wrong tape in the deck\"}");
    j = get_json(path);
    assert_string_equal(json_string_value(json_object_get(json_object_get(j, "void"), "reason")), "wrong tape in the deck");
    json_decref(j);
    snprintf(header, sizeof header, "If-None-Match: %s", etag);
    a = ask(&d, "GET", path, NULL, header);
    assert_int_equal(a.status, 200); /* that ETag is of a state that is gone */
    snprintf(header, sizeof header, "If-None-Match: %s", a.etag);
    answer_free(&a);
    a = ask(&d, "GET", path, NULL, header);
    assert_int_equal(a.status, 304);
    answer_free(&a);
}

static void expect_fault(const char *method, const char *path, const char *body, long status, const char *field)
{
    struct answer a = ask(&d, method, path, body, NULL);
    if (a.status != status || !strstr(a.body, field))
        print_message("%s %s: %ld %s\n", method, path, a.status, a.body);
    assert_int_equal(a.status, status);
    assert_string_equal(a.type, "application/problem+json");
    json_t *j = answer_json_of(&a);
    assert_int_equal(json_integer_value(json_object_get(j, "status")), status);
    assert_true(json_is_string(json_object_get(j, "title")) && json_is_string(json_object_get(j, "type")));
    bool found = false;
    size_t i;
    json_t *e;
    json_array_foreach(json_object_get(j, "errors"), i, e)
    {
        found = found || !strcmp(json_string_value(json_object_get(e, "field")), field);
        assert_true(json_is_string(json_object_get(e, "code")) && strlen(json_string_value(json_object_get(e, "detail"))) > 5);
    }
    if (!found)
        print_message("no error names '%s': %s\n", field, a.body);
    assert_true(found);
    json_decref(j);
    answer_free(&a);
}

static void test_bad_bodies_name_the_field(void **state)
{
    (void)state;
    const char *path = "/api/calibrations/0b9c4c1e-5d8e-4f7a-9c3b-7d2f1a6e8b90";
    expect_fault("PUT", path, "{", 400, "");
    expect_fault("PUT", path, ROW(9, 0), 422, "bias");
    expect_fault("PUT", path, "{\"deck\":\"bench-one\",\"stock\":\"amber-one\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":1}", 422,
                 "level");
    expect_fault("PUT", path, "{\"deck\":\"nobody\",\"stock\":\"amber-one\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":1,\"level\":0}",
                 422, "deck");
    expect_fault("PUT", path, "{\"deck\":\"bench-one\",\"stock\":\"amber-one\",\"made_at\":\"yesterday\",\"bias\":1,\"level\":0}", 422,
                 "made_at");
    expect_fault("PUT", path,
                 "{\"deck\":\"bench-one\",\"stock\":\"amber-one\",\"made_at\":\"2126-03-01T19:00:00Z\",\"bias\":1,\"level\":0}", 422,
                 "made_at");
    expect_fault("PUT", path,
                 "{\"deck\":\"bench-one\",\"stock\":\"amber-one\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":1,\"level\":0,\"bais\":2}",
                 422, "bais");
    expect_fault(
        "PUT", path,
        "{\"deck\":\"bench-one\",\"stock\":\"amber-one\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":1,\"level\":0,\"low_db\":0.5}", 422,
        "high_db");
    expect_fault("PUT", "/api/calibrations/not-a-uuid", ROW(1, 1), 400, "id");
    expect_fault("PUT", "/api/decks/Bad_Slug", DECK, 422, "id");
    expect_fault("PUT", "/api/stocks/new-one", "{\"name\":\"New\",\"class\":\"type-9\"}", 422, "class");
    expect_fault("GET", "/api/suggestion?deck=nobody&stock=amber-one", NULL, 404, "deck");
    expect_fault("GET", "/api/suggestion?deck=bench-one&stock=nothing", NULL, 404, "stock");
    expect_fault("GET", "/api/suggestion?deck=bench-one", NULL, 422, "stock");
    expect_fault("GET", "/api/suggestion?deck=bench-one&stock=amber-one&recordings=lots", NULL, 400, "recordings");
    expect_fault("GET", "/api/suggestion?deck=bench-one&class=reel-standard", NULL, 422, "class");
    expect_fault("GET", "/api/calibrations?limit=0", NULL, 422, "limit");
    EXPECT(404, &d, "GET", path, NULL); /* nothing of it was kept */
}

static void test_pages_neither_repeat_nor_hide(void **state)
{
    (void)state;
    for (unsigned i = 100; i < 123; i++) {
        char id[37], path[100];
        uuid_of(i, id);
        snprintf(path, sizeof path, "/api/calibrations/%s", id);
        EXPECT(201, &d, "PUT", path, ROW(0.5, 0.5));
    }
    char path[4200] = "/api/calibrations?deck=bench-one&limit=5";
    int seen = 0, pages = 0;
    json_int_t last = 0;
    while (path[0] && ++pages < 30) {
        struct answer a = ask(&d, "GET", path, NULL, NULL);
        assert_int_equal(a.status, 200);
        json_t *j = answer_json_of(&a), *row;
        size_t i;
        json_array_foreach(json_object_get(j, "calibrations"), i, row)
        {
            json_int_t seq = json_integer_value(json_object_get(row, "seq"));
            assert_true(seq > last);
            last = seq;
            seen++;
        }
        json_decref(j);
        path[0] = 0;
        char *from = strchr(a.link, '<'), *to = strchr(a.link, '>');
        if (from && to) {
            assert_non_null(strstr(to, "rel=\"next\""));
            for (from++; !strncmp(from, "../", 3); from += 3) /* relative to this address: see http/relative.c */
                ;
            snprintf(path, sizeof path, "/%.*s", (int)(to - from), from);
        }
        answer_free(&a);
    }
    assert_true(seen >= 25 && pages >= 5);
}

static void test_head_and_health(void **state)
{
    (void)state;
    EXPECT(200, &d, "GET", "/livez", NULL);
    EXPECT(200, &d, "GET", "/readyz", NULL);
    EXPECT(200, &d, "GET", "/", NULL);
    EXPECT(405, &d, "DELETE", "/api/decks/bench-one", NULL);
    EXPECT(404, &d, "GET", "/api/nowhere", NULL);
    struct answer a = ask(&d, "HEAD", "/api/decks/bench-one", NULL, NULL);
    assert_int_equal(a.status, 200);
    assert_int_equal(a.length, 0);
    assert_true(a.etag[0] == '"');
    answer_free(&a);
}

static void test_services_checks_classes(void **state)
{
    (void)state;
    json_t *j = get_json("/api/classes");
    assert_int_equal(json_array_size(json_object_get(j, "classes")), 7);
    json_decref(j);
    const char *path = "/api/decks/bench-one/services/7d0f9d1a-3c55-4d0e-8a49-0a6a9e6b1c11";
    EXPECT(201, &d, "PUT", path, "{\"made_at\":\"2026-02-01T10:00:00Z\",\"kind\":\"belts\",\"notes\":\"both\"}");
    EXPECT(200, &d, "PUT", path, "{\"made_at\":\"2026-02-01T10:00:00Z\",\"kind\":\"belts\",\"notes\":\"both\"}");
    expect_fault("PUT", path, "{\"made_at\":\"2026-02-01T10:00:00Z\",\"kind\":\"prayers\"}", 422, "kind");
    EXPECT(201, &d, "PUT", "/api/decks/bench-one/checks/7d0f9d1a-3c55-4d0e-8a49-0a6a9e6b1c12",
           "{\"made_at\":\"2026-02-01T10:00:00Z\",\"kind\":\"playback\",\"low_db\":0.1,\"high_db\":-0.4}");
    j = get_json("/api/decks/bench-one/services");
    assert_int_equal(json_array_size(json_object_get(j, "services")), 1);
    json_decref(j);
    j = get_json("/api/decks/bench-one/checks");
    assert_int_equal(json_array_size(json_object_get(j, "checks")), 1);
    json_decref(j);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_before_any_row),
        cmocka_unit_test(test_logged_is_in_the_next_suggestion),
        cmocka_unit_test(test_correct_and_void),
        cmocka_unit_test(test_bad_bodies_name_the_field),
        cmocka_unit_test(test_pages_neither_repeat_nor_hide),
        cmocka_unit_test(test_head_and_health),
        cmocka_unit_test(test_services_checks_classes),
    };
    return cmocka_run_group_tests_name("the main job over sockets", tests, start, stop);
}
