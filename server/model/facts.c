/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Keeping records for the model; called once a record when the club is loaded and once a commit afterwards.
 */
#include "facts.h"

#include "../ground/memory.h"
#include "../trade/check.h"
#include "../trade/spool.h"

#include <string.h>

void facts_init(struct facts *x)
{
    *x = (struct facts){0};
    words_init(&x->words);
}

void facts_free(struct facts *x)
{
    for (int i = 0; i < x->deck_count; i++) {
        mem_free(x->decks[i]->services);
        mem_free(x->decks[i]);
    }
    for (int i = 0; i < x->stock_count; i++)
        mem_free(x->stocks[i]);
    mem_free(x->decks);
    mem_free(x->stocks);
    mem_free(x->rows);
    mem_free(x->index);
    mem_free(x->deck_slot);
    mem_free(x->stock_slot);
    words_free(&x->words);
    facts_init(x);
}

/* ---- ids of decks and stocks: a table by word ---- */

static int slot(const int *slots, int room, int word)
{
    return word < 0 || word >= room ? -1 : slots[word] - 1;
}

static bool slot_room(int **slots, int *room, int word)
{
    if (word < *room)
        return true;
    int next = word + 64 + word / 2;
    int *more = mem_grow(*slots, (size_t)next, sizeof *more);
    if (!more)
        return false;
    memset(more + *room, 0, (size_t)(next - *room) * sizeof *more);
    *slots = more;
    *room = next;
    return true;
}

/* Room for one more pointer; NULL when memory is out, the old block lives then. */
static void *pointer_room(void *array, int count, int *room)
{
    if (count < *room)
        return array;
    int next = *room ? *room * 2 : 32;
    void *more = mem_grow(array, (size_t)next, sizeof(void *));
    if (more)
        *room = next;
    return more;
}

int facts_deck(const struct facts *x, const char *id)
{
    return slot(x->deck_slot, x->deck_slot_room, words_find(&x->words, id));
}

int facts_stock(const struct facts *x, const char *id)
{
    return slot(x->stock_slot, x->stock_slot_room, words_find(&x->words, id));
}

static struct fact_deck *deck_for(struct facts *x, const char *id, int *number)
{
    int word;
    if (!words_put(&x->words, id, &word) || !slot_room(&x->deck_slot, &x->deck_slot_room, word))
        return NULL;
    *number = x->deck_slot[word] - 1;
    if (*number >= 0)
        return x->decks[*number];
    struct fact_deck **all = pointer_room(x->decks, x->deck_count, &x->deck_room);
    if (!all)
        return NULL;
    x->decks = all;
    struct fact_deck *d = mem_zero(1, sizeof *d);
    if (!d)
        return NULL;
    *number = x->deck_count;
    x->decks[x->deck_count++] = d;
    x->deck_slot[word] = x->deck_count;
    return d;
}

bool facts_put_deck(struct facts *x, const struct deck *d, int *number)
{
    int model, n;
    struct fact_deck *k = words_put(&x->words, d->model, &model) ? deck_for(x, d->id, &n) : NULL;
    if (!k)
        return false;
    k->deck = *d;
    k->deck.notes = NULL;
    k->model = model;
    if (number)
        *number = n;
    return true;
}

bool facts_put_stock(struct facts *x, const struct stock *s, int *number)
{
    int family, word;
    if (!words_put(&x->words, s->family, &family) || !words_put(&x->words, s->id, &word) ||
        !slot_room(&x->stock_slot, &x->stock_slot_room, word))
        return false;
    int n = x->stock_slot[word] - 1;
    if (n < 0) {
        struct fact_stock **all = pointer_room(x->stocks, x->stock_count, &x->stock_room);
        if (!all)
            return false;
        x->stocks = all;
        struct fact_stock *new = mem_zero(1, sizeof *new);
        if (!new)
            return false;
        n = x->stock_count;
        x->stocks[x->stock_count++] = new;
        x->stock_slot[word] = x->stock_count;
    }
    struct fact_stock *k = x->stocks[n];
    *k = (struct fact_stock){.tape_class = s->tape_class, .family = family, .sheet = {s->sheet_bias_db, s->sheet_level_db}, .stock = *s};
    k->stock.notes = NULL;
    memcpy(k->id, s->id, sizeof k->id);
    if (number)
        *number = n;
    return true;
}

/* ---- services ---- */

static bool service_before(const struct fact_service *a, const struct fact_service *b)
{
    if (a->made_at_us != b->made_at_us)
        return a->made_at_us < b->made_at_us;
    return memcmp(a->id.bytes, b->id.bytes, sizeof a->id.bytes) < 0;
}

static void remove_service(struct fact_deck *d, const struct uuid *id)
{
    for (int i = 0; i < d->service_count; i++)
        if (uuid_same(&d->services[i].id, id)) {
            memmove(d->services + i, d->services + i + 1, (size_t)(d->service_count - i - 1) * sizeof *d->services);
            d->service_count--;
            return;
        }
}

