/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions with parameters of every kind: what is taken, what is refused and by which name; a tape and a batch that are not what their label says; the
 * other family of addresses.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon.h"
#include "trade/label.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct daemon d;

struct case_of {
    const char *path;
    int status;
    const char *says; /* in the body; a refusal's field */
};

#define UUID      "0190a3de-0000-7def-8123-000000000001"
#define LONG_SLUG "a-name-that-is-longer-than-any-short-name-may-be-and-yet-goes-on-and-on"

static const struct case_of cases[] = {
    {"/api/calibrations?limit=0", 422, "\"limit\""},
    {"/api/calibrations?limit=ten", 400, "\"limit\""},
    {"/api/calibrations?since=monday", 400, "\"since\""},
    {"/api/calibrations?since=2020-01-01T00:00:00%2B02:00&newest=true", 200, "["},
    {"/api/calibrations?since=&newest=false", 200, "["},
    {"/api/calibrations?since=now&newest=0", 200, "["},
    {"/api/calibrations?newest", 200, "["},
    {"/api/calibrations?newest=perhaps", 400, "\"newest\""},
    {"/api/calibrations?origin=own&limit=1", 200, "bias"},
    {"/api/calibrations?origin=elsewhere", 200, "["},
    {"/api/calibrations?after=-1", 400, "\"after\""},
    {"/api/calibrations?after=%2B1", 400, "\"after\""},
    {"/api/calibrations?after=1x", 400, "\"after\""},
    {"/api/calibrations?after=0", 400, "\"after\""},
    {"/api/calibrations?after=1111111111111111111111", 400, "\"after\""},
    {"/api/calibrations?after=", 200, "["},
    {"/api/calibrations?deck=nowhere", 404, "\"deck\""},
    {"/api/calibrations?stock=nowhere", 404, "\"stock\""},
    {"/api/calibrations?colour=red", 422, "\"colour\""},
    {"/api/calibrations/" UUID, 200, "\"bias\""},
    {"/api/calibrations/not-a-uuid", 400, "errors"},
    {"/api/decks/nowhere", 404, "errors"},
    {"/api/stocks/nowhere/statistics", 404, "errors"},
    {"/api/journal?after=1.2", 400, "\"after\""},
    {"/api/journal?after=1.2.", 400, "\"after\""},
    {"/api/journal?after=%201.2.3", 400, "\"after\""},
    {"/api/journal?after=1.99999999999.3", 400, "\"after\""},
    {"/api/journal?after=99999999999999999999.1.3", 400, "\"after\""},
    {"/api/journal?after=1.1.1", 200, "["},
    {"/api/suggestion", 422, "\"deck\""},
    {"/api/suggestion?deck=&stock=", 422, "\"stock\""},
    {"/api/suggestion?deck=d&stock=s&class=type-1", 422, "\"class\""},
    {"/api/suggestion?deck=d&stock=s&class=", 200, "\"words\""},
    {"/api/suggestion?deck=d&stock=&class=type-1", 200, "\"words\""},
    {"/api/suggestion?deck=d&class=type-9", 404, "\"class\""},
    {"/api/suggestion?deck=d&class=reel-standard", 422, "\"class\""},
    {"/api/suggestion?deck=d&stock=r", 422, "\"stock\""},
    {"/api/suggestion?deck=d&stock=s&position_s=1&position_part=0.5", 422, "position"},
    {"/api/suggestion?deck=d&stock=s&position_part=2", 422, "\"position_part\""},
    {"/api/suggestion?deck=d&stock=s&setup=slow", 404, "\"setup\""},
    {"/api/suggestion?deck=d&stock=s&recordings=-1", 422, "\"recordings\""},
    {"/api/suggestion?deck=d&stock=s&treble_db=nan", 400, "\"treble_db\""},
    {"/api/suggestion?deck=d&stock=s&treble_db=60", 422, "\"treble_db\""},
    {"/api/suggestion?deck=d&stock=s&channel=centre", 422, "\"channel\""},
    {"/api/suggestion?deck=d&stock=s&at=never", 400, "\"at\""},
    {"/api/decks/d/sheet?sort=colour", 422, "\"sort\""},
    {"/api/decks/d/sheet?sort=class&logged=1&recordings=2&treble_db=1", 200, "words"},
    {"/api/decks/d/sheet?sort=bias&logged=0", 200, "words"},
    {"/api/decks/d/sheet?sort=used", 200, "words"},
    {"/api/decks/d/sheet?sort=&setup=main", 200, "words"},
    {"/api/decks/d/centre?stocks=s,,t,s,", 200, "stocks"},
    {"/api/decks/d/centre?stocks=s,nowhere", 404, "\"stocks\""},
    {"/api/decks/d/centre?stocks=r", 422, "\"stocks\""},
    {"/api/decks/d/centre?stocks=" LONG_SLUG, 400, "\"stocks\""},
    {"/api/decks/d/centre", 200, "stocks"},
    {"/api/stocks/s/alike?deck=d&within_db=0.5", 200, "stocks"},
    {"/api/stocks/s/alike?deck=d&within_db=-1", 422, "\"within_db\""},
    {"/api/stocks/s/alike?deck=nowhere", 404, "\"deck\""},
    {"/api/stocks/s/alike", 200, "\"deck\""},
    {"/api/stocks/s/alike?deck=bare", 200, "stocks"},
    {"/charts/stocks/s.svg?response=level&width=400", 200, "</svg>"},
    {"/charts/stocks/s.svg?response=", 200, "</svg>"},
    {"/charts/stocks/s.svg?response=hue", 422, "\"response\""},
    {"/charts/decks/d.svg?kind=none", 422, "\"kind\""},
    {"/charts/decks/d.svg?width=1", 422, "\"width\""},
    {"/api/export?format=xml", 422, "\"format\""},
    {"/api/export?members=all", 422, "\"members\""},
    {"/api/export?members=none&deck=d", 200, "\"kind\":\"end\""},
    {"/api/export?members=&stock=s&exchange=1", 200, "\"kind\":\"end\""},
    {"/api/export?deck=d&stock=s&since=2025-01-01T00:00:00Z", 200, "\"kind\":\"end\""},
    {"/api/export?deck=nowhere", 404, "\"deck\""},
    {"/api/export?exchange=si", 400, "\"exchange\""},
    {"/api/members/0/keys", 404, "errors"},
    {"/api/members/1x/keys", 404, "errors"},
    {"/api/members/77/keys", 404, "errors"},
    {"/log?deck=d&stock=s", 200, "</html>"},
    {"/log?deck=nowhere", 200, "</html>"},
};

