/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The short way makes the tree that jansson makes, and takes nothing that jansson refuses. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "wire/parse.h"
#include "wire/plain_json.h"

#include <stdlib.h>
#include <string.h>

/* Outside a parse of ours jansson's allocator is the system's; a tree that was given up half-way is then lost, which only this test's leak check would see, so its
 * memory is kept in a list and freed by the test. */
struct piece {
    struct piece *next;
    max_align_t bytes[];
};
static struct piece *pieces;

static void *piece_new(size_t n)
{
    struct piece *p = malloc(sizeof *p + n);
    if (!p)
        return NULL;
    p->next = pieces;
    pieces = p;
    return p->bytes;
}

static void piece_keep(void *p)
{
    (void)p;
}

static void free_pieces(void)
{
    while (pieces) {
        struct piece *p = pieces;
        pieces = p->next;
        free(p);
    }
}

static bool same_as_jansson(const char *text, size_t n, bool *was_plain)
{
    json_set_alloc_funcs(piece_new, piece_keep);
    json_error_t e;
    json_t *ours = plain_json(text, n),
           *theirs = json_loadb(text, n, JSON_REJECT_DUPLICATES | JSON_DECODE_INT_AS_REAL | JSON_DECODE_ANY, &e);
    *was_plain = ours != NULL;
    bool same = !ours || (theirs && json_equal(ours, theirs));
    char *a = ours ? json_dumps(ours, JSON_ENCODE_ANY | JSON_REAL_PRECISION(17)) : NULL,
         *b = theirs ? json_dumps(theirs, JSON_ENCODE_ANY | JSON_REAL_PRECISION(17)) : NULL;
    same = same && (!a || (b && strcmp(a, b) == 0)); /* the order of members and the sign of zero as well */
    free_pieces();
    return same;
}

static void is_plain(void **state)
{
    (void)state;
    static const char *const plain[] = {
        "{}", " [ ] ", "0", "-0", "-1.25", "123456789012345", "\"\"", "true", "null", "{\"a\":[1,2,{\"b\":false}],\"c\":\"x y\"}"};
    static const char *const not_plain[] = {"",
                                            "{",
                                            "01",
                                            "1.",
                                            "+1",
                                            ".5",
                                            "1e5",
                                            "1234567890123456",
                                            "\"a\\n\"",
                                            "\"\xC3\xA9\"",
                                            "{\"a\"}",
                                            "[1,]",
                                            "{\"a\":1,}",
                                            "nul",
                                            "truex",
                                            "[1 2]",
                                            "{\"a\":1,\"a\":2}",
                                            "\"\x7F\"",
                                            "\"\t\"",
                                            "--1",
                                            "-",
                                            "1 1",
                                            "\"a",
                                            "{1:2}",
                                            "[1,2",
                                            "]"};
    bool was;
    for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
        if (!same_as_jansson(plain[i], strlen(plain[i]), &was) || !was)
            fail_msg("%s", plain[i]);
    for (size_t i = 0; i < sizeof not_plain / sizeof *not_plain; i++)
        if (!same_as_jansson(not_plain[i], strlen(not_plain[i]), &was) || was)
            fail_msg("%s", not_plain[i]);
}

/* Records of every kind, whole and with a few bytes spoilt. */
static void any_records(void **state)
{
    (void)state;
    struct buffer b;
    buffer_init(&b, LIMIT_LINE);
    srandom(21);
    long plain = 0, spoilt_plain = 0;
    for (int i = 0; i < 3000; i++) {
        struct arena *a = arena_new(1 << 20);
        bool was;
        buffer_clear(&b);
        any_line(&b, i, a);
        assert_true(same_as_jansson(b.data, b.length, &was));
        plain += was;
        for (int k = 0; k < 5; k++) {
            any_bytes(b.data + below((long)b.length), 1, "{}[]\",:\\0.eE- tfn");
            assert_true(same_as_jansson(b.data, b.length, &was));
            spoilt_plain += was;
        }
        arena_free(a);
    }
    assert_true(plain > 100 && spoilt_plain > 100); /* both kinds were met */
    buffer_free(&b);
}

static void nonsense(void **state)
{
    (void)state;
    srandom(22);
    for (int i = 0; i < 30000; i++) {
        char bytes[24];
        size_t n = (size_t)below(sizeof bytes);
        bool was;
        any_bytes(bytes, n, "{}[]\",:10.- ");
        if (!same_as_jansson(bytes, n, &was))
            fail_msg("%.*s", (int)n, bytes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(is_plain), cmocka_unit_test(any_records), cmocka_unit_test(nonsense)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
