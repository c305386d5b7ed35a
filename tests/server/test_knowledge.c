/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the daemon knows of decks and tapes, over sockets: an empty club, a small one that can be checked by hand, and the demo, whose deck that jumps and whose stock that is
 * not what its label says must be found, and nothing else.
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

static struct daemon small, demo;

#define DECK                                                                                                                               \
    "{\"name\":\"Bench one\",\"medium\":\"cassette\",\"heads\":3,"                                                                         \
    "\"bias_dial\":{\"unit\":\"mark\",\"low\":-5,\"high\":5,\"step\":0.5,\"zero\":0,\"plus\":\"more\",\"scale\":\"db\",\"db_per_unit\":0." \
    "5},"                                                                                                                                  \
    "\"level_dial\":{\"unit\":\"mark\",\"low\":-5,\"high\":5,\"step\":0.5,\"scale\":\"db\",\"db_per_unit\":0.5}}"

static json_t *get(const struct daemon *d, const char *path)
{
    struct answer a = ask(d, "GET", path, NULL, NULL);
    if (a.status != 200)
        print_message("%s: %s\n", path, a.body);
    assert_int_equal(a.status, 200);
    json_t *j = answer_json_of(&a);
    answer_free(&a);
    return j;
}

/* "bias.db": members one in the other. */
static json_t *at(json_t *j, const char *path)
{
    char part[40];
    while (*path) {
        size_t n = strcspn(path, ".");
        assert_true(n < sizeof part);
        snprintf(part, sizeof part, "%.*s", (int)n, path);
        j = json_object_get(j, part);
        if (!j)
            fail_msg("no member %s", part);
        path += n + (path[n] == '.');
    }
    return j;
}
static double number(json_t *j, const char *path)
{
    json_t *v = at(j, path);
    if (!json_is_number(v))
        fail_msg("%s is no number", path);
    return json_number_value(v);
}
static const char *text(json_t *j, const char *path)
{
    const char *t = json_string_value(at(j, path));
    assert_non_null(t);
    return t;
}
static size_t size(json_t *j, const char *path)
{
    assert_true(json_is_array(at(j, path)));
    return json_array_size(at(j, path));
}

static void wait_for_all(const struct daemon *d, json_int_t rows)
{
    for (int i = 0; i < 600; i++) {
        json_t *m = get(d, "/api/model");
        bool there = json_integer_value(json_object_get(m, "calibrations")) >= rows && json_is_string(json_object_get(m, "fitted_at"));
        json_decref(m);
        if (there)
            return;
        usleep(100000);
    }
    fail_msg("the model never held %d rows", (int)rows);
}

static int start_small(void **state)
{
    (void)state;
    const char *init[] = {"init", "--db", scratch_path("small.db"), NULL};
    assert_int_equal(run_verb(init, NULL, 0), 0);
    const char *serve[] = {"serve", "--db", scratch_path("small.db"), "--open", "--listen", "127.0.0.1:0", NULL};
    daemon_start(&small, serve);
    EXPECT(201, &small, "PUT", "/api/decks/bench-one", DECK);
    EXPECT(201, &small, "PUT", "/api/stocks/amber", "{\"name\":\"Amber\",\"class\":\"type-1\",\"sheet_bias_db\":0.5}");
    EXPECT(201, &small, "PUT", "/api/stocks/cedar", "{\"name\":\"Cedar\",\"class\":\"type-2\"}");
    EXPECT(201, &small, "PUT", "/api/stocks/spool", "{\"name\":\"Spool\",\"class\":\"reel-standard\"}");
    return 0;
}
static int stop_small(void **state)
{
    (void)state;
    return daemon_stop(&small);
}
static int start_demo(void **state)
{
    (void)state;
    const char *serve[] = {"demo", "--listen", "127.0.0.1:0", NULL};
    daemon_start(&demo, serve);
    wait_for_all(&demo, 1000);
    return 0;
}
static int stop_demo(void **state)
{
    (void)state;
    return daemon_stop(&demo);
}

/* ---- an empty club ---- */