static void each_question(void **state)
{
    (void)state;
    int wrong = 0;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct answer a = ask(&d, "GET", cases[i].path, NULL, NULL);
        if (a.status != cases[i].status || !strstr(a.body, cases[i].says)) {
            print_message("%s: %ld instead of %d, %.300s\n", cases[i].path, a.status, cases[i].status, a.body);
            wrong++;
        }
        answer_free(&a);
    }
    assert_int_equal(wrong, 0);
}

static void import_as_csv(void **state)
{
    static const struct {
        const char *query, *body;
        int status;
        const char *says;
    } files[] = {
        {"separator=semicolon&decimal_comma=1", "kind;id;name;class;length_m\nstock;c-one;One;type-1;86,5\n", 200, "\"accepted\":1"},
        {"separator=;&decimal_comma=true", "kind;id;name;class;length_m\nstock;c-two;Two;type-1;86,5\n", 200, "\"accepted\":1"},
        {"separator=comma", "kind,id,name,class\nstock,c-three,Three,type-1\n", 200, "\"accepted\":1"},
        {"separator=,", "kind,id,name,class\nstock,c-three,Three,type-1\n", 200, "\"same\":1"},
        {"separator=tab", "kind,id\n", 422, "\"separator\""},
        {"on_conflict=win", "kind,id\n", 422, "\"on_conflict\""},
        {"as=deck", "kind,id\n", 422, "\"as\""},
        {"atomic=2", "kind,id\n", 400, "\"atomic\""},
        {"", "kind,id,name,class\nstock,c-four,Four,type-77\n", 200, "\"refused\":1"},
        {"atomic=1", "kind,id,name,class\nstock,c-five,Five,type-1\nstock,c-six,Six,type-77\n", 422, "\"accepted\":0"},
        {"on_conflict=keep", "kind,id,name,class\nstock,c-one,Other,type-2\n", 200, "\"kept\":1"},
        {"on_conflict=take", "kind,id,name,class\nstock,c-one,Other,type-2\n", 200, "\"accepted\":1"},
    };
    char path[120];
    (void)state;
    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        snprintf(path, sizeof path, "/api/import?%s", files[i].query);
        struct answer a = ask(&d, "POST", path, files[i].body, "Content-Type: text/csv");
        if (a.status != files[i].status || !strstr(a.body, files[i].says))
            fail_msg("%s: %ld %s", path, a.status, a.body);
        answer_free(&a);
    }
}

