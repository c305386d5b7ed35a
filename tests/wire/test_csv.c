/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * CSV against RFC 4180, rule by rule, and the way there and back for every kind of line. (csv_read.c, csv_write.c, cells.c) */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "wire/cells.h"
#include "wire/csv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct arena *arena;

static int start(void **state)
{
    (void)state;
    srandom(23);
    arena = arena_new(LIMIT_ARENA);
    return !arena;
}

static int stop(void **state)
{
    (void)state;
    arena_free(arena);
    return mem_alive() != 0;
}

/* ---- the whole of a text through a reader, in pieces of `step` bytes: the JSON of each record on a line, faults as `!line field code` ---- */
static const char *read_all(const char *text, size_t n, char separator, bool comma, size_t step)
{
    static struct buffer all;
    struct csv_reader *r = csv_reader_new(separator, comma);
    struct buffer json;
    buffer_free(&all);
    buffer_init(&all, 100 * 1000 * 1000);
    buffer_init(&json, LIMIT_LINE);
    size_t at = 0;
    for (bool ended = false; !ended;) {
        struct fault f = {0};
        size_t used, piece = n - at < step ? n - at : step;
        enum csv_step got = csv_feed(r, text + at, piece, &used, &f);
        assert_true(used <= piece);
        at += used;
        ended = piece == 0 && got != CSV_RECORD;
        if (got == CSV_RECORD) {
            long line;
            buffer_clear(&json);
            if (csv_record_json(r, &json, &line, &f))
                buffer_format(&all, "%s\n", json.data);
            else
                for (int i = 0; i < f.count; i++)
                    buffer_format(&all, "!%ld %s %s\n", line, f.items[i].field, f.items[i].code);
        } else if (got == CSV_FAILED) {
            assert_true(f.count > 0);
            buffer_format(&all, "!header %s %s\n", f.items[0].field, f.items[0].code);
            ended = true;
        }
    }
    buffer_free(&json);
    csv_reader_free(r);
    return all.data ? all.data : "";
}

