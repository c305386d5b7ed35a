/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Location and Link as relative references (RFC 3986, 4.2). A proxy may show the daemon below a path of its own, as https://club.example/tapes/; what is said relative to the
 * request's own address is right there too, whatever the proxy tells or keeps back.
 */
#include "inside.h"

#include <stdio.h>
#include <string.h>

/* Appends "../" for each folder of `path`; the path was taken apart already, so it holds no encoded slash. */
static void up(struct buffer *b, const char *path)
{
    int folders = -1;
    for (const char *p = path; *p; p++)
        folders += *p == '/';
    if (folders < 1)
        buffer_text(b, "./");
    for (int i = 0; i < folders; i++)
        buffer_text(b, "../");
}

void relative_reference(struct buffer *b, const char *path, const char *reference)
{
    if (reference[0] != '/' || reference[1] == '/') {
        buffer_text(b, reference);
        return;
    }
    up(b, path);
    buffer_text(b, reference + 1);
}

void relative_link(struct buffer *b, const char *path, const char *link)
{
    const char *end = link[0] == '<' ? strchr(link, '>') : NULL;
    if (!end || link[1] != '/' || link[2] == '/') {
        buffer_text(b, link);
        return;
    }
    buffer_char(b, '<');
    up(b, path);
    buffer_text(b, link + 2);
}