static void nothing_logged(void **state)
{
    (void)state;
    json_t *j = get(&small, "/api/stocks/amber/statistics");
    assert_int_equal(number(j, "calibrations"), 0);
    assert_int_equal(number(j, "decks"), 0);
    assert_true(number(j, "bias.se_db") > 0.8); /* nobody knows: the prior's own width */
    assert_true(number(j, "bias.tape_sd_db") > 0);
    assert_true(json_is_null(at(j, "bias.median_db")) && json_is_null(at(j, "settled_part")) && json_is_null(at(j, "label.stock")));
    assert_true(number(j, "sheet.bias.said_db") == 0.5 && json_is_null(at(j, "sheet.bias.found_db")));
    json_decref(j);
    j = get(&small, "/api/decks/bench-one/trend");
    assert_int_equal(size(j, "points") + size(j, "signals") + size(j, "eras"), 0);
    assert_true(number(j, "per_year_db.bias") == 0);
    json_decref(j);
    j = get(&small, "/api/decks/bench-one/hints");
    assert_true(json_is_null(at(j, "case")));
    assert_string_equal(text(j, "verdict"), "cannot tell yet");
    assert_true(strlen(text(j, "would_tell")) > 0);
    assert_int_equal(size(j, "hints"), 0);
    json_decref(j);
    j = get(&small, "/api/decks/bench-one/centre");
    assert_int_equal(size(j, "stocks"), 0);
    json_decref(j);
    j = get(&small, "/api/decks/bench-one/sheet");
    assert_int_equal(size(j, "rows"), 2); /* not the open reel */
    json_decref(j);
    j = get(&small, "/api/decks/bench-one/sheet?logged=1");
    assert_int_equal(size(j, "rows"), 0);
    json_decref(j);
    static const char *const also[] = {"/api/decks/bench-one/statistics", "/api/stocks/amber/sheet", "/api/stocks/amber/alike",
                                       "/api/stocks/spool/statistics", NULL};
    for (int i = 0; also[i]; i++)
        json_decref(get(&small, also[i]));
    static const char *const drawings[] = {"/charts/stocks/amber.svg",
                                           "/charts/stocks/amber.svg?kind=time",
                                           "/charts/stocks/amber.svg?kind=alike",
                                           "/charts/decks/bench-one.svg",
                                           "/charts/decks/bench-one.svg?kind=classes&response=level",
                                           "/charts/decks/bench-one.svg?kind=services&width=300",
                                           NULL};
    for (int i = 0; drawings[i]; i++)
        EXPECT(200, &small, "GET", drawings[i], NULL);
}

static void refusals(void **state)
{
    (void)state;
    static const struct {
        const char *path;
        long status;
        const char *field;
    } cases[] = {
        {"/api/stocks/nobody/statistics", 404, "stock"},
        {"/api/stocks/amber/statistics?deck=bench-one", 422, "deck"}, /* no such parameter */
        {"/api/stocks/nobody/alike", 404, "stock"},
        {"/api/stocks/amber/alike?deck=nobody", 404, "deck"},
        {"/api/stocks/amber/alike?within_db=abc", 400, "within_db"},
        {"/api/stocks/amber/alike?within_db=0", 422, "within_db"},
        {"/api/stocks/spool/alike", 422, "deck"}, /* no deck takes it */
        {"/api/stocks/spool/alike?deck=bench-one", 422, "deck"},
        {"/api/decks/nobody/trend", 404, "deck"},
        {"/api/decks/nobody/sheet", 404, "deck"},
        {"/api/decks/bench-one/sheet?sort=colour", 422, "sort"},
        {"/api/decks/bench-one/sheet?setup=slow", 404, "setup"},
        {"/api/stocks/amber/sheet?setup=slow", 422, "setup"},
        {"/api/decks/nobody/centre", 404, "deck"},
        {"/api/decks/bench-one/centre?stocks=amber,nobody", 404, "stocks"},
        {"/api/decks/bench-one/centre?stocks=amber,spool", 422, "stocks"},
        {"/api/decks/bench-one/hints?calibration=7", 400, "calibration"},
        {"/api/decks/bench-one/hints?calibration=11111111-1111-4111-8111-111111111111", 404, "calibration"},
        {"/charts/stocks/nobody.svg", 404, "stock"},
        {"/charts/stocks/amber.svg?kind=pie", 422, "kind"},
        {"/charts/decks/bench-one.svg?response=treble", 422, "response"},
        {"/charts/decks/bench-one.svg?width=10", 422, "width"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct answer a = ask(&small, "GET", cases[i].path, NULL, NULL);
        if (a.status != cases[i].status)
            print_message("%s: %ld %s\n", cases[i].path, a.status, a.body);
        assert_int_equal(a.status, cases[i].status);
        assert_string_equal(a.type, "application/problem+json");
        json_t *j = answer_json_of(&a);
        assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(j, "errors"), 0), "field")), cases[i].field);
        json_decref(j);
        answer_free(&a);
    }
}