static struct {
    const char *rule, *text, *result;
    char separator;
    bool comma;
} cases[] = {
    /* RFC 4180 section 2, by its numbers */
    {"1 records on lines", "kind,id\r\ndeck,a\r\ndeck,b\r\n", "{\"kind\":\"deck\",\"id\":\"a\"}\n{\"kind\":\"deck\",\"id\":\"b\"}\n", ',',
     false},
    {"2 last line without an end", "kind,id\r\ndeck,a", "{\"kind\":\"deck\",\"id\":\"a\"}\n", ',', false},
    {"4 spaces are part of a field", "kind,name\r\ndeck, a b \r\n", "{\"kind\":\"deck\",\"name\":\" a b \"}\n", ',', false},
    {"5 quotes or not", "\"kind\",id\r\n\"deck\",\"a\"\r\n", "{\"kind\":\"deck\",\"id\":\"a\"}\n", ',', false},
    {"6 separators and line ends in quotes", "kind,notes\r\ndeck,\"a,b\r\nc\"\r\n", "{\"kind\":\"deck\",\"notes\":\"a,b\\r\\nc\"}\n", ',',
     false},
    {"7 doubled quotes", "kind,notes\r\ndeck,\"a\"\"b\"\"\"\r\n", "{\"kind\":\"deck\",\"notes\":\"a\\\"b\\\"\"}\n", ',', false},
    {"5 stray quote", "kind,notes\ndeck,a\"b\ndeck,c\n", "!2  stray-quote\n{\"kind\":\"deck\",\"notes\":\"c\"}\n", ',', false},
    {"7 after a closing quote", "kind,notes\ndeck,\"a\"b\ndeck,c\n", "!2  stray-quote\n{\"kind\":\"deck\",\"notes\":\"c\"}\n", ',', false},
    {"7 never closed", "kind,notes\ndeck,b\ndeck,\"a\n", "{\"kind\":\"deck\",\"notes\":\"b\"}\n!3  unclosed-quote\n", ',', false},
    {"4 too many cells", "kind,id\ndeck,a,b\ndeck,c,,\n", "!2  too-many-cells\n{\"kind\":\"deck\",\"id\":\"c\"}\n", ',', false},
    /* what spreadsheets do */
    {"fewer cells", "kind,id,name\ndeck,a\n", "{\"kind\":\"deck\",\"id\":\"a\"}\n", ',', false},
    {"LF and CR", "kind,id\ndeck,a\rdeck,b\r\ndeck,c\n",
     "{\"kind\":\"deck\",\"id\":\"a\"}\n{\"kind\":\"deck\",\"id\":\"b\"}\n{\"kind\":\"deck\",\"id\":\"c\"}\n", ',', false},
    {"empty lines", "\n\nkind,id\n\n,\ndeck,a\n,,\n\n", "{\"kind\":\"deck\",\"id\":\"a\"}\n", ',', false},
    {"line numbers", "kind,heads\n\n\ndeck,\"x\ny\"\ndeck,z\n", "!4 heads not-a-number\n!6 heads not-a-number\n", ',', false},
    {"byte order mark", "\xEF\xBB\xBFkind,id\ndeck,a\n", "{\"kind\":\"deck\",\"id\":\"a\"}\n", ',', false},
    {"half a byte order mark", "\xEF\xBBkind,id\ndeck,a\n", "!header \xEF\xBBkind unknown-column\n", ',', false},
    {"header in any case", " KIND ,Made At,low-db\ncalibration,x,1\n", "{\"kind\":\"calibration\",\"made_at\":\"x\",\"low_db\":1}\n", ',',
     false},
    {"columns in any order", "id,kind\na,deck\n", "{\"id\":\"a\",\"kind\":\"deck\"}\n", ',', false},
    {"unknown column", "kind,bais\ndeck,1\n", "!header bais unknown-column\n", ',', false},
    {"column twice", "kind,id,ID\ndeck,1,2\n", "!header id duplicate-column\n", ',', false},
    {"no kind", "id,name\na,b\n", "!header kind required\n", ',', false},
    {"wrong separator", "kind;id\ndeck;a\n", "!header kind;id unknown-column\n", ',', false},
    {"flags in capitals", "kind,settled,mpx_filter\nx,TRUE,no\nx,0,\nx,perhaps,1\n",
     "{\"kind\":\"x\",\"settled\":true,\"mpx_filter\":false}\n{\"kind\":\"x\",\"settled\":false}\n!4 settled not-a-flag\n", ',', false},
    {"spaces around words and numbers", "kind,bias,side\nx, 1.5 , a \n", "{\"kind\":\"x\",\"bias\":1.5,\"side\":\"a\"}\n", ',', false},
    {"no text at all", "", "", ',', false},
    {"a header alone", "kind,id", "", ',', false},
    /* numbers */
    {"numbers",
     "kind,bias\nx,-1.50\nx,+2\nx,.5\nx,1e2\nx,\xE2\x88\x92"
     "0.5\n",
     "{\"kind\":\"x\",\"bias\":-1.5}\n{\"kind\":\"x\",\"bias\":2}\n{\"kind\":\"x\",\"bias\":0.5}\n{\"kind\":\"x\",\"bias\":100}\n{\"kind\":"
     "\"x\",\"bias\":-0.5}\n",
     ',', false},
    {"no numbers", "kind,bias\nx,1 000\nx,0x10\nx,inf\nx,1.2.3\nx,--1\n",
     "!2 bias not-a-number\n!3 bias not-a-number\n!4 bias not-a-number\n!5 bias not-a-number\n!6 bias not-a-number\n", ',', false},
    {"a comma undeclared", "kind;bias\nx;1,5\nx;1.5\n", "!2 bias decimal-comma\n{\"kind\":\"x\",\"bias\":1.5}\n", ';', false},
    {"a comma declared", "kind;bias\nx;1,5\nx;1.5\nx;2\nx;1.000,5\n",
     "{\"kind\":\"x\",\"bias\":1.5}\n!3 bias decimal-point\n{\"kind\":\"x\",\"bias\":2}\n!5 bias comma-and-point\n", ';', true},
    /* nested */
    {"nested", "kind,moves\nx,\"[{\"\"bias\"\": 1.0}]\"\nx,1\nx,[1\n",
     "{\"kind\":\"x\",\"moves\":[{\"bias\":1}]}\n!3 moves not-json\n!4 moves not-json\n", ',', false},
    /* formulas */
    {"the apostrophe goes", "kind,batch\nx,'=1+1\nx,'-a\nx,''x\nx,'tis\nx,'\nx,'-5\n",
     "{\"kind\":\"x\",\"batch\":\"=1+1\"}\n{\"kind\":\"x\",\"batch\":\"-a\"}\n{\"kind\":\"x\",\"batch\":\"''x\"}\n{\"kind\":\"x\","
     "\"batch\":\"'tis\"}\n"
     "{\"kind\":\"x\",\"batch\":\"'\"}\n{\"kind\":\"x\",\"batch\":\"'-5\"}\n",
     ',', false},
    {"not UTF-8", "kind,name\nx,caf\xE9\n", "!2 name not-utf-8\n", ',', false},
    {"several faults of a row", "kind,bias,level\nx,a,b\n", "!2 bias not-a-number\n!2 level not-a-number\n", ',', false},
};

