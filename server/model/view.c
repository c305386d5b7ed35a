/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A view as bytes: lookup, attach, save, load, free, figures.
 */
#include "view.h"

#include "../ground/memory.h"
#include "../trade/classes.h"
#include "estimate.h"

#include <stdio.h>
#include <string.h>

uint64_t view_text(const char *text)
{
    return word_hash(3, text, strlen(text));
}

uint64_t view_hash(enum view_key k, uint64_t a, uint64_t b, uint64_t c)
{
    uint64_t all[4] = {(uint64_t)k, a, b, c};
    uint64_t h = word_hash(4, all, sizeof all);
    return h ? h : 1;
}

int view_find(const struct model_view *v, uint64_t hash)
{
    uint64_t mask = v->head->slots - 1;
    for (uint64_t s = hash & mask; v->slots[s].hash; s = (s + 1) & mask)
        if (v->slots[s].hash == hash)
            return v->slots[s].value;
    return -1;
}

static bool fits(const struct view_head *h, uint64_t at, uint64_t count, uint64_t size)
{
    return at % 8 == 0 && at <= h->bytes && count <= (h->bytes - at) / (size ? size : 1);
}

bool view_attach(struct model_view *v)
{
    const struct view_head *h = v->head;
    const char *block = (const char *)h;
    const int32_t used[] = {h->services, h->decks, h->eras, h->bases, h->stocks, h->effects, h->combos};
    const int32_t room[] = {h->services, h->deck_room, h->era_room, h->base_room, h->stock_room, h->effect_room, h->combo_room};
    for (size_t i = 0; i < sizeof used / sizeof *used; i++)
        if (used[i] < 0 || used[i] > room[i])
            return false;
    if (!h->slots || (h->slots & (h->slots - 1)) || h->base_none < 0 || h->base_none >= h->bases || h->class_first < 0 ||
        h->class_first > h->stocks - CLASS_COUNT)
        return false;
    uint64_t pairs = (uint64_t)h->base_room * (uint64_t)h->stock_room;
    if (!fits(h, h->at_decks, (uint64_t)h->deck_room, sizeof *v->decks) ||
        !fits(h, h->at_services, (uint64_t)h->services, sizeof *v->services) ||
        !fits(h, h->at_eras, (uint64_t)h->era_room, sizeof *v->eras) || !fits(h, h->at_bases, (uint64_t)h->base_room, sizeof *v->bases) ||
        !fits(h, h->at_stocks, (uint64_t)h->stock_room, sizeof *v->stocks) ||
        !fits(h, h->at_effects, (uint64_t)h->effect_room, sizeof *v->effects) ||
        !fits(h, h->at_combos, (uint64_t)h->combo_room, sizeof *v->combos) || !fits(h, h->at_covariance, 2 * pairs, sizeof(float)) ||
        !fits(h, h->at_slots, h->slots, sizeof *v->slots))
        return false;
    v->decks = (const void *)(block + h->at_decks);
    v->services = (const void *)(block + h->at_services);
    v->eras = (const void *)(block + h->at_eras);
    v->bases = (const void *)(block + h->at_bases);
    v->stocks = (const void *)(block + h->at_stocks);
    v->effects = (const void *)(block + h->at_effects);
    v->combos = (const void *)(block + h->at_combos);
    v->covariance[BIAS] = (const void *)(block + h->at_covariance);
    v->covariance[LEVEL] = v->covariance[BIAS] + pairs;
    v->slots = (const void *)(block + h->at_slots);
    return true;
}

void model_view_free(struct model_view *v)
{
    if (!v)
        return;
    slope_table_drop(v->slopes);
    slopes_memo_free(v->memo);
    mem_free(v->head);
    mem_free(v);
}

/* ---- bytes ---- */

/* mark, version and length of both parts, then the block, then the slopes */
struct saved {
    uint32_t mark, version;
    uint64_t block, slopes, sum;
};

bool model_view_save(const struct model_view *v, void **bytes, size_t *n, struct fault *f)
{
    void *slopes = NULL;
    size_t slope_bytes = 0;
    *bytes = NULL;
    bool ok = !v->slopes || slope_table_save(v->slopes, &slopes, &slope_bytes);
    size_t block = (size_t)v->head->bytes;
    char *all = ok ? mem_alloc(sizeof(struct saved) + block + slope_bytes) : NULL;
    if (all) {
        struct saved head = {.mark = VIEW_MARK, .version = VIEW_VERSION, .block = block, .slopes = slope_bytes};
        memcpy(all + sizeof head, v->head, block);
        if (slope_bytes)
            memcpy(all + sizeof head + block, slopes, slope_bytes);
        head.sum = word_hash(5, all + sizeof head, block + slope_bytes);
        memcpy(all, &head, sizeof head);
        *bytes = all;
        *n = sizeof head + block + slope_bytes;
    }
    mem_free(slopes);
    return all ? true : fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while saving what was learned");
}

