/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Gathers the moves of all calibrations into sums a deck, cell and tone. Called once a logged row with moves and once a
 * changed deck; keeps the moves themselves, so that what was added can be taken out to the last bit and a deck whose dials
 * were corrected is counted again.
 */
#include "slope_parts.h"

#include "../ground/memory.h"
#include <stdlib.h>
#include <string.h>

struct entry {
    struct uuid id;
    int32_t deck;             /* -1: free */
    int32_t next_in_bucket;   /* also chains the free ones */
    int32_t before, after;    /* in the deck's own list */
    struct slope_moves moves; /* points owned */
};

struct sums_of_deck {
    struct slope_sums *sums;
    int count, room;
};

struct known_deck {
    struct deck *deck; /* owned copy without notes */
    int32_t first;     /* entries, -1 none */
    int64_t calibrations;
    struct slope_noise noise;
    struct sums_of_deck sums;
};

struct slope_learner {
    struct entry *entries;
    int entry_count, entry_room;
    int32_t free_entry;
    int32_t *buckets; /* by UUID; bucket_count is a power of two */
    int bucket_count, used;
    struct known_deck *decks;
    int deck_count, deck_room;
    int32_t *deck_slots; /* open addressing by slug, -1 empty; a power of two, at most half full */
    int deck_slot_count;
    bool changed;
};

static uint32_t hash_of(const void *bytes, size_t n)
{
    const unsigned char *p = bytes;
    uint32_t h = 2166136261u; /* FNV-1a */
    for (size_t i = 0; i < n; i++) {
        h = (h ^ p[i]) * 16777619u;
    }
    return h ^ h >> 15;
}

struct slope_learner *slope_learner_new(void)
{
    struct slope_learner *l = mem_zero(1, sizeof *l);
    if (l) {
        l->free_entry = -1;
        l->changed = true;
    }
    return l;
}

void slope_learner_free(struct slope_learner *l)
{
    if (!l) {
        return;
    }
    for (int i = 0; i < l->entry_count; i++) {
        mem_free(l->entries[i].moves.points);
    }
    for (int i = 0; i < l->deck_count; i++) {
        mem_free(l->decks[i].deck);
        mem_free(l->decks[i].sums.sums);
    }
    mem_free(l->entries);
    mem_free(l->buckets);
    mem_free(l->decks);
    mem_free(l->deck_slots);
    mem_free(l);
}

bool slope_learner_changed(const struct slope_learner *l)
{
    return l->changed;
}

/* ---- adding and taking out ---- */

static struct slope_sums *sums_at(struct sums_of_deck *s, int cell, int tone)
{
    for (int i = 0; i < s->count; i++) {
        if (s->sums[i].cell == cell && s->sums[i].tone == tone) {
            return &s->sums[i];
        }
    }
    return NULL;
}

/* Room for two new cells, so that counting cannot fail half way. */
static bool sums_reserve(struct sums_of_deck *s)
{
    if (s->room - s->count >= TONES) {
        return true;
    }
    int room = s->room ? 2 * s->room : 4;
    struct slope_sums *grown = mem_grow(s->sums, (size_t)room, sizeof *grown);
    if (!grown) {
        return false;
    }
    s->sums = grown;
    s->room = room;
    return true;
}

static void count_in(struct known_deck *k, const struct slope_evidence *ev, int sign)
{
    if (!ev->counts) {
        return;
    }
    k->calibrations += sign;
    for (int t = 0; t < TONES; t++) {
        struct slope_sums *s = sums_at(&k->sums, ev->sums[t].cell, t);
        if (!s) {
            s = &k->sums.sums[k->sums.count++];
            *s = (struct slope_sums){.cell = ev->sums[t].cell, .tone = t};
        }
        for (int i = 0; i < SLOPE_SUMS; i++) {
            s->s[i] += sign * ev->sums[t].s[i];
        }
        s->count += sign;
        k->noise.rss[t] += sign * ev->noise.rss[t];
        k->noise.dof[t] += sign * ev->noise.dof[t];
        if (s->count == 0) {
            *s = k->sums.sums[--k->sums.count];
        }
    }
}

