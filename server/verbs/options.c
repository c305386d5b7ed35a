/* SPDX-License-Identifier: GPL-3.0-or-later
 * See options.h. */
#include "options.h"

#include "../ground/buffer.h"
#include "verbs.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int wrong_usage(const struct verb_help *help, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fprintf(stderr, "biasbook %s: ", help->name);
    vfprintf(stderr, format, args);
    fprintf(stderr, "\nusage: biasbook %s\n'biasbook %s --help' says more\n", help->usage, help->name);
    va_end(args);
    return EXIT_USAGE;
}

int refused(const char *verb, const struct fault *f)
{
    for (int i = 0; i < f->count; i++) {
        const struct fault_item *e = &f->items[i];
        fprintf(stderr, "biasbook %s: %s%s%s\n", verb, e->field, e->field[0] ? ": " : "", e->detail);
    }
    if (!f->count)
        fprintf(stderr, "biasbook %s: it did not work, and no reason was given\n", verb);
    return EXIT_REFUSED;
}

static const struct option_spec *find(const struct option_spec *specs, const char *name, size_t n)
{
    for (; specs->name; specs++)
        if (strlen(specs->name) == n && !strncmp(specs->name, name, n))
            return specs;
    return NULL;
}

static int print_help(const struct verb_help *help)
{
    printf("usage: biasbook %s\n\n%s\nexample:\n  %s\n", help->usage, help->text, help->example);
    return EXIT_DONE;
}

int options_read(int argc, char **argv, const struct verb_help *help, const struct option_spec *specs, const char **rest, int rest_room,
                 int *rest_count)
{
    bool only_rest = false;
    int count = 0;
    for (int i = 1; i < argc; i++) {
        const char *word = argv[i];
        if (only_rest || word[0] != '-' || !word[1]) {
            if (count == rest_room)
                return rest_room ? wrong_usage(help, "'%s' is one word too many", word)
                                 : wrong_usage(help, "'%s' is not expected here", word);
            rest[count++] = word;
            continue;
        }
        if (!strcmp(word, "--")) {
            only_rest = true;
            continue;
        }
        if (!strcmp(word, "--help") || !strcmp(word, "-h"))
            return print_help(help);
        const char *name = word[1] == '-' ? word + 2 : word + 1;
        const char *equals = strchr(name, '=');
        const struct option_spec *spec = word[1] == '-' ? find(specs, name, equals ? (size_t)(equals - name) : strlen(name)) : NULL;
        if (!spec)
            return wrong_usage(help, "there is no option '%s'", word);
        if (spec->flag) {
            if (equals)
                return wrong_usage(help, "--%s takes no value", spec->name);
            *spec->flag = true;
            continue;
        }
        if (*spec->value)
            return wrong_usage(help, "--%s is given twice", spec->name);
        if (!equals && i + 1 == argc)
            return wrong_usage(help, "--%s needs a value", spec->name);
        *spec->value = equals ? equals + 1 : argv[++i];
    }
    *rest_count = count;
    return -1;
}

const char *database_path(const struct verb_help *help, const char *given)
{
    const char *path = given && *given ? given : getenv("BIASBOOK_DB");
    if (!path || !*path) {
        wrong_usage(help, "which club? Say --db FILE (or set BIASBOOK_DB)");
        return NULL;
    }
    return path;
}

bool number_option(const struct verb_help *help, const char *name, const char *text, double low, double high, double *out)
{
    double value;
    if (!text)
        return true;
    if (!number_parse(text, strlen(text), &value) || value < low || value > high) {
        wrong_usage(help, "--%s takes a number from %g to %g, not '%s'", name, low, high, text);
        return false;
    }
    *out = value;
    return true;
}
