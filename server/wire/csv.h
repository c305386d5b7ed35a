/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * CSV of RFC 4180: one header for all kinds, `kind` first; a column is a JSON member of the contract, nested ones (dials, setups, moves, proof,
 * aliases, counter, void) hold their JSON text in the cell. So a row is exactly one NDJSON line, and both go through the same decoder.
 * Cells that a spreadsheet would run as a formula (= + - @ tab, not a number) are written with a leading apostrophe, and read back without it.
 */
#ifndef BIASBOOK_WIRE_CSV_H
#define BIASBOOK_WIRE_CSV_H

#include "../ground/buffer.h"
#include "../ground/fault.h"
#include "../ground/memory.h"

void csv_write_header(struct buffer *b);                                            /* header line with CRLF */
bool csv_write_line(struct buffer *b, const char *json, size_t n, struct fault *f); /* NDJSON object -> one CSV record with CRLF */

/* Reading is lenient where spreadsheets differ: a byte order mark, LF alone or CR alone as line end, header names in any case and with spaces or dashes for
 * underscores, columns in any order, missing columns and missing last cells, empty lines, TRUE and FALSE in capitals. It is strict where a value could be misread: decimal commas
 * must be declared, and then a point is refused; quotes must close. */
struct csv_reader; /* private: holds the header's columns and the unfinished record */
struct csv_reader *csv_reader_new(char separator, bool decimal_comma) __attribute__((warn_unused_result));
void csv_reader_free(struct csv_reader *r);
enum csv_step { CSV_MORE, CSV_RECORD, CSV_FAILED };
/* Feeds bytes; stops after each complete record: `*used` tells how many bytes were eaten, the record is in csv_record_json. CSV_MORE may leave bytes uneaten (after the header or an
 * empty line): go on with them. Pass n = 0 at the end of input to flush a last record without a line end. CSV_FAILED: the header is wrong or memory is out; nothing more can be
 * read. A record that is broken (quotes, too long, too many cells) is a CSV_RECORD whose csv_record_json says so. */
enum csv_step csv_feed(struct csv_reader *r, const char *bytes, size_t n, size_t *used, struct fault *f);
/* The record just completed as a JSON object (empty cells left out); false when a column or cell cannot be turned (field = the column). `line` is where it began, from 1. */
bool csv_record_json(struct csv_reader *r, struct buffer *json, long *line, struct fault *f);

#endif