/* ---- decks ---- */

static int deck_find(const struct slope_learner *l, const char *id)
{
    if (!l->deck_slot_count) {
        return -1;
    }
    uint32_t mask = (uint32_t)l->deck_slot_count - 1;
    for (uint32_t i = hash_of(id, strlen(id)) & mask; l->deck_slots[i] >= 0; i = (i + 1) & mask) {
        if (!strcmp(l->decks[l->deck_slots[i]].deck->id, id)) {
            return l->deck_slots[i];
        }
    }
    return -1;
}

static void deck_slot_set(struct slope_learner *l, int32_t *slots, int count, int deck)
{
    const char *id = l->decks[deck].deck->id;
    uint32_t mask = (uint32_t)count - 1, i = hash_of(id, strlen(id)) & mask;
    while (slots[i] >= 0) {
        i = (i + 1) & mask;
    }
    slots[i] = deck;
}

static bool decks_reserve(struct slope_learner *l)
{
    if (l->deck_count == l->deck_room) {
        int room = l->deck_room ? 2 * l->deck_room : 16;
        struct known_deck *grown = mem_grow(l->decks, (size_t)room, sizeof *grown);
        if (!grown) {
            return false;
        }
        l->decks = grown;
        l->deck_room = room;
    }
    if (2 * (l->deck_count + 1) > l->deck_slot_count) {
        int count = l->deck_slot_count ? 2 * l->deck_slot_count : 32;
        int32_t *slots = mem_alloc((size_t)count * sizeof *slots);
        if (!slots) {
            return false;
        }
        memset(slots, 0xff, (size_t)count * sizeof *slots); /* -1 */
        for (int i = 0; i < l->deck_count; i++) {
            deck_slot_set(l, slots, count, i);
        }
        mem_free(l->deck_slots);
        l->deck_slots = slots;
        l->deck_slot_count = count;
    }
    return true;
}

/* All of a deck's entries counted afresh with the dials it has now. The cells are at most as many as the entries' and room grows first. */
static bool recount(struct slope_learner *l, struct known_deck *k, const struct deck *now)
{
    struct known_deck fresh = {.deck = NULL, .first = k->first};
    struct slope_evidence ev;
    for (int32_t i = k->first; i >= 0; i = l->entries[i].after) {
        slope_evidence_of(&l->entries[i].moves, now, &ev);
        if (!sums_reserve(&fresh.sums)) {
            mem_free(fresh.sums.sums);
            return false;
        }
        count_in(&fresh, &ev, 1);
    }
    mem_free(k->sums.sums);
    k->sums = fresh.sums;
    k->noise = fresh.noise;
    k->calibrations = fresh.calibrations;
    return true;
}

bool slope_learner_put_deck(struct slope_learner *l, const struct deck *d)
{
    struct deck *copy = mem_alloc(sizeof *copy);
    if (!copy) {
        return false;
    }
    *copy = *d;
    copy->notes = NULL;
    int i = deck_find(l, d->id);
    if (i >= 0) {
        if (!recount(l, &l->decks[i], copy)) {
            mem_free(copy);
            return false;
        }
        mem_free(l->decks[i].deck);
        l->decks[i].deck = copy;
    } else {
        if (!decks_reserve(l)) {
            mem_free(copy);
            return false;
        }
        l->decks[l->deck_count] = (struct known_deck){.deck = copy, .first = -1};
        deck_slot_set(l, l->deck_slots, l->deck_slot_count, l->deck_count++);
    }
    l->changed = true;
    return true;
}

/* ---- calibrations ---- */