static struct model_view *refuse(struct model_view *v, struct fault *f, const char *code, const char *detail)
{
    model_view_free(v);
    fault_add(f, strcmp(code, "memory") == 0 ? FAULT_MEMORY : FAULT_STORE, "", code, "%s", detail);
    return NULL;
}

struct model_view *model_view_load(const void *bytes, size_t n, struct fault *f)
{
    static const char damaged[] = "the saved tables are damaged or of another version; they will be worked out again";
    struct saved head;
    if (n < sizeof head)
        return refuse(NULL, f, "damaged-tables", damaged);
    memcpy(&head, bytes, sizeof head);
    const char *rest = (const char *)bytes + sizeof head;
    if (head.mark != VIEW_MARK || head.version != VIEW_VERSION || head.block < sizeof(struct view_head) || head.block > n ||
        head.slopes > n || sizeof head + head.block + head.slopes != n || word_hash(5, rest, n - sizeof head) != head.sum)
        return refuse(NULL, f, "damaged-tables", damaged);
    struct model_view *v = mem_zero(1, sizeof *v);
    if (!v)
        return refuse(v, f, "memory", "out of memory while loading what was learned");
    v->head = mem_alloc((size_t)head.block);
    if (!v->head)
        return refuse(v, f, "memory", "out of memory while loading what was learned");
    memcpy(v->head, rest, (size_t)head.block);
    if (v->head->bytes != head.block || v->head->mark != VIEW_MARK || v->head->version != VIEW_VERSION || !view_attach(v))
        return refuse(v, f, "damaged-tables", damaged);
    v->memo = slopes_memo_new(v->head->decks * (CLASS_COUNT + 1));
    bool bad = false;
    if (head.slopes) {
        v->slopes = slope_table_load(rest + head.block, (size_t)head.slopes, &bad);
        if (!v->slopes)
            return refuse(v, f, bad ? "damaged-tables" : "memory", bad ? damaged : "out of memory while loading what was learned");
    }
    return v;
}

/* ---- figures ---- */

static void known_name(int column, char *name, size_t size)
{
    if (column < RECORDINGS_AT)
        snprintf(name, size, "class %s", class_info((enum tape_class)column)->id);
    else if (column < PLACE_AT)
        snprintf(name, size, "recordings %s", class_info((enum tape_class)(column - RECORDINGS_AT))->id);
    else
        snprintf(name, size, "%s", column == PLACE_AT ? "place" : "sheet");
}

static void record_of(const struct view_head *h, enum response r, struct model_record *out)
{
    out->sigma = h->sigma[r][KIND_READ];
    out->reason = estimate_reason_text((enum estimate_reason)h->record[r].reason);
    out->evaluations = (long)h->record[r].evaluations;
    for (int b = 0; b < BLOCKS; b++) {
        int g = out->group_count++;
        out->groups[g].name = block_name((enum block)b);
        out->groups[g].sd = h->sd[r][b];
        out->groups[g].levels = h->effect_count[b];
        out->groups[g].boundary = h->record[r].boundary[b] != 0;
    }
    for (int j = 0; j < KNOWN_COLUMNS; j++) {
        if (j >= SHEET_AT && j != SHEET_AT + (int)r)
            continue;
        if (h->fixed_rows[j] <= 0)
            continue;
        int k = out->fixed_count++;
        known_name(j, out->fixed[k].name, sizeof out->fixed[k].name);
        out->fixed[k].estimate = h->known[j].mean[r] + (j >= SHEET_AT ? SHEET_MEAN : 0);
        out->fixed[k].se = sqrt(h->known[j].variance[r]);
    }
}

void model_view_figures(const struct model_view *v, struct model_figures *out)
{
    const struct view_head *h = v->head;
    memset(out, 0, sizeof *out);
    out->as_of = h->as_of;
    out->fitted_us = h->fitted_us;
    out->fitted_as_of = h->fitted_as_of;
    out->rows = (long)h->rows;
    out->rows_used = (long)h->rows_used;
    out->decks = (long)h->decks_known;
    out->stocks = (long)h->stocks_known;
    for (int r = 0; r < RESPONSES; r++)
        record_of(h, (enum response)r, &out->response[r]);
}
