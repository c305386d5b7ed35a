/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * References relative to the request, so that they are right below any path that a proxy shows the daemon at.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

/* Resolves as RFC 3986, 5.2 says, for the references made here: drop the last segment of the base, then one more for each "../". */
static void resolve(const char *base, const char *reference, char *out, size_t size)
{
    snprintf(out, size, "%s", base);
    *strrchr(out, '/') = '\0';
    if (!strncmp(reference, "./", 2))
        reference += 2;
    for (; !strncmp(reference, "../", 3); reference += 3) {
        assert_non_null(strrchr(out, '/')); /* above the root would be wrong, however forgiving resolvers are */
        *strrchr(out, '/') = '\0';
    }
    snprintf(out + strlen(out), size - strlen(out), "/%s", reference);
}

static void right_below_any_path(void **state)
{
    (void)state;
    static const char *const paths[] = {
        "/", "/log", "/api/decks", "/api/decks/a-deck", "/api/calibrations/0/void", "/charts/decks/a.svg", "/api/"};
    static const char *const targets[] = {"/", "/api/decks/a-deck", "/api/calibrations?deck=a&after=4", "/log"};
    static const char *const prefixes[] = {"", "/club", "/sites/club"};
    for (size_t i = 0; i < sizeof paths / sizeof *paths; i++)
        for (size_t k = 0; k < sizeof targets / sizeof *targets; k++)
            for (size_t p = 0; p < sizeof prefixes / sizeof *prefixes; p++) {
                char base[200], wanted[200], got[400], link[200];
                struct buffer b;
                buffer_init(&b, 4000);
                snprintf(base, sizeof base, "%s%s", prefixes[p], paths[i]);
                snprintf(wanted, sizeof wanted, "%s%s", prefixes[p], targets[k]);
                relative_reference(&b, paths[i], targets[k]);
                resolve(base, b.data, got, sizeof got);
                assert_string_equal(got, wanted);
                char linked[220], expected[220];
                snprintf(expected, sizeof expected, "<%s>; rel=\"next\"", b.data);
                snprintf(link, sizeof link, "<%s>; rel=\"next\"", targets[k]);
                buffer_clear(&b);
                relative_link(&b, paths[i], link);
                snprintf(linked, sizeof linked, "%s", b.data);
                assert_string_equal(linked, expected);
                buffer_free(&b);
            }
}

static void others_stay_as_they_are(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "https://elsewhere.example/a", "//elsewhere.example/a", "a/b", "", "<https://elsewhere.example/>; rel=\"next\"", "</no-end"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct buffer b;
        buffer_init(&b, 4000);
        relative_reference(&b, "/api/x", texts[i]);
        assert_string_equal(b.data ? b.data : "", texts[i]);
        buffer_clear(&b);
        relative_link(&b, "/api/x", texts[i]);
        assert_string_equal(b.data ? b.data : "", texts[i]);
        buffer_free(&b);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(right_below_any_path), cmocka_unit_test(others_stay_as_they_are)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
