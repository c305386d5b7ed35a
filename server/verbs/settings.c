/* SPDX-License-Identifier: GPL-3.0-or-later
 * See settings.h. */
#include "settings.h"

#include "../ground/limits.h"
#include "../ground/memory.h"
#include "verbs.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static bool flag_read(const char *text, bool *out)
{
    static const char *const yes[] = {"1", "true", "yes", "on"}, *const no[] = {"", "0", "false", "no", "off"};
    for (size_t i = 0; i < sizeof yes / sizeof *yes; i++)
        if (!strcmp(text, yes[i]))
            return *out = true;
    for (size_t i = 0; i < sizeof no / sizeof *no; i++)
        if (!strcmp(text, no[i])) {
            *out = false;
            return true;
        }
    return false;
}

/* What the command line said stays. `where` is for messages. */
static int set(const struct verb_help *help, const struct option_spec *spec, const char *value, const char *where)
{
    bool on = false;
    if (spec->flag && !flag_read(value, &on))
        return wrong_usage(help, "%s: '%s' is neither yes nor no", where, value);
    if (spec->flag)
        *spec->flag |= on;
    else if (!*spec->value && *value)
        *spec->value = value;
    return -1;
}

static int from_environment(const struct verb_help *help, const struct option_spec *specs, bool *said)
{
    for (const struct option_spec *o = specs; o->name; o++) {
        char name[64];
        int n = snprintf(name, sizeof name, "BIASBOOK_%s", o->name);
        for (int i = 0; i < n; i++)
            name[i] = (char)(name[i] == '-' ? '_' : name[i] >= 'a' && name[i] <= 'z' ? name[i] - 'a' + 'A' : name[i]);
        const char *value = getenv(name);
        said[o - specs] = value != NULL;
        int status = value ? set(help, o, value, name) : -1;
        if (status >= 0)
            return status;
    }
    return -1;
}

/* ---- the file ---- */

static char *trimmed(char *text)
{
    text += strspn(text, " \t");
    size_t n = strlen(text);
    while (n && (text[n - 1] == ' ' || text[n - 1] == '\t' || text[n - 1] == '\r'))
        text[--n] = '\0';
    return text;
}

#define SETTINGS 32

static int take_line(const struct verb_help *help, const struct option_spec *specs, char *line, const char *where, const bool *said,
                     bool *seen)
{
    line = trimmed(line);
    if (!*line || *line == '#')
        return -1;
    char *equals = strchr(line, '=');
    if (!equals)
        return wrong_usage(help, "%s: write 'name = value', or # before a remark", where);
    *equals = '\0';
    const char *name = trimmed(line), *value = trimmed(equals + 1);
    for (const struct option_spec *o = specs; o->name; o++) {
        if (strcmp(o->name, name) != 0)
            continue;
        if (seen[o - specs])
            return wrong_usage(help, "%s: '%s' stands there twice", where, name);
        seen[o - specs] = true;
        return said[o - specs] ? -1 : set(help, o, value, where);
    }
    return wrong_usage(help, "%s: there is no setting '%s'", where, name);
}

static int from_file(struct settings *s, const struct verb_help *help, const struct option_spec *specs, const char *file, const bool *said)
{
    bool seen[SETTINGS] = {false};
    size_t n = 0;
    ssize_t got = -1;
    int fd = open(file, O_RDONLY | O_CLOEXEC);
    s->text = fd >= 0 ? mem_zero(1, LIMIT_CONFIG + 2) : NULL;
    while (s->text && n <= LIMIT_CONFIG && (got = read(fd, s->text + n, LIMIT_CONFIG + 1 - n)) > 0)
        n += (size_t)got;
    int error = errno;
    if (fd >= 0)
        close(fd);
    if (n > LIMIT_CONFIG)
        return wrong_usage(help, "%s is larger than %d bytes: is it a file of settings?", file, LIMIT_CONFIG);
    if (got < 0 || strlen(s->text) != n)
        return wrong_usage(help, "%s: %s", file, got < 0 ? strerror(error) : "that is no text");
    char *next = s->text;
    for (int number = 1; next; number++) {
        char where[LIMIT_PATH + 16], *line = next;
        next = strchr(line, '\n');
        if (next)
            *next++ = '\0';
        snprintf(where, sizeof where, "%s:%d", file, number);
        int status = take_line(help, specs, line, where, said, seen);
        if (status >= 0)
            return status;
    }
    return -1;
}

int settings_fill(struct settings *s, const struct verb_help *help, const struct option_spec *specs, const char *file)
{
    bool said[SETTINGS] = {false};
    s->text = NULL;
    int status = from_environment(help, specs, said);
    if (!file)
        file = getenv("BIASBOOK_CONFIG");
    return status >= 0 || !file || !*file ? status : from_file(s, help, specs, file, said);
}

void settings_free(struct settings *s)
{
    mem_free(s->text);
    s->text = NULL;
}
