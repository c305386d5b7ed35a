/* SPDX-License-Identifier: GPL-3.0-or-later
 * See club.h. */
#include "club.h"

#include "actions/importer.h"
#include "fuzz.h"

#include <dirent.h>
#include <string.h>
#include <unistd.h>

static char folder[64];

static void remove_folder(void)
{
    DIR *d = opendir(folder);
    for (struct dirent *e; d && (e = readdir(d)) != NULL;) {
        char path[400];
        snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
        if (e->d_name[0] != '.')
            unlink(path);
    }
    if (d)
        closedir(d);
    rmdir(folder);
}

const char *fuzz_folder(void)
{
    if (!*folder) {
        snprintf(folder, sizeof folder, "%s/biasbook-fuzz-XXXXXX", access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
        PROMISE(mkdtemp(folder));
        atexit(remove_folder);
    }
    return folder;
}

static void lines(struct buffer *b)
{
    for (int i = 0; i < 2; i++)
        buffer_format(b,
                      "{\"kind\":\"deck\",\"id\":\"deck-%d\",\"name\":\"Deck %d\",\"medium\":\"cassette\",\"heads\":3,"
                      "\"bias_dial\":{\"low\":-4,\"high\":4,\"scale\":\"db\"},\"level_dial\":{\"low\":-4,\"high\":4,\"scale\":\"db\"}}\n",
                      i, i);
    for (int i = 0; i < 3; i++)
        buffer_format(b, "{\"kind\":\"stock\",\"id\":\"stock-%d\",\"name\":\"Stock %d\",\"class\":\"type-%d\"}\n", i, i, i % 2 + 1);
    for (int i = 0; i < 12; i++) {
        buffer_format(
            b, "{\"kind\":\"calibration\",\"id\":\"00000000-0000-4000-8000-0000000000%02d\",\"deck\":\"deck-%d\",\"stock\":\"stock-%d\",",
            i, i % 2, i % 3);
        buffer_format(b, "\"made_at\":\"2024-03-%02dT10:00:00Z\",\"bias\":%d.5,\"level\":-0.25,\"low_db\":0.25,\"high_db\":-0.5,", i + 1,
                      i % 3);
        buffer_text(
            b,
            "\"moves\":[{\"bias\":0,\"level\":0,\"low_db\":0.5,\"high_db\":2},{\"bias\":1,\"level\":0,\"low_db\":0.5,\"high_db\":1}]}\n");
    }
    buffer_text(
        b, "{\"kind\":\"service\",\"id\":\"00000000-0000-4000-8000-000000000101\",\"deck\":\"deck-0\",\"made_at\":\"2024-03-05T10:00:00Z\","
           "\"service_kind\":\"heads-replaced\",\"resets\":true}\n"
           "{\"kind\":\"check\",\"id\":\"00000000-0000-4000-8000-000000000102\",\"deck\":\"deck-1\",\"made_at\":\"2024-03-06T10:00:00Z\","
           "\"check_kind\":\"playback\",\"low_db\":0.25,\"high_db\":0}\n");
}

struct store *fuzz_club(const char *name, char *path, size_t n)
{
    struct fault f = {0};
    struct buffer b;
    struct import_counts counts;
    PROMISE((size_t)snprintf(path, n, "%s/%s", fuzz_folder(), name) < n);
    struct store *s = store_open(&(struct store_options){.path = path, .create = true, .must_be_new = true}, &f);
    struct importer *i = s ? importer_new(s, &(struct import_options){.now_us = clock_now_us()}, &f) : NULL;
    PROMISE(s && i);
    buffer_init(&b, 64 * 1024);
    lines(&b);
    PROMISE(importer_feed(i, b.data, b.length, &f) && importer_finish(i, &f));
    importer_counts(i, &counts);
    if (counts.accepted != 19) {
        buffer_clear(&b);
        importer_report(i, &b);
        fprintf(stderr, "%s\n", b.data);
    }
    PROMISE(counts.accepted == 19 && counts.refused == 0);
    importer_free(i);
    buffer_free(&b);
    return s;
}
