/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What every action needs: reading parameters strictly, filling replies, and the one way a write is handed to the store and answered.
 */
#ifndef BIASBOOK_ACTIONS_ANSWER_H
#define BIASBOOK_ACTIONS_ANSWER_H

#include "../store/reader.h"
#include "../store/writer.h"
#include "house.h"

/* ---- parameters: absent leaves *out alone and is fine; a wrong one adds a fault (400 not parsable, 422 out of range) ---- */
bool parameter_number(const struct request *q, const char *name, double low, double high, double *out, struct fault *f);
bool parameter_count(const struct request *q, const char *name, long low, long high, long *out, struct fault *f);
bool parameter_time(const struct request *q, const char *name, int64_t *us, struct fault *f);
bool parameter_flag(const struct request *q, const char *name, bool *out, struct fault *f); /* 0, 1, true, false */
/* Refuses parameters that are not in this NULL-closed list, and repeated ones, by name. */
bool parameters_allowed(const struct request *q, const char *const *names, struct fault *f);

/* Refuses all parameters by name: for rows of the routes table that take none. */
enum action_result answer_no_parameters(struct exchange *x);

/* ---- replies ---- */
enum action_result answer_fault(struct exchange *x, const struct fault *f); /* problem document; ACTION_DONE */
/* 200 with what was written into x->reply.body; a failed buffer becomes 500. */
enum action_result answer_json(struct exchange *x);
struct buffer *json_body(struct exchange *x); /* the reply's body, type set to application/json */

/* ---- reading ---- */
/* Takes a reader or fills the reply with the fault. */
struct reader *reader_or_answer(struct house *house, struct exchange *x);

/* ---- writing ---- */
/* A zeroed write in the exchange's arena with who asks filled in; NULL when memory is out. */
struct write *write_new(struct house *house, struct exchange *x, enum write_kind kind);
/* Hands it over; the reply (201, 200, 409, 412, 503 …) is filled when it is committed. `collection` is the path for Location, e.g. "/api/decks/". */
enum action_result write_submit(struct house *house, struct exchange *x, struct write *w);
/* The larger of now and the last commit: what "in the future" is measured against. */
int64_t latest_us(const struct house *house, const struct request *q);
/* Path UUID; false and a 400 fault when it is not one. */
bool path_uuid(const struct exchange *x, int capture, struct uuid *out, struct fault *f);

#endif
