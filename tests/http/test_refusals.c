/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stand.h"

#include <string.h>

/* Every refusal says something, under a code of its own that programs can rely on. */
static void each_is_whole_and_its_own(void **state)
{
    (void)state;
    for (int i = REFUSE_NOTHING + 1; i < REFUSE_COUNT; i++) {
        const struct refusal *r = refusal_of((enum refusal_number)i);
        struct fault_item item;
        assert_non_null(r->code);
        assert_true(r->status >= 400 && r->status < 600);
        assert_true(strlen(r->code) > 0 && strlen(r->code) < sizeof item.code &&
                    strspn(r->code, "abcdefghijklmnopqrstuvwxyz0123456789-") == strlen(r->code));
        assert_true(strlen(r->detail) > 10 && strlen(r->detail) < sizeof item.detail && strlen(r->field) < sizeof item.field);
        assert_true(r->status != 503 || r->retry_after_s > 0);
        for (int j = REFUSE_NOTHING + 1; j < i; j++)
            assert_string_not_equal(r->code, refusal_of((enum refusal_number)j)->code);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_is_whole_and_its_own)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
