/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Small replies with nothing but the usual headers, made once and used again. Making a response with its seven headers costs libmicrohttpd some
 * thirty allocations, more than an answer from memory itself; here a reply of the same type and length is copied into one that is free.
 */
#ifndef BIASBOOK_HTTP_PREPARED_H
#define BIASBOOK_HTTP_PREPARED_H

#include <microhttpd.h>
#include <stdbool.h>
#include <stddef.h>

#define PREPARED_BYTES    4096 /* longest body kept so */
#define PREPARED_TYPE     48
#define PREPARED_ETAG     68
#define PREPARED_LOCATION 160

struct prepared {
    struct MHD_Response *response;
    struct prepared *next;
    size_t size;
    char type[PREPARED_TYPE];
    char etag[PREPARED_ETAG], location[PREPARED_LOCATION]; /* headers of this one reply; "" = none */
    char bytes[];                                          /* the body: written only while taken */
};

struct prepared_store;

/* Adds the usual headers for a body of this type; false when memory is out. */
typedef bool (*prepared_headers)(struct MHD_Response *response, const char *type);

struct prepared_store *prepared_new(prepared_headers headers); /* NULL: out of memory */
void prepared_free(struct prepared_store *s);                  /* all must have been given back; NULL allowed */
/* One that nobody uses, for this type and size; NULL when there is none to be had: then make an ordinary response. */
struct prepared *prepared_take(struct prepared_store *s, const char *type, size_t size);
/* Two headers that a receipt has besides, taken off again when it is given back; "" = none. False when memory is out or one is too long. */
bool prepared_mark(struct prepared *p, const char *etag, const char *location);
void prepared_give(struct prepared_store *s, struct prepared *p); /* its last byte is sent; NULL allowed */

#endif
