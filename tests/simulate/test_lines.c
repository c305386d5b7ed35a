/* SPDX-License-Identifier: GPL-3.0-or-later
 * Two writers and one reader: what the invented clubs write as lines is read by the server as the same records, and the end line's sum is right.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "diary.h"
#include "lines.h"

#include "ground/memory.h"
#include "trade/check.h"
#include "wire/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static FILE *written;

static void rewound(void)
{
    assert_int_equal(fflush(written), 0);
    rewind(written);
}

static void read_line(struct arena *a, struct line *out)
{
    static char text[LIMIT_LINE];
    struct fault f = {0};
    char what[400];
    assert_non_null(fgets(text, sizeof text, written));
    arena_reset(a);
    if (!wire_read_line(text, strlen(text), a, out, &f))
        fail_msg("%s\n%s", fault_text(&f, what, sizeof what), text);
}

#define SAME(kind, written_record, read_record)                                                                                            \
    do {                                                                                                                                   \
        uint8_t x_[32], y_[32];                                                                                                            \
        digest_##kind(written_record, x_);                                                                                                 \
        digest_##kind(read_record, y_);                                                                                                    \
        assert_memory_equal(x_, y_, sizeof x_);                                                                                            \
    } while (0)

static void all_records_come_back(struct club *c, long rows)
{
    struct lines l;
    struct arena *a = arena_new(LIMIT_ARENA);
    struct line *line = mem_zero(1, sizeof *line);
    struct diary *d = diary_new(c, rows);
    struct diary_row row;
    written = tmpfile();
    assert_true(a && line && d && written);
    lines_start(&l, written);
    for (int i = 0; i < c->deck_count; i++)
        lines_deck(&l, &c->decks[i].record);
    for (int i = 0; i < c->stock_count; i++)
        lines_stock(&l, &c->stocks[i].record);
    for (int i = 0; i < c->service_count; i++)
        lines_service(&l, &c->services[i]);
    for (int i = 0; i < c->check_count; i++)
        lines_check(&l, &c->checks[i]);
    for (long n = 0; diary_next(d, &row); n++)
        lines_calibration(&l, &row.calibration, c->members[row.member].name, n % 50 == 7 ? "Written \"twice\"." : NULL);
    assert_true(lines_end(&l));
    diary_free(d);

    rewound();
    for (int i = 0; i < c->deck_count; i++) {
        read_line(a, line);
        assert_int_equal(line->kind, LINE_DECK);
        SAME(deck, &c->decks[i].record, &line->as.deck);
    }
    for (int i = 0; i < c->stock_count; i++) {
        read_line(a, line);
        SAME(stock, &c->stocks[i].record, &line->as.stock);
    }
    for (int i = 0; i < c->service_count; i++) {
        read_line(a, line);
        SAME(service, &c->services[i], &line->as.service);
    }
    for (int i = 0; i < c->check_count; i++) {
        read_line(a, line);
        SAME(check, &c->checks[i], &line->as.check);
    }
    d = diary_new(c, rows);
    for (long n = 0; diary_next(d, &row); n++) {
        read_line(a, line);
        assert_int_equal(line->kind, LINE_CALIBRATION);
        SAME(calibration, &row.calibration, &line->as.calibration);
        assert_string_equal(line->member, c->members[row.member].name);
        assert_int_equal(line->is_void, n % 50 == 7);
    }
    read_line(a, line);
    assert_int_equal(line->kind, LINE_END);
    assert_int_equal(line->end_rows, l.rows);
    assert_int_equal(strlen(line->end_sha256), 64);
    diary_free(d);
    fclose(written);
    mem_free(line);
    arena_free(a);
}

static void demo_club(void **state)
{
    (void)state;
    struct club *c = club_demo(CLUB_DEMO_SEED);
    assert_non_null(c);
    all_records_come_back(c, CLUB_DEMO_ROWS);
    club_free(c);
}

static void random_clubs(void **state)
{
    (void)state;
    static const struct club_size SIZE = {40, 90, 12, 1728900000LL * 1000000, 1792800000LL * 1000000, true};
    for (uint64_t seed = 500; seed < 503; seed++) {
        struct club *c = club_random(seed, &SIZE);
        assert_non_null(c);
        all_records_come_back(c, 600);
        club_free(c);
    }
}

/* The sum is SHA-256 over all bytes before the last line: "abc" has the published digest (FIPS 180-4 examples). */
static void end_line(void **state)
{
    (void)state;
    struct lines l;
    char text[200];
    written = tmpfile();
    lines_start(&l, written);
    sum_add(&l.sum, "abc", 3);
    assert_true(lines_end(&l));
    rewound();
    assert_non_null(fgets(text, sizeof text, written));
    assert_string_equal(text,
                        "{\"kind\":\"end\",\"rows\":0,\"sha256\":\"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\"}\n");
    fclose(written);
}

int main(void)
{
    if (!secrets_start())
        return 1;
    const struct CMUnitTest tests[] = {cmocka_unit_test(demo_club), cmocka_unit_test(random_clubs), cmocka_unit_test(end_line)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
