/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Where a list goes on: `after` of every list that has pages, in a small club. The first byte picks the list, the rest is the cursor. It is answered or refused, and
 * whoever follows the links from there comes to an end. */
#include "fuzz.h"

#include "actions/actions.h"
#include "actions/house.h"
#include "club.h"
#include "wire/utf8.h"

#include <string.h>

#define ROWS 64 /* more than any list of the club has */

static struct house house;

static void end_house(void)
{
    live_close(house.live);
    store_close(house.store);
}

static void open_house(void)
{
    char path[100];
    struct fault f = {0};
    house.store = fuzz_club("cursor.db", path, sizeof path);
    house.live = live_open(house.store, &(struct live_options){.no_threads = true}, &f);
    house.open = true;
    PROMISE(house.live);
    atexit(end_house);
}

/* The status; the next page's cursor when there is one, else "". */
static int page(action_fn action, bool newest, const char *after, char next[LIMIT_URL])
{
    struct exchange x = {.request = {.method = HTTP_GET, .path = "/", .content_type = "", .accept = "", .session = "", .body_fd = -1}};
    x.request.who.role = ROLE_STEWARD;
    x.request.now_us = clock_now_us();
    x.request.parameters[x.request.parameter_count++] = (struct parameter){"limit", "2"};
    x.request.parameters[x.request.parameter_count++] = (struct parameter){"after", after};
    if (newest)
        x.request.parameters[x.request.parameter_count++] = (struct parameter){"newest", "1"};
    x.arena = arena_new(LIMIT_ARENA);
    x.reply.file = -1;
    buffer_init(&x.reply.body, LIMIT_REPLY);
    PROMISE(x.arena && action(&house, &x) == ACTION_DONE);
    *next = '\0';
    const char *start = strstr(x.reply.link, "after=");
    if (start)
        snprintf(next, LIMIT_URL, "%.*s", (int)strcspn(start + 6, "&>"), start + 6);
    size_t n = x.reply.body.length;
    while (n && x.reply.body.data[n - 1] == '\n')
        n--;
    PROMISE(n && x.reply.body.data[0] == '{' && x.reply.body.data[n - 1] == '}');
    PROMISE(utf8_valid(x.reply.body.data, x.reply.body.length));
    int status = x.reply.status;
    buffer_free(&x.reply.body);
    arena_free(x.arena);
    return status;
}

void fuzz_cursor(const uint8_t *bytes, size_t n)
{
    static const struct {
        action_fn action;
        bool newest;
    } lists[] = {{action_calibrations_list, false},
                 {action_calibrations_list, true},
                 {action_decks_list, false},
                 {action_stocks_list, false},
                 {action_journal, false}};
    char after[LIMIT_URL], next[LIMIT_URL];
    if (n == 0 || n > LIMIT_URL - 1 || !utf8_valid((const char *)bytes + 1, n - 1) || memchr(bytes, 0, n))
        return; /* http/ lets nothing else through */
    if (!house.store)
        open_house();
    size_t which = bytes[0] % (sizeof lists / sizeof *lists);
    memcpy(after, bytes + 1, n - 1);
    after[n - 1] = '\0';
    int status = page(lists[which].action, lists[which].newest, after, next);
    PROMISE(status == 200 || status == 400 || status == 404 || status == 422);
    for (int pages = 0; *next; pages++) {
        PROMISE(pages < ROWS);
        memcpy(after, next, sizeof after);
        PROMISE(page(lists[which].action, lists[which].newest, after, next) == 200);
    }
}