/* A tape and a batch of s that want as much more than the rest of it as Type IV does, each in four results. */
static void not_what_the_label_says(void **state)
{
    (void)state;
    struct answer a = {0};
    bool found = false;
    for (int i = 0; i < 100 && !found; i++) {
        a = ask(&d, "GET", "/api/stocks/s/statistics", NULL, NULL);
        assert_int_equal(a.status, 200);
        found = strstr(a.body, "\"name\":\"no. 7\"") && strstr(a.body, "\"name\":\"lot 9\"");
        if (!found) {
            answer_free(&a);
            usleep(100000);
        }
    }
    if (!found)
        fail_msg("neither the tape nor the batch is named");
    json_t *j = answer_json_of(&a), *label = json_object_get(j, "label");
    static const char *const lists[] = {"tapes", "batches"}, *const names[] = {"no. 7", "lot 9"};
    for (int k = 0; k < 2; k++) {
        json_t *list = json_object_get(label, lists[k]), *one = json_array_get(list, 0);
        assert_int_equal(json_array_size(list), 1);
        assert_string_equal(json_string_value(json_object_get(one, "name")), names[k]);
        assert_string_equal(json_string_value(json_object_get(one, "class")), "type-1");
        assert_string_equal(json_string_value(json_object_get(one, "rather")), "type-4");
        assert_true(json_number_value(json_object_get(one, "bias_apart_db")) > 0.6 * label_need_db(CLASS_TYPE_4));
        assert_true(json_number_value(json_object_get(one, "right")) < 0.5);
    }
    json_decref(j);
    answer_free(&a);
}

static void other_addresses(void **state)
{
    (void)state;
    struct daemon six;
    int status = 0;
    if (!daemon_try(&six, (const char *[]){"serve", "--db", scratch_path("six.db"), "--open", "--listen", "[::1]:0", NULL}, &status)) {
        print_message("this machine has no ::1\n");
        skip();
    }
    struct answer a = ask(&six, "GET", "/api/decks", NULL, NULL);
    assert_int_equal(a.status, 200);
    answer_free(&a);
    a = ask(&six, "POST", "/api/session", "{\"key\":\"bb1_nobodys\"}", NULL);
    assert_true(a.status >= 400 && a.status < 500);
    answer_free(&a);
    assert_int_equal(daemon_stop(&six), 0);
}

static int start(void **state)
{
    (void)state;
    char path[200];
    snprintf(path, sizeof path, "%s", scratch_path("rows.ndjson"));
    FILE *f = fopen(path, "w");
    if (!f)
        return 1;
    for (int i = 0; i < 2; i++)
        fprintf(f,
                "{\"kind\":\"deck\",\"id\":\"%s\",\"name\":\"Deck "
                "%d\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-12,\"high\":12,\"scale\":\"db\",\"db_per_unit\":1},"
                "\"level_dial\":{\"low\":-9,\"high\":9,\"scale\":\"db\",\"db_per_unit\":1}}\n",
                i ? "e" : "d", i);
    fputs("{\"kind\":\"deck\",\"id\":\"bare\",\"name\":\"No dials\",\"medium\":\"cassette\"}\n"
          "{\"kind\":\"stock\",\"id\":\"r\",\"name\":\"Reel\",\"class\":\"reel-standard\"}\n",
          f);
    for (int i = 0; i < 5; i++)
        fprintf(f, "{\"kind\":\"stock\",\"id\":\"%s\",\"name\":\"Stock %d\",\"class\":\"type-1\"}\n",
                (const char *[]){"s", "t", "u", "v", "w"}[i], i);
    for (int i = 0; i < 150; i++) {
        bool odd = i % 5 == 0 && i >= 110;
        fprintf(f,
                "{\"kind\":\"calibration\",\"id\":\"0190a3de-0000-7def-8123-00000000%04d\",\"deck\":\"%s\",\"stock\":\"%s\",\"made_at\":"
                "\"2026-02-%02dT19:00:00Z\","
                "\"bias\":%.2f,\"level\":%.2f,\"low_db\":0,\"high_db\":0,\"tape\":\"%s\",\"batch\":\"%s\"}\n",
                i, i % 2 ? "d" : "e", (const char *[]){"s", "t", "u", "v", "w"}[i % 5], 1 + i % 28,
                0.8 + (odd ? label_need_db(CLASS_TYPE_4) : 0) + 0.1 * (i % 3), 0.4 - 0.1 * (i % 4), odd ? (i % 10 ? "no. 7" : "") : "no. 1",
                odd && i % 10 == 0 ? "lot 9" : "lot 1");
    }
    if (fclose(f))
        return 1;
    const char *db = scratch_path("club.db");
    if (run_verb((const char *[]){"init", "--db", db, NULL}, NULL, 0) ||
        run_verb((const char *[]){"import", "--db", db, path, NULL}, NULL, 0) ||
        run_verb((const char *[]){"init", "--db", scratch_path("six.db"), NULL}, NULL, 0))
        return 1;
    daemon_start(&d, (const char *[]){"serve", "--db", db, "--open", "--listen", "127.0.0.1:0", NULL});
    return 0;
}

static int stop(void **state)
{
    (void)state;
    return daemon_stop(&d);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(not_what_the_label_says),
        cmocka_unit_test(each_question),
        cmocka_unit_test(import_as_csv),
        cmocka_unit_test(other_addresses),
    };
    return cmocka_run_group_tests_name("questions", tests, start, stop);
}
