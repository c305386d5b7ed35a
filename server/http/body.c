/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Receiving a body: records and forms in memory that grows with what really comes, uploads in a file without a name. Its length was tested
 * against the route's largest body before the first byte.
 */
#include "inside.h"

#include "../ground/log.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int spool_open(const char *folder)
{
    int fd = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    if (fd >= 0 || (errno != EOPNOTSUPP && errno != EISDIR))
        return fd;
    char path[256]; /* a file system without unnamed files */
    if (snprintf(path, sizeof path, "%s/biasbook-XXXXXX", folder) >= (int)sizeof path)
        return -1;
    fd = mkostemp(path, O_CLOEXEC);
    if (fd >= 0)
        unlink(path);
    return fd;
}

static void spool_failed(struct call *c)
{
    log_line(LOG_ERROR, "upload not kept", "folder", c->client->http->options.spool_dir, "reason", strerror(errno), NULL);
    call_refuse(c, REFUSE_SPOOL);
}

void body_open(struct call *c)
{
    c->body.max = (size_t)route_largest_body(c->route);
    if (c->route->body != BODY_SPOOL)
        return;
    c->x.request.body_fd = spool_open(c->client->http->options.spool_dir);
    if (c->x.request.body_fd < 0)
        spool_failed(c);
}

void body_take(struct call *c, const char *bytes, size_t n)
{
    if (c->route->body != BODY_SPOOL) {
        buffer_add(&c->body, bytes, n);
        return;
    }
    while (n > 0 && c->refused == REFUSE_NOTHING) {
        ssize_t wrote = write(c->x.request.body_fd, bytes, n);
        if (wrote < 0 && errno != EINTR)
            spool_failed(c);
        if (wrote > 0) {
            bytes += wrote;
            n -= (size_t)wrote;
            c->x.request.body_length += (size_t)wrote;
        }
    }
}

void body_close(struct call *c)
{
    if (c->route->body == BODY_SPOOL) {
        if (lseek(c->x.request.body_fd, 0, SEEK_SET) < 0)
            spool_failed(c);
        return;
    }
    if (c->body.failed)
        call_refuse(c, REFUSE_MEMORY);
    c->x.request.body = c->body.data ? c->body.data : "";
    c->x.request.body_length = c->body.length;
}