/* ---- a club that can be checked by hand ---- */

static void put(unsigned n, const char *stock, const char *tape, double bias, double level, const char *more)
{
    char id[37], path[80], body[600];
    uuid_of(n, id);
    snprintf(path, sizeof path, "/api/calibrations/%s", id);
    snprintf(body, sizeof body,
             "{\"deck\":\"bench-one\",\"stock\":\"%s\",%s%s%s\"made_at\":\"2026-03-%02uT19:00:00+01:00\",\"bias\":%g,\"level\":%g,\"low_"
             "db\":0,\"high_db\":0%s}",
             stock, tape ? "\"tape\":\"" : "", tape ? tape : "", tape ? "\"," : "", n, bias, level, more);
    EXPECT(201, &small, "PUT", path, body);
}

static void by_hand(void **state)
{
    (void)state;
    put(1, "amber", "one", 1, -1, ",\"unsteady_db\":0.4");
    put(2, "amber", "one", 2, -1, ",\"unsteady_db\":0.6");
    put(3, "amber", "two", 3, 0, ",\"unsteady_db\":1.4,\"peak_db\":4");
    put(4, "amber", NULL, 4, 1, ",\"settled\":false");
    put(5, "amber", NULL, -4, 4, ",\"noise_reduction\":true");
    put(6, "cedar", "one", 0, 0, "");
    wait_for_all(&small, 6);
    json_t *j = get(&small, "/api/stocks/amber/statistics");
    assert_int_equal(number(j, "calibrations"), 5);
    assert_int_equal(number(j, "left_out"), 2);
    assert_int_equal(number(j, "decks"), 1);
    assert_int_equal(number(j, "tapes"), 2); /* cedar's "one" is another */
    assert_true(fabs(number(j, "settled_part") - 0.8) < 1e-9);
    assert_true(fabs(number(j, "unsteady_db") - 0.6) < 1e-9);
    assert_true(number(j, "peak_db") == 4);
    assert_int_equal(number(j, "bias.calibrations"), 3);
    /* flat readings: the flat equivalent is the setting, 0.5 dB a mark; medians of 1, 2, 3 and −1, −1, 0 marks */
    assert_true(fabs(number(j, "bias.median_db") - 1.0) < 1e-6);
    assert_true(fabs(number(j, "level.median_db") + 0.5) < 1e-6);
    assert_true(number(j, "bias.db") > 0 && number(j, "level.db") < 0);
    assert_int_equal(size(j, "results"), 5);
    assert_string_equal(text(json_array_get(at(j, "results"), 0), "left_out"), "noise reduction");
    assert_string_equal(text(json_array_get(at(j, "results"), 1), "left_out"), "did not settle");
    assert_int_equal(size(j, "on_decks"), 1);
    json_decref(j);

    EXPECT(200, &small, "POST", "/api/calibrations/9e3779b1-0001-4000-8000-000000000001/void", "{\"reason\":\"wrong deck\"}");
    j = get(&small, "/api/stocks/amber/statistics");
    assert_int_equal(number(j, "calibrations"), 4);
    json_decref(j);
}

/* The sheet says what the suggestion says, in the order asked for. */
static void sheet_is_suggestion(void **state) /* before there are more stocks */
{
    (void)state;
    json_t *sheet = get(&small, "/api/decks/bench-one/sheet?sort=name");
    assert_string_equal(text(json_array_get(at(sheet, "rows"), 0), "stock"), "amber");
    assert_string_equal(text(json_array_get(at(sheet, "rows"), 1), "stock"), "cedar");
    json_t *s = get(&small, "/api/suggestion?deck=bench-one&stock=cedar");
    json_t *row = json_array_get(at(sheet, "rows"), 1);
    assert_true(number(row, "bias.dial") == number(s, "bias.dial"));
    assert_string_equal(text(row, "level.words"), text(s, "level.words"));
    json_decref(s);
    json_decref(sheet);
    sheet = get(&small, "/api/decks/bench-one/sheet?sort=bias");
    json_t *first = json_array_get(at(sheet, "rows"), 0), *second = json_array_get(at(sheet, "rows"), 1);
    assert_true(number(first, "bias.db") <= number(second, "bias.db"));
    json_decref(sheet);
}

/* ---- tape or deck ---- */

static unsigned rows = 100;