static void rules(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        size_t n = strlen(cases[i].text);
        for (size_t step = 1; step <= n + 1; step++) {
            const char *got = read_all(cases[i].text, n, cases[i].separator, cases[i].comma, step);
            if (strcmp(got, cases[i].result))
                fail_msg("%s (in pieces of %zu):\n%s--- instead of\n%s", cases[i].rule, step, got, cases[i].result);
        }
    }
}

/* ---- there and back ---- */

static void identity_for_every_kind(void **state)
{
    (void)state;
    struct buffer csv, lines;
    buffer_init(&csv, 100 * 1000 * 1000);
    buffer_init(&lines, 100 * 1000 * 1000);
    csv_write_header(&csv);
    for (int i = 0; i < 600; i++) {
        struct buffer line;
        struct fault f = {0};
        buffer_init(&line, LIMIT_LINE);
        arena_reset(arena);
        any_line(&line, i, arena);
        assert_true(csv_write_line(&csv, line.data, line.length, &f));
        buffer_format(&lines, "%s\n", line.data);
        buffer_free(&line);
    }
    assert_false(csv.failed || lines.failed);
    assert_string_equal(read_all(csv.data, csv.length, ',', false, 4096), lines.data);
    assert_string_equal(read_all(csv.data, csv.length, ',', false, 61), lines.data);
    buffer_free(&csv);
    buffer_free(&lines);
}

/* Each kind's own order is a part of the columns' order: so a row read back is the same bytes. */
static void columns_keep_the_order(void **state)
{
    (void)state;
    int count;
    const struct column *columns = csv_columns(&count);
    const struct member *const tables[] = {deck_members,       stock_members, calibration_members, service_line_members,
                                           check_line_members, line_members,  line_end_members};
    assert_string_equal(columns[0].name, "kind");
    assert_true(count < LIMIT_CSV_COLUMNS);
    for (size_t t = 0; t < sizeof tables / sizeof *tables; t++) {
        int last = 0;
        for (const struct member *m = tables[t]; m->name; m++) {
            if (m->type == MEMBER_SERVER)
                continue;
            int at = 0;
            while (at < count && strcmp(columns[at].name, m->name))
                at++;
            assert_true(at < count && at > last);
            assert_int_equal(columns[at].type, cell_type_of(m)); /* one name, one type over all kinds */
            last = at;
        }
    }
    for (int i = 0; i < count; i++)
        for (int k = 0; k < i; k++)
            assert_string_not_equal(columns[i].name, columns[k].name);
}

/* No text cell that is written can be run as a formula, and each comes back as it was. */
static void formulas_are_disarmed(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "'=1", "''", "'-5", "-5", "+3", "'tis", "=\"a\"", "=HYPERLINK(\"x\",\"y\")"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct buffer json, csv;
        struct fault f = {0};
        double x;
        buffer_init(&json, 1000), buffer_init(&csv, 100000);
        buffer_text(&json, "{\"kind\":\"x\",\"batch\":");
        json_text(&json, texts[i]);
        buffer_char(&json, '}');
        csv_write_header(&csv);
        size_t header = csv.length;
        assert_true(csv_write_line(&csv, json.data, json.length, &f));
        const char *cell = csv.data + header + 2;
        cell += strspn(cell, ",\"");
        assert_true(!strchr("=+-@\t\r\n", *cell) || number_parse(texts[i], strlen(texts[i]), &x));
        buffer_char(&json, '\n');
        assert_string_equal(read_all(csv.data, csv.length, ',', false, 100), json.data);
        buffer_free(&json), buffer_free(&csv);
    }
}

static void a_line_without_a_column_is_our_own_fault(void **state)
{
    (void)state;
    struct buffer csv;
    struct fault f = {0};
    buffer_init(&csv, 100000);
    assert_false(csv_write_line(&csv, "{\"kind\":\"x\",\"colour\":\"red\"}", 27, &f));
    assert_int_equal(f.kind, FAULT_INTERNAL);
    buffer_free(&csv);
}

/* ---- limits ---- */