static int32_t entry_find(const struct slope_learner *l, const struct uuid *id)
{
    if (!l->bucket_count) {
        return -1;
    }
    int32_t i = l->buckets[hash_of(id->bytes, sizeof id->bytes) & ((uint32_t)l->bucket_count - 1)];
    while (i >= 0 && !uuid_same(&l->entries[i].id, id)) {
        i = l->entries[i].next_in_bucket;
    }
    return i;
}

static bool buckets_reserve(struct slope_learner *l)
{
    if (l->used < l->bucket_count) {
        return true;
    }
    int count = l->bucket_count ? 2 * l->bucket_count : 64;
    int32_t *buckets = mem_alloc((size_t)count * sizeof *buckets);
    if (!buckets) {
        return false;
    }
    memset(buckets, 0xff, (size_t)count * sizeof *buckets);
    for (int32_t i = 0; i < l->entry_count; i++) {
        struct entry *e = &l->entries[i];
        if (e->deck >= 0) {
            uint32_t b = hash_of(e->id.bytes, sizeof e->id.bytes) & ((uint32_t)count - 1);
            e->next_in_bucket = buckets[b];
            buckets[b] = i;
        }
    }
    mem_free(l->buckets);
    l->buckets = buckets;
    l->bucket_count = count;
    return true;
}

static int32_t entry_take(struct slope_learner *l) /* -1: out of memory */
{
    if (!buckets_reserve(l)) {
        return -1;
    }
    if (l->free_entry < 0) {
        if (l->entry_count == l->entry_room) {
            int room = l->entry_room ? 2 * l->entry_room : 64;
            struct entry *grown = mem_grow(l->entries, (size_t)room, sizeof *grown);
            if (!grown) {
                return -1;
            }
            l->entries = grown;
            l->entry_room = room;
        }
        return l->entry_count++;
    }
    int32_t i = l->free_entry;
    l->free_entry = l->entries[i].next_in_bucket;
    return i;
}

static void entry_remove(struct slope_learner *l, int32_t i)
{
    struct entry *e = &l->entries[i];
    struct known_deck *k = &l->decks[e->deck];
    struct slope_evidence ev;
    slope_evidence_of(&e->moves, k->deck, &ev);
    count_in(k, &ev, -1);
    if (e->before >= 0) {
        l->entries[e->before].after = e->after;
    } else {
        k->first = e->after;
    }
    if (e->after >= 0) {
        l->entries[e->after].before = e->before;
    }
    int32_t *link = &l->buckets[hash_of(e->id.bytes, sizeof e->id.bytes) & ((uint32_t)l->bucket_count - 1)];
    while (*link != i) {
        link = &l->entries[*link].next_in_bucket;
    }
    *link = e->next_in_bucket;
    mem_free(e->moves.points);
    *e = (struct entry){.deck = -1, .next_in_bucket = l->free_entry};
    l->free_entry = i;
    l->used--;
    l->changed = true;
}

void slope_learner_remove(struct slope_learner *l, const struct uuid *id)
{
    int32_t i = entry_find(l, id);
    if (i >= 0) {
        entry_remove(l, i);
    }
}

