/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What reads bytes of strangers, one target each: takes any bytes and ends the process where a promise is broken. `make fuzz` lets libFuzzer look for
 * such bytes; test_corpus.c tries those in corpus/ at each check, with whatever was found once.
 */
#ifndef BIASBOOK_TESTS_FUZZ_H
#define BIASBOOK_TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

void fuzz_json(const uint8_t *bytes, size_t n);   /* a line of an import: what is accepted is written and read back the same */
void fuzz_csv(const uint8_t *bytes, size_t n);    /* records do not depend on how the bytes are divided */
void fuzz_form(const uint8_t *bytes, size_t n);   /* fields are text without NUL; a calibration comes out or a fault does */
void fuzz_query(const uint8_t *bytes, size_t n);  /* a request's target: what is taken is a plain path */
void fuzz_date(const uint8_t *bytes, size_t n);   /* what is a time is written and read back the same */
void fuzz_etag(const uint8_t *bytes, size_t n);   /* a list that matches strongly matches weakly */
void fuzz_number(const uint8_t *bytes, size_t n); /* the C library reads the same number, and it is written and read back the same */

void fuzz_authorization(const uint8_t *bytes, size_t n); /* what a head says of who asks: a key, a token or an address is a piece of it */
void fuzz_config(const uint8_t *bytes, size_t n);        /* a file of settings: what is taken is written and taken again the same */
void fuzz_cursor(const uint8_t *bytes, size_t n);        /* `after` of a list: answered or refused, and the pages come to an end */
void fuzz_ndjson(const uint8_t *bytes, size_t n);        /* a whole import: what comes of it does not depend on how the bytes are divided */
void fuzz_database(const uint8_t *bytes, size_t n);      /* a damaged club's file: opened or refused, read or a fault */

#define PROMISE(holds)                                                                                                                     \
    do {                                                                                                                                   \
        if (!(holds)) {                                                                                                                    \
            fprintf(stderr, "%s:%d: broken: %s\n", __FILE__, __LINE__, #holds);                                                            \
            abort();                                                                                                                       \
        }                                                                                                                                  \
    } while (0)

#endif