static void log_row(char id[37], int deck, int stock, const char *tape, double bias_db)
{
    char path[80], body[500];
    uuid_of(++rows, id);
    snprintf(path, sizeof path, "/api/calibrations/%s", id);
    snprintf(body, sizeof body,
             "{\"deck\":\"d%d\",\"stock\":\"s%d\",\"tape\":\"%s\",\"made_at\":\"2026-04-%02uT%02u:00:00Z\",\"bias\":%.1f,\"level\":0,\"low_"
             "db\":0,\"high_db\":0}",
             deck, stock, tape, 1 + (rows - 100) / 20, 1 + (rows - 100) % 20, round(bias_db / 0.5 * 2) / 2);
    EXPECT(201, &small, "PUT", path, body);
}

/* Four decks and four stocks that agree; then one cassette that wants 1.5 dB less wherever it is played, and one as far off that was played on one deck only. */
static void tape_or_deck(void **state)
{
    (void)state;
    static const double deck[4] = {0, 0.5, -0.5, 0.25}, stock[4] = {0, 0.5, -0.5, 1};
    char id[37], bad[37], lone[37], path[140], tape[32];
    for (int d = 0; d < 4; d++) {
        snprintf(path, sizeof path, "/api/decks/d%d", d);
        EXPECT(201, &small, "PUT", path, DECK);
        snprintf(path, sizeof path, "/api/stocks/s%d", d);
        EXPECT(201, &small, "PUT", path, "{\"name\":\"Plain\",\"class\":\"type-1\"}");
    }
    for (int round = 0; round < 3; round++)
        for (int d = 0; d < 4; d++)
            for (int k = 0; k < 4; k++) {
                snprintf(tape, sizeof tape, "%d-%d", k, round);
                log_row(id, d, k, tape, deck[d] + stock[k] + (round - 1) * 0.25 * ((d + k) % 2 ? 1 : -1));
            }
    for (int d = 1; d < 4; d++)
        log_row(id, d, 0, "bad", deck[d] - 1.5);
    log_row(bad, 0, 0, "bad", -1.5);
    log_row(lone, 0, 1, "lone", 0.5 - 1.5);
    wait_for_all(&small, rows - 100);
    snprintf(path, sizeof path, "/api/decks/d0/hints?calibration=%s", bad);
    json_t *h = get(&small, path);
    assert_string_equal(text(h, "verdict"), "tape");
    assert_string_equal(text(h, "scope"), "this tape");
    assert_true(fabs(number(h, "size_db.bias") + 1.5) < 0.5);
    json_t *first = json_array_get(at(h, "hints"), 0);
    assert_string_equal(text(first, "code"), "only-this-tape");
    assert_int_equal(size(first, "rests_on"), 4);
    json_decref(h);
    snprintf(path, sizeof path, "/api/decks/d0/hints?calibration=%s", lone);
    h = get(&small, path);
    assert_string_not_equal(text(h, "verdict"), "tape"); /* played on this deck only: nobody can know */
    assert_string_not_equal(text(h, "verdict"), "deck");
    json_decref(h);
}

/* ---- the demo ---- */

static void the_deck_that_jumps(void **state)
{
    (void)state;
    json_t *decks = get(&demo, "/api/decks?limit=500"), *deck;
    size_t i, k;
    int signals = 0;
    json_array_foreach(at(decks, "decks"), i, deck)
    {
        char path[120];
        const char *id = text(deck, "id");
        snprintf(path, sizeof path, "/api/decks/%s/trend", id);
        json_t *t = get(&demo, path), *s;
        json_array_foreach(at(t, "signals"), k, s)
        {
            if (strcmp(id, "attic-k71"))
                print_message("%s: %s %.2f since %s\n", id, text(s, "response"), number(s, "size_db"), text(s, "since"));
            signals++;
        }
        if (!strcmp(id, "attic-k71")) { /* its bias rose by 0.9 dB on 2025-11-19: it wants as much less */
            assert_int_equal(size(t, "signals"), 1);
            s = json_array_get(at(t, "signals"), 0);
            assert_string_equal(text(s, "response"), "bias");
            assert_true(fabs(number(s, "size_db") + 0.9) <= 0.4);
            assert_true(strcmp(text(s, "after"), "2025-11-19") < 0 && strcmp(text(s, "since"), "2025-11-19") > 0);
            assert_string_equal(text(s, "half.verdict"), "record"); /* playback checks stayed, the control tape fell */
            assert_int_equal(size(t, "eras"), 2);
        }
        json_decref(t);
    }
    json_decref(decks);
    assert_true(signals <= 3); /* sixteen decks, fifteen of them without a change that was not written down */
    json_t *h = get(&demo, "/api/decks/attic-k71/hints");
    assert_string_equal(text(h, "verdict"), "deck");
    assert_true(number(h, "odds") > 9);
    json_t *first = json_array_get(at(h, "hints"), 0);
    assert_string_equal(text(first, "code"), "treble-low-on-every-tape");
    assert_true(size(first, "checks") >= 3 && size(first, "rests_on") >= 10);
    char path[120];
    snprintf(path, sizeof path, "/api/calibrations/%s", json_string_value(json_array_get(at(first, "rests_on"), 0)));
    json_decref(get(&demo, path)); /* evidence that can be looked up */
    json_decref(h);
}