bool slope_learner_put(struct slope_learner *l, const struct calibration *c, enum tape_class tape_class)
{
    struct move points[LIMIT_MOVES + 1];
    int deck = deck_find(l, c->deck);
    int n = deck >= 0 ? slope_moves_of(c, points) : 0;
    if (!n) {
        slope_learner_remove(l, &c->id);
        return true;
    }
    struct known_deck *k = &l->decks[deck];
    struct move *kept = mem_alloc((size_t)n * sizeof *kept);
    if (!kept || !sums_reserve(&k->sums)) {
        mem_free(kept);
        return false;
    }
    memcpy(kept, points, (size_t)n * sizeof *kept);
    int32_t i = entry_find(l, &c->id);
    if (i >= 0) {
        entry_remove(l, i); /* its place is free again: taking it cannot fail */
    }
    i = entry_take(l);
    if (i < 0) {
        mem_free(kept);
        return false;
    }
    struct entry *e = &l->entries[i];
    uint32_t b = hash_of(c->id.bytes, sizeof c->id.bytes) & ((uint32_t)l->bucket_count - 1);
    *e = (struct entry){.id = c->id,
                        .deck = deck,
                        .next_in_bucket = l->buckets[b],
                        .before = -1,
                        .after = k->first,
                        .moves = {.kind = {tape_class, ABSENT, c->low_hz, c->high_hz}, .count = n, .points = kept}};
    memcpy(e->moves.setup, c->setup, sizeof e->moves.setup);
    if (e->after >= 0) {
        l->entries[e->after].before = i;
    }
    k->first = i;
    l->buckets[b] = i;
    l->used++;
    struct slope_evidence ev;
    slope_evidence_of(&e->moves, k->deck, &ev);
    count_in(k, &ev, 1);
    l->changed = true;
    return true;
}

/* ---- towards the table ---- */

static void deck_for_table(const struct known_deck *k, struct slope_deck *out)
{
    memset(out, 0, sizeof *out); /* padding too: tables are compared and saved as bytes */
    memcpy(out->id, k->deck->id, sizeof out->id);
    const struct dial *dials[2] = {&k->deck->bias_dial, &k->deck->level_dial};
    for (int r = 0; r < 2; r++) {
        out->learn[r] = dials[r]->present && dials[r]->scale == SCALE_LEARN;
        out->worth0[r] = 1.0;
        if (out->learn[r]) {
            struct dial_worth w = dial_worth_prior(dials[r]);
            out->worth0[r] = w.db_per_unit;
            out->worth0_log_sd[r] = sqrt(log1p(w.se / w.db_per_unit * (w.se / w.db_per_unit)));
        }
    }
    slope_noise_prior(k->deck->meter_step_db, out->noise_prior);
    out->calibrations = k->calibrations;
    out->noise = k->noise;
    out->cell_count = k->sums.count;
}

static int by_id(const void *a, const void *b)
{
    return strcmp(((const struct slope_deck *)a)->id, ((const struct slope_deck *)b)->id);
}

static int by_cell(const void *a, const void *b)
{
    const struct slope_sums *x = a, *y = b;
    return x->cell != y->cell ? (x->cell < y->cell ? -1 : 1) : x->tone - y->tone;
}

struct slope_table *slope_learner_solve(struct slope_learner *l)
{
    int deck_count = 0, sum_count = 0;
    for (int i = 0; i < l->deck_count; i++) {
        deck_count += l->decks[i].sums.count > 0;
        sum_count += l->decks[i].sums.count;
    }
    struct slope_deck *decks = deck_count ? mem_zero((size_t)deck_count, sizeof *decks) : NULL;
    struct slope_sums *sums = sum_count ? mem_zero((size_t)sum_count, sizeof *sums) : NULL;
    if ((deck_count && !decks) || (sum_count && !sums)) {
        mem_free(decks);
        mem_free(sums);
        return NULL;
    }
    for (int i = 0, at = 0; i < l->deck_count; i++) {
        if (l->decks[i].sums.count) {
            deck_for_table(&l->decks[i], &decks[at]);
            decks[at++].first = i; /* for a moment: which one it was, while they are sorted */
        }
    }
    if (deck_count) {
        qsort(decks, (size_t)deck_count, sizeof *decks, by_id);
    }
    for (int i = 0, at = 0; i < deck_count; i++) {
        const struct sums_of_deck *s = &l->decks[decks[i].first].sums;
        memcpy(sums + at, s->sums, (size_t)s->count * sizeof *sums);
        qsort(sums + at, (size_t)s->count, sizeof *sums, by_cell);
        decks[i].first = at;
        at += s->count;
    }
    struct slope_table *t = slope_table_make(decks, deck_count, sums, sum_count);
    if (t) {
        l->changed = false;
    }
    return t;
}
