/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Pages, scripts and styles: those inside the binary, or, while designing, those of a folder read at each request. One flat folder, no
 * subfolders. The tag is a digest of the bytes, so it is strong and survives a restart.
 */
#include "inside.h"

#include "../ground/embedded.h"
#include "../ground/secrets.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define TAG_TEXT 33 /* half of the digest in hexadecimal and a NUL: 128 bits */

struct asset {
    const struct embedded *file;
    const char *type;
    char etag[TAG_TEXT];
};

struct assets {
    const char *folder; /* NULL: embedded */
    size_t count;
    struct asset asset[];
};

static const char *type_of(const char *name)
{
    static const char *const types[][2] = {
        {".html", "text/html; charset=utf-8"},
        {".js", "text/javascript; charset=utf-8"},
        {".css", "text/css; charset=utf-8"},
        {".svg", "image/svg+xml"},
        {".webmanifest", "application/manifest+json"},
        {".json", "application/json"},
        {".png", "image/png"},
        {".ico", "image/vnd.microsoft.icon"},
        {".txt", "text/plain; charset=utf-8"},
    };
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot && i < sizeof types / sizeof *types; i++)
        if (strcmp(dot, types[i][0]) == 0)
            return types[i][1];
    return "application/octet-stream";
}

static void tag_of(const void *bytes, size_t n, char *out)
{
    uint8_t digest[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    digest_of(bytes, n, digest);
    snprintf(out, TAG_TEXT, "%.32s", digest_hex(digest, hex));
}

struct assets *assets_new(const char *folder, struct fault *f)
{
    size_t count = 0;
    while (!folder && embedded_static[count].name)
        count++;
    struct assets *a = mem_zero(1, sizeof *a + count * sizeof a->asset[0]);
    if (!a) {
        fault_add(f, FAULT_MEMORY, "", "out-of-memory", "out of memory");
        return NULL;
    }
    a->folder = folder;
    a->count = count;
    for (size_t i = 0; i < count; i++) {
        const struct embedded *e = &embedded_static[i];
        a->asset[i] = (struct asset){.file = e, .type = type_of(e->name)};
        tag_of(e->data, embedded_length(e), a->asset[i].etag);
    }
    return a;
}

void assets_free(struct assets *a)
{
    mem_free(a);
}

/* A plain file name: no folders, nothing hidden. */
static bool plain_name(const char *name)
{
    return *name && *name != '.' && strlen(name) <= LIMIT_SHORT_TEXT &&
           name[strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789.-_")] == '\0';
}

static bool answer_from_folder(const struct assets *a, const char *name, struct reply *r)
{
    char path[1024], bytes[16384];
    struct stat s;
    if (snprintf(path, sizeof path, "%s/%s", a->folder, name) >= (int)sizeof path)
        return false;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return false;
    ssize_t n = -1;
    if (fstat(fd, &s) == 0 && S_ISREG(s.st_mode) && s.st_size <= LIMIT_ASSET)
        while ((n = read(fd, bytes, sizeof bytes)) > 0)
            buffer_add(&r->body, bytes, (size_t)n);
    close(fd);
    if (n != 0)
        return false;
    r->content_type = type_of(name);
    tag_of(r->body.data ? r->body.data : "", r->body.length, r->etag);
    return true;
}

static bool answer_from_binary(const struct assets *a, const char *name, struct reply *r)
{
    for (size_t i = 0; i < a->count; i++) {
        const struct asset *s = &a->asset[i];
        if (strcmp(s->file->name, name) != 0)
            continue;
        r->fixed = s->file->data;
        r->fixed_length = embedded_length(s->file);
        r->content_type = s->type;
        memcpy(r->etag, s->etag, sizeof s->etag);
        return true;
    }
    return false;
}

bool assets_answer(const struct assets *a, struct exchange *x)
{
    struct reply *r = &x->reply;
    const char *name = x->request.path + 1;
    if (x->request.path[0] != '/')
        return false;
    if (!*name)
        name = "index.html";
    if (!plain_name(name))
        return false;
    if (a->folder ? answer_from_folder(a, name, r) : answer_from_binary(a, name, r)) {
        r->status = 200;
        snprintf(r->cache_control, sizeof r->cache_control, "no-cache"); /* kept, but asked about each time: a tag costs one short reply */
        return true;
    }
    if (strcmp(name, "favicon.ico") != 0)
        return false;
    r->status = 204; /* browsers ask for it whatever the page says */
    snprintf(r->cache_control, sizeof r->cache_control, "max-age=86400");
    return true;
}