static void a_service_before_and_after(void **state)
{
    (void)state;
    json_t *j = get(&demo, "/api/decks/club-bench/statistics"), *s;
    size_t i;
    int seen = 0;
    json_array_foreach(at(j, "services"), i, s)
    {
        if (strcmp(text(s, "kind"), "realigned") && strcmp(text(s, "kind"), "heads-replaced"))
            continue;
        /* presets moved by −0.7 and +0.8 dB with treble 0.4 and 0.5: the interval must leave out 0 */
        double low = number(s, "bias.low90_db"), high = number(s, "bias.high90_db");
        assert_true(low * high > 0 && high - low < 1.0);
        assert_true(number(s, "before") >= 10 && number(s, "after") >= 10);
        seen++;
    }
    assert_int_equal(seen, 2);
    assert_true(number(j, "settled_part") > 0.5 && number(j, "settled_part") <= 1);
    assert_int_equal(size(j, "classes"), 4);
    json_decref(j);
}

static void the_stock_that_is_not_what_it_says(void **state)
{
    (void)state;
    json_t *stocks = get(&demo, "/api/stocks?limit=500"), *stock;
    size_t i;
    int doubted = 0, things = 0;
    json_array_foreach(at(stocks, "stocks"), i, stock)
    {
        char path[160];
        snprintf(path, sizeof path, "/api/stocks/%s/statistics", text(stock, "id"));
        json_t *j = get(&demo, path), *label = at(j, "label");
        bool doubtful = json_is_object(at(label, "stock")) && json_is_true(at(label, "stock.doubtful"));
        if (!strcmp(text(stock, "id"), "velnar-chrome-90")) {
            assert_true(doubtful);
            assert_true(number(label, "stock.right") < 0.4 && number(label, "stock.odds") > 1);
            assert_string_equal(text(label, "stock.rather"), "type-1");
        } else if (doubtful) {
            print_message("%s is doubted: %.2f\n", text(stock, "id"), number(label, "stock.right"));
        }
        doubted += doubtful;
        things += (int)(size(label, "batches") + size(label, "tapes"));
        assert_true(number(j, "bias.tape_sd_db") < 1 && number(j, "level.tape_sd_db") < 1);
        json_decref(j);
    }
    json_decref(stocks);
    assert_int_equal(doubted, 1);
    assert_true(things <= 3); /* some six hundred tapes and batches */
}

/* What alike says agrees with what the suggestions say. */
static void alike_agrees(void **state)
{
    (void)state;
    json_t *j = get(&demo, "/api/stocks/ostrel-f-90/alike?deck=club-bench&within_db=0.5&all=1"), *one;
    json_t *own = get(&demo, "/api/suggestion?deck=club-bench&stock=ostrel-f-90");
    double last = 1;
    size_t i;
    int near = 0;
    json_array_foreach(at(j, "stocks"), i, one)
    {
        char path[160];
        snprintf(path, sizeof path, "/api/suggestion?deck=club-bench&stock=%s", text(one, "stock"));
        json_t *s = get(&demo, path);
        assert_true(fabs(number(one, "bias_apart_db") - (number(s, "bias.db") - number(own, "bias.db"))) < 0.002);
        assert_true(fabs(number(one, "level_apart_db") - (number(s, "level.db") - number(own, "level.db"))) < 0.002);
        bool within = fabs(number(one, "bias_apart_db")) <= 0.5 && fabs(number(one, "level_apart_db")) <= 0.5;
        assert_int_equal(json_is_true(at(one, "alike")), within);
        assert_true(number(one, "chance") >= 0 && number(one, "chance") <= last);
        last = number(one, "chance");
        near += within;
        json_decref(s);
    }
    assert_true(near >= 1);
    json_decref(j);
    json_decref(own);
    j = get(&demo, "/api/stocks/ostrel-f-90/alike?deck=club-bench&within_db=0.5");
    assert_int_equal(size(j, "stocks"), near);
    json_decref(j);
}

