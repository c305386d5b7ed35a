/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The folder invalid/: each NAME.json is refused with exactly the faults that NAME.expected lists, a line each: kind, field, code. The first word of the name says
 * which reader it is for. A new bad input that was found is added there. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "wire/next_move.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FOLDER "tests/wire/invalid/"

static struct arena *arena;
static const struct uuid id = {{0x01, 0x7f, 0x22, 0xe2, 0x79, 0xb0, 0x7c, 0xc3, 0x98, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f}};

static bool read_with(const char *name, const char *json, size_t n, struct fault *f)
{
    static struct deck deck;
    static struct stock stock;
    static struct calibration calibration;
    static struct service service;
    static struct deck_check check;
    static struct line line;
    static struct next_move_body next_move;
    static char reason[LIMIT_REASON + 1];
    if (!strncmp(name, "deck-", 5))
        return wire_read_deck(json, n, "shed", arena, &deck, f);
    if (!strncmp(name, "stock-", 6))
        return wire_read_stock(json, n, "blue-90", arena, &stock, f);
    if (!strncmp(name, "calibration-", 12))
        return wire_read_calibration(json, n, &id, arena, &calibration, f);
    if (!strncmp(name, "service-", 8))
        return wire_read_service(json, n, "shed", &id, arena, &service, f);
    if (!strncmp(name, "check-", 6))
        return wire_read_check(json, n, "shed", &id, arena, &check, f);
    if (!strncmp(name, "void-", 5))
        return wire_read_void(json, n, reason, f);
    if (!strncmp(name, "line-", 5))
        return wire_read_line(json, n, arena, &line, f);
    if (!strncmp(name, "next-move-", 10))
        return wire_read_next_move(json, n, arena, &next_move, f);
    fail_msg("%s: of which reader?", name);
    return false;
}

static size_t slurp(const char *name, const char *suffix, char *out, size_t size)
{
    char path[400];
    snprintf(path, sizeof path, FOLDER "%s%s", name, suffix);
    FILE *file = fopen(path, "rb");
    if (!file)
        fail_msg("%s is missing", path);
    size_t n = fread(out, 1, size - 1, file);
    out[n] = '\0';
    fclose(file);
    return n;
}

static void one(const char *name)
{
    static char json[LIMIT_LINE], expected[10000], got[10000];
    struct fault f = {0};
    size_t n = slurp(name, ".json", json, sizeof json), used = 0;
    slurp(name, ".expected", expected, sizeof expected);
    arena_reset(arena);
    if (read_with(name, json, n, &f))
        fail_msg("%s was taken", name);
    got[0] = '\0';
    for (int i = 0; i < f.count; i++) {
        used += (size_t)snprintf(got + used, sizeof got - used, "%s %s %s\n", f.kind == FAULT_MALFORMED ? "malformed" : "unacceptable",
                                 f.items[i].field, f.items[i].code);
        assert_true(strlen(f.items[i].detail) > 10); /* and says something to a person */
    }
    if (strcmp(got, expected))
        fail_msg("%s:\n%s--- instead of\n%s", name, got, expected);
}

static void all_of_the_folder(void **state)
{
    (void)state;
    DIR *folder = opendir(FOLDER);
    int count = 0;
    if (!folder)
        fail_msg("run from the top folder: %s is not there", FOLDER);
    for (struct dirent *entry; (entry = readdir(folder));) {
        char name[300];
        size_t n = strlen(entry->d_name);
        if (n < 6 || strcmp(entry->d_name + n - 5, ".json"))
            continue;
        snprintf(name, sizeof name, "%.*s", (int)(n - 5), entry->d_name);
        one(name);
        count++;
    }
    closedir(folder);
    assert_true(count > 80);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(all_of_the_folder)};
    arena = arena_new(LIMIT_ARENA);
    int failed = arena ? cmocka_run_group_tests(tests, NULL, NULL) : 1;
    arena_free(arena);
    return failed;
}
