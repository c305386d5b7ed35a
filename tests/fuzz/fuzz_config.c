/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A file of settings, from memory. What is taken is text of the file without blanks around it, and written anew it is taken again the same. */
#include "fuzz.h"

#include "ground/buffer.h"
#include "verbs/settings.h"

#include <fcntl.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

struct taken {
    const char *listen, *db, *certificate;
    bool open, read;
};

/* Its messages go nowhere. */
static int fill(const char *bytes, size_t n, struct settings *s, struct taken *t)
{
    static const struct verb_help help = {"serve", "serve", "", "biasbook serve"};
    static int nowhere = -1, errors = -1;
    char name[40];
    *t = (struct taken){0};
    const struct option_spec specs[] = {
        {"fuzz-listen", &t->listen, NULL}, {"fuzz-db", &t->db, NULL},     {"fuzz-certificate", &t->certificate, NULL},
        {"fuzz-open", NULL, &t->open},     {"fuzz-read", NULL, &t->read}, {0}};
    if (nowhere < 0) {
        nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
        errors = fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 3);
    }
    int fd = memfd_create("settings", MFD_CLOEXEC);
    PROMISE(nowhere >= 0 && errors >= 0 && fd >= 0 && write(fd, bytes, n) == (ssize_t)n);
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    dup2(nowhere, STDERR_FILENO);
    int status = settings_fill(s, &help, specs, name);
    dup2(errors, STDERR_FILENO);
    close(fd);
    return status;
}

static void write_value(struct buffer *b, const char *name, const char *value)
{
    if (value) {
        PROMISE(*value && !strchr(value, '\n') && !strchr(" \t", *value) && !strchr(" \t\r", value[strlen(value) - 1]));
        buffer_format(b, "fuzz-%s = ", name);
        buffer_text(b, value);
        buffer_char(b, '\n');
    }
}

static bool same(const char *a, const char *b)
{
    return a && b ? !strcmp(a, b) : !a && !b;
}

void fuzz_config(const uint8_t *bytes, size_t n)
{
    struct settings first, second;
    struct taken one, two;
    int status = fill((const char *)bytes, n, &first, &one);
    PROMISE(status == -1 || status == 2);
    if (status == -1) {
        struct buffer b;
        buffer_init(&b, 1 << 20);
        write_value(&b, "listen", one.listen);
        write_value(&b, "db", one.db);
        write_value(&b, "certificate", one.certificate);
        buffer_format(&b, "fuzz-open=%s\r\nfuzz-read = %s", one.open ? "yes" : "", one.read ? "1" : "off");
        if (b.length <= LIMIT_CONFIG) {
            PROMISE(fill(b.data, b.length, &second, &two) == -1);
            PROMISE(same(one.listen, two.listen) && same(one.db, two.db) && same(one.certificate, two.certificate));
            PROMISE(one.open == two.open && one.read == two.read);
            settings_free(&second);
        }
        buffer_free(&b);
    }
    settings_free(&first);
}