/* The deck with the shortest dial and the tapes that differ most: a shift that keeps most, and what is left out told with what it costs. */
static void the_inside_preset(void **state)
{
    (void)state;
    json_t *j = get(&demo, "/api/decks/perrin-kitchen/centre?stocks=ostrel-f-90,velnar-chrome-90,velnar-c-90,pellorin-basic-90"), *one;
    size_t i, inside = 0;
    double shift = number(j, "bias.shift_db");
    assert_true(json_is_null(at(j, "level"))); /* it has no level dial */
    assert_int_equal(size(j, "stocks"), 4);
    json_array_foreach(at(j, "stocks"), i, one)
    {
        double after = number(one, "bias.db") - shift;
        bool in = after >= -1.5 - 0.01 && after <= 1.5 + 0.01; /* ±1.5 marks of 1 dB */
        assert_int_equal(json_is_true(at(one, "bias.inside")), in);
        inside += in;
    }
    assert_int_equal(number(j, "bias.inside"), inside);
    assert_int_equal(size(j, "left_out"), 4 - inside);
    assert_true(inside >= 3);                     /* the one that is not what it says lies far out */
    json_array_foreach(at(j, "left_out"), i, one) /* needs less bias than the dial gives: duller at its end */
        assert_true(number(one, "bias_short_db") * number(one, "high_db") > 0);
    assert_true(number(j, "bias.at_centre_high_db") * shift <= 0);
    json_decref(j);
}

static void drawings(void **state)
{
    (void)state;
    static const char *const paths[] = {"/charts/decks/attic-k71.svg",
                                        "/charts/decks/attic-k71.svg?response=level&width=300",
                                        "/charts/decks/club-bench.svg?kind=services",
                                        "/charts/decks/club-bench.svg?kind=classes",
                                        "/charts/stocks/ostrel-f-90.svg",
                                        "/charts/stocks/ostrel-f-90.svg?kind=time&width=1200",
                                        "/charts/stocks/ostrel-f-90.svg?kind=alike&deck=club-bench",
                                        NULL};
    for (int i = 0; paths[i]; i++) {
        struct answer a = ask(&demo, "GET", paths[i], NULL, NULL);
        char header[160], path[160], command[400];
        assert_int_equal(a.status, 200);
        assert_string_equal(a.type, "image/svg+xml");
        snprintf(path, sizeof path, "%s", scratch_path("drawing.svg"));
        FILE *f = fopen(path, "w");
        assert_non_null(f);
        fwrite(a.body, 1, a.length, f);
        fclose(f);
        snprintf(command, sizeof command, "xmllint --nonet --noout '%s'", path);
        assert_int_equal(system(command), 0);
        assert_true(strstr(a.body, "<title ") && strstr(a.body, "<desc ") && !strstr(a.body, " style="));
        snprintf(header, sizeof header, "If-None-Match: %s", a.etag);
        answer_free(&a);
        a = ask(&demo, "GET", paths[i], NULL, header);
        assert_int_equal(a.status, 304);
        answer_free(&a);
    }
    struct answer wide = ask(&demo, "GET", "/charts/decks/attic-k71.svg", NULL, NULL),
                  narrow = ask(&demo, "GET", "/charts/decks/attic-k71.svg?width=300", NULL, NULL);
    assert_string_not_equal(wide.etag, narrow.etag);
    assert_non_null(strstr(wide.body, "dB</text>"));
    answer_free(&wide);
    answer_free(&narrow);
}

int main(void)
{
    const struct CMUnitTest by_two[] = {cmocka_unit_test(nothing_logged), cmocka_unit_test(refusals), cmocka_unit_test(by_hand),
                                        cmocka_unit_test(sheet_is_suggestion), cmocka_unit_test(tape_or_deck)};
    const struct CMUnitTest of_demo[] = {cmocka_unit_test(the_deck_that_jumps),
                                         cmocka_unit_test(a_service_before_and_after),
                                         cmocka_unit_test(the_stock_that_is_not_what_it_says),
                                         cmocka_unit_test(alike_agrees),
                                         cmocka_unit_test(the_inside_preset),
                                         cmocka_unit_test(drawings)};
    int failed = cmocka_run_group_tests(by_two, start_small, stop_small);
    return cmocka_run_group_tests(of_demo, start_demo, stop_demo) + failed;
}