static bool put_service(struct fact_deck *d, const struct fact_service *new)
{
    if (d->service_count == d->service_room) {
        int room = d->service_room ? d->service_room * 2 : 4;
        struct fact_service *more = mem_grow(d->services, (size_t)room, sizeof *more);
        if (!more)
            return false;
        d->services = more;
        d->service_room = room;
    }
    int at = d->service_count++;
    while (at > 0 && service_before(new, &d->services[at - 1])) {
        d->services[at] = d->services[at - 1];
        at--;
    }
    d->services[at] = *new;
    return true;
}

bool facts_put_service(struct facts *x, const struct service *s, bool is_void)
{
    int number = facts_deck(x, s->deck);
    if (number < 0)
        return true; /* not known: nothing it could explain */
    struct fact_service new = {.id = s->id,
                               .made_at_us = s->made_at_us,
                               .resets = s->resets,
                               .shift = {given(s->bias_shift_db) ? s->bias_shift_db : 0, given(s->level_shift_db) ? s->level_shift_db : 0}};
    remove_service(x->decks[number], &s->id);
    return is_void || put_service(x->decks[number], &new);
}

bool facts_put_break(struct facts *x, int deck, int64_t when)
{
    struct fact_service new = {.made_at_us = when, .resets = true, .found = true};
    return put_service(x->decks[deck], &new);
}

void facts_clear_weights(struct facts *x)
{
    for (int i = 0; i < x->row_count; i++)
        x->rows[i].tau[0] = x->rows[i].tau[1] = 0;
}

void facts_clear_found(struct facts *x)
{
    for (int d = 0; d < x->deck_count; d++) {
        struct fact_deck *k = x->decks[d];
        int kept = 0;
        for (int i = 0; i < k->service_count; i++)
            if (!k->services[i].found)
                k->services[kept++] = k->services[i];
        k->service_count = kept;
        memset(k->shared, 0, sizeof k->shared);
    }
}

bool facts_copy_found(struct facts *to, const struct facts *from)
{
    facts_clear_found(to);
    for (int d = 0; d < from->deck_count && d < to->deck_count; d++)
        for (int i = 0; i < from->decks[d]->service_count; i++)
            if (from->decks[d]->services[i].found && !facts_put_break(to, d, from->decks[d]->services[i].made_at_us))
                return false;
    for (int d = 0; d < from->deck_count && d < to->deck_count; d++)
        memcpy(to->decks[d]->shared, from->decks[d]->shared, sizeof to->decks[d]->shared);
    return true;
}

void facts_shift(const struct fact_deck *d, int64_t when, double shift[2])
{
    shift[0] = shift[1] = 0;
    for (int i = 0; i < d->service_count && d->services[i].made_at_us <= when; i++)
        for (int r = 0; r < 2; r++)
            shift[r] += d->services[i].shift[r];
}

int facts_era(const struct fact_deck *d, int64_t when)
{
    int era = 0;
    for (int i = 0; i < d->service_count && d->services[i].made_at_us <= when; i++)
        era += d->services[i].resets;
    return era;
}

/* ---- calibrations ---- */

static size_t row_slot(const struct facts *x, const struct uuid *id)
{
    size_t s = (size_t)word_hash(1, id->bytes, sizeof id->bytes) & (x->slots - 1);
    while (x->index[s] && !uuid_same(&x->rows[x->index[s] - 1].id, id))
        s = (s + 1) & (x->slots - 1);
    return s;
}

int facts_row(const struct facts *x, const struct uuid *id)
{
    return x->slots ? x->index[row_slot(x, id)] - 1 : -1;
}

static bool row_room(struct facts *x)
{
    if (x->row_count == x->row_room) {
        int room = x->row_room ? x->row_room + x->row_room / 2 : 256;
        struct fact_row *more = mem_grow(x->rows, (size_t)room, sizeof *more);
        if (!more)
            return false;
        x->rows = more;
        x->row_room = room;
    }
    if ((size_t)x->row_count * 2 < x->slots)
        return true;
    size_t slots = x->slots ? x->slots * 2 : 1024;
    int *index = mem_zero(slots, sizeof *index);
    if (!index)
        return false;
    mem_free(x->index);
    x->index = index;
    x->slots = slots;
    for (int i = 0; i < x->row_count; i++)
        x->index[row_slot(x, &x->rows[i].id)] = i + 1;
    return true;
}

static enum row_state state_of(const struct calibration *c, const struct stamp *stamp)
{
    return stamp && stamp->is_void ? ROW_VOID
           : c->noise_reduction    ? ROW_NOISE_REDUCTION
           : c->mpx_filter         ? ROW_MPX
           : !c->settled           ? ROW_UNSETTLED
                                   : ROW_USED;
}

/* 0 … 1 of the side, where both the place and the side's length are known. */
static double part_of(const struct fact_deck *d, const struct fact_stock *s, const struct calibration *c)
{
    struct setup setup;
    if (!given(c->position_s) || !deck_setup(&d->deck, c->setup, &setup))
        return ABSENT;
    double side = side_seconds(&s->stock, &setup);
    if (!given(side) || !(side > 0))
        return ABSENT;
    double part = c->position_s / side;
    return part < 0 ? 0 : part > 1 ? 1 : part;
}

