/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A damaged club's file: the bytes say what is done to a good one. It opens or is refused with a fault; what is read from it is a row, none, or a fault; the
 * proof of it finds fault or not; and nothing else happens. Two bytes say where it is cut (of 65536), then each five where (three, of 2^24) something else stands, what (one),
 * and whether it is taken exclusive-or, put there, put there eight times, or moved there from the page before (one). */
#include "fuzz.h"

#include "actions/exporter.h"
#include "club.h"
#include "store/backup.h"
#include "store/reader.h"

#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#define LARGEST (1024 * 1024)
#define PAGE    4096

static uint8_t good[LARGEST], bad[LARGEST];
static size_t good_n;

static void make_good(void)
{
    char path[100];
    store_close(fuzz_club("good.db", path, sizeof path));
    FILE *file = fopen(path, "rb");
    PROMISE(file);
    good_n = fread(good, 1, sizeof good, file);
    fclose(file);
    PROMISE(good_n > PAGE && good_n < sizeof good);
}

static size_t damage(const uint8_t *bytes, size_t n)
{
    size_t left = good_n;
    memcpy(bad, good, good_n);
    if (n >= 2)
        left -= good_n * ((size_t)bytes[0] * 256 + bytes[1]) / 65536;
    for (size_t i = 2; i + 5 <= n && left; i += 5) {
        size_t at = ((size_t)bytes[i] << 16 | (size_t)bytes[i + 1] << 8 | bytes[i + 2]) % left;
        switch (bytes[i + 4] % 4) {
        case 0: bad[at] ^= bytes[i + 3]; break;
        case 1: bad[at] = bytes[i + 3]; break;
        case 2: memset(bad + at, bytes[i + 3], left - at < 8 ? left - at : 8); break;
        default:
            if (at >= PAGE)
                memmove(bad + at, bad + at - PAGE, left - at < bytes[i + 3] ? left - at : bytes[i + 3]);
        }
    }
    return left;
}

static bool nowhere(void *user, const char *bytes, size_t n)
{
    (void)bytes;
    *(size_t *)user += n;
    return true;
}

static void use(const char *path)
{
    struct fault f = {0};
    size_t length = 0;
    PROMISE(store_verify_file(path, &f) != fault_set(&f));
    f = (struct fault){0};
    struct store *s = store_open(&(struct store_options){.path = path}, &f);
    PROMISE((s != NULL) != fault_set(&f));
    if (!s)
        return;
    PROMISE(export_club(s, &(struct export_options){.format = FORMAT_NDJSON, .since_us = CLOCK_NONE}, nowhere, &length, &f) !=
            fault_set(&f));
    f = (struct fault){0};
    PROMISE(store_check(s, &f) != fault_set(&f));
    store_close(s);
}

void fuzz_database(const uint8_t *bytes, size_t n)
{
    static const char *const beside[] = {"-wal", "-shm", "-journal"};
    char path[100], other[120];
    if (!good_n)
        make_good();
    size_t left = damage(bytes, n);
    snprintf(path, sizeof path, "%s/bad.db", fuzz_folder());
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    PROMISE(fd >= 0 && write(fd, bad, left) == (ssize_t)left);
    close(fd);
    use(path);
    unlink(path);
    for (size_t i = 0; i < 3; i++) {
        snprintf(other, sizeof other, "%s%s", path, beside[i]);
        unlink(other);
    }
}