static void too_long_and_then_well(void **state)
{
    (void)state;
    size_t n = LIMIT_LINE + 100;
    struct buffer text;
    buffer_init(&text, 10 * LIMIT_LINE);
    buffer_text(&text, "kind,notes\ndeck,");
    for (size_t i = 0; i < n; i++)
        buffer_char(&text, 'a');
    buffer_text(&text, "\ndeck,b\n");
    assert_string_equal(read_all(text.data, text.length, ',', false, 5000), "!2  line-too-long\n{\"kind\":\"deck\",\"notes\":\"b\"}\n");
    buffer_clear(&text);
    buffer_text(&text, "kind,notes\ndeck,");
    for (int i = 0; i < LIMIT_CSV_COLUMNS; i++)
        buffer_char(&text, ',');
    buffer_text(&text, "\ndeck,b\n");
    assert_string_equal(read_all(text.data, text.length, ',', false, 5000), "!2  too-many-cells\n{\"kind\":\"deck\",\"notes\":\"b\"}\n");
    buffer_free(&text);
}

static void each_allocation_fails(void **state)
{
    (void)state;
    static const char text[] =
        "kind,notes,moves\ncalibration,\"a long enough text, so that it needs memory of its own: "
        "................................................................................................................................"
        "................................................................................................................................"
        "\",[{}]\n";
    for (long n = 1;; n++) {
        struct fault f = {0};
        struct buffer json;
        size_t at = 0, used;
        long line, alive = mem_alive();
        buffer_init(&json, LIMIT_LINE);
        mem_fail_at(n, 1);
        struct csv_reader *r = csv_reader_new(',', false);
        enum csv_step got = CSV_MORE;
        while (r && got == CSV_MORE) {
            got = csv_feed(r, text + at, sizeof text - 1 - at, &used, &f);
            at += used;
        }
        bool fine = got == CSV_RECORD && csv_record_json(r, &json, &line, &f);
        mem_fail_at(0, 0);
        if (r && !fine)
            assert_int_equal(f.kind, FAULT_MEMORY);
        csv_reader_free(r);
        buffer_free(&json);
        assert_int_equal(mem_alive(), alive);
        if (fine) {
            assert_true(n > 3);
            break;
        }
    }
}

/* ---- nonsense ---- */

static void random_bytes(void **state)
{
    (void)state;
    for (int i = 0; i < 3000; i++) {
        char bytes[400] = "kind,id,bias,notes,moves,settled\n";
        size_t used = i % 3 ? strlen(bytes) : 0, n = used + (size_t)below((long)(sizeof bytes - used));
        any_bytes(bytes + used, n - used, ",\"\n\r;'=1.5ae[]{}");
        const char *whole = read_all(bytes, n, ',', false, n + 1);
        char *copy = mem_text(whole);
        assert_string_equal(read_all(bytes, n, ',', false, 1 + (size_t)below(7)), copy); /* the same however it comes */
        mem_free(copy);
    }
}

/* Changed exports give rows that are read or refused, never a crash; the records after the damage come whole again. */
static void damaged_exports(void **state)
{
    (void)state;
    static struct line l;
    for (int i = 0; i < 300; i++) {
        struct buffer csv, line;
        buffer_init(&csv, 1000000), buffer_init(&line, LIMIT_LINE);
        csv_write_header(&csv);
        for (int k = 0; k < 3; k++) {
            arena_reset(arena), buffer_clear(&line);
            any_line(&line, i + k, arena);
            assert_true(csv_write_line(&csv, line.data, line.length, NULL));
        }
        for (int k = 0; k < 4; k++)
            any_bytes(csv.data + below((long)csv.length), 1, ",\"\n'");
        const char *rows = read_all(csv.data, csv.length, ',', false, 1000);
        for (const char *end; *rows; rows = end + 1) {
            end = strchr(rows, '\n');
            struct fault f = {0};
            arena_reset(arena);
            if (*rows != '!' && !wire_read_line(rows, (size_t)(end - rows), arena, &l, &f))
                assert_true(f.kind == FAULT_UNACCEPTABLE && f.count > 0);
        }
        buffer_free(&csv), buffer_free(&line);
    }
    read_all("", 0, ',', false, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rules),
        cmocka_unit_test(identity_for_every_kind),
        cmocka_unit_test(columns_keep_the_order),
        cmocka_unit_test(formulas_are_disarmed),
        cmocka_unit_test(a_line_without_a_column_is_our_own_fault),
        cmocka_unit_test(too_long_and_then_well),
        cmocka_unit_test(each_allocation_fails),
        cmocka_unit_test(random_bytes),
        cmocka_unit_test(damaged_exports),
    };
    return cmocka_run_group_tests(tests, start, stop);
}