static void last_moves(const struct calibration *c, struct fact_row *row)
{
    int n = 0;
    for (int i = (c->move_count < LIMIT_MOVES ? c->move_count : LIMIT_MOVES) - 1; i >= 0 && n < FACT_MOVES; i--) {
        const struct move *m = &c->moves[i];
        if (given(m->low_db) && given(m->high_db))
            row->moved[n++] = (struct fact_move){{m->bias, m->level}, m->low_db, m->high_db};
    }
    for (; n < FACT_MOVES; n++)
        row->moved[n].low_db = ABSENT;
}

bool facts_put_row(struct facts *x, const struct calibration *c, const struct stamp *stamp, int *number)
{
    int deck = facts_deck(x, c->deck), stock = facts_stock(x, c->stock), unasked;
    /* cppcheck-suppress uninitvar ; written in the next line */
    number = number ? number : &unasked;
    *number = -1;
    if (deck < 0 || stock < 0)
        return true;
    struct fact_row row = {.id = c->id,
                           .made_at_us = c->made_at_us,
                           .deck = deck,
                           .stock = stock,
                           .recordings = (int16_t)(c->recordings > LIMIT_RECORDINGS ? LIMIT_RECORDINGS : c->recordings),
                           .channel = (uint8_t)c->channel,
                           .method = (uint8_t)c->bias_method,
                           .bias_stop = (uint8_t)c->bias_stop,
                           .level_stop = (uint8_t)c->level_stop,
                           .state = (uint8_t)state_of(c, stamp),
                           .for_noise_reduction = c->for_noise_reduction,
                           .position_s = c->position_s,
                           .reading = {c->bias, c->level},
                           .low_db = c->low_db,
                           .high_db = c->high_db,
                           .treble_db = c->treble_db,
                           .low_hz = c->low_hz,
                           .high_hz = c->high_hz};
    last_moves(c, &row);
    row.part = part_of(x->decks[deck], x->stocks[stock], c);
    const char *setup = strcmp(c->setup, "main") == 0 ? "" : c->setup;
    if (!words_put(&x->words, setup, &row.setup) || !words_put(&x->words, c->batch, &row.batch) ||
        !words_put(&x->words, c->tape, &row.tape) || !words_put(&x->words, stamp ? stamp->member : "", &row.member) || !row_room(x))
        return false;
    size_t s = row_slot(x, &c->id);
    if (!x->index[s]) {
        x->row_count++;
        x->index[s] = x->row_count;
    } else
        x->used -= x->rows[x->index[s] - 1].state == ROW_USED;
    *number = x->index[s] - 1;
    x->rows[*number] = row;
    x->used += row.state == ROW_USED;
    return true;
}

/* ---- copy ---- */

static void *duplicate(const void *from, size_t n)
{
    void *to = mem_alloc(n);
    if (to && n)
        memcpy(to, from, n);
    return to;
}

static bool copy_decks(struct facts *to, const struct facts *from)
{
    for (int i = 0; i < from->deck_count; i++) {
        const struct fact_deck *d = from->decks[i];
        struct fact_deck *new = duplicate(d, sizeof *d);
        if (!new)
            return false;
        new->services = duplicate(d->services, (size_t)d->service_room * sizeof *d->services);
        to->decks[to->deck_count++] = new;
        if (!new->services)
            return false;
    }
    for (int i = 0; i < from->stock_count; i++) {
        to->stocks[i] = duplicate(from->stocks[i], sizeof *from->stocks[i]);
        if (!to->stocks[i])
            return false;
        to->stock_count++;
    }
    return true;
}

bool facts_copy(struct facts *to, const struct facts *from)
{
    facts_init(to);
    to->slots = from->slots;
    to->deck_room = from->deck_room;
    to->stock_room = from->stock_room;
    to->row_count = from->row_count;
    to->row_room = from->row_room;
    to->used = from->used;
    to->deck_slot_room = from->deck_slot_room;
    to->stock_slot_room = from->stock_slot_room;
    to->decks = mem_zero((size_t)from->deck_room, sizeof *to->decks);
    to->stocks = mem_zero((size_t)from->stock_room, sizeof *to->stocks);
    to->rows = duplicate(from->rows, (size_t)from->row_room * sizeof *from->rows);
    to->index = duplicate(from->index, from->slots * sizeof *from->index);
    to->deck_slot = duplicate(from->deck_slot, (size_t)from->deck_slot_room * sizeof *from->deck_slot);
    to->stock_slot = duplicate(from->stock_slot, (size_t)from->stock_slot_room * sizeof *from->stock_slot);
    if (to->decks && to->stocks && to->rows && to->index && to->deck_slot && to->stock_slot && words_copy(&to->words, &from->words) &&
        copy_decks(to, from))
        return true;
    facts_free(to);
    return false;
}
