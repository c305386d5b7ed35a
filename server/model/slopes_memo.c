/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See slopes_memo.h. A place is empty or points to what was worked out and what from; once set it stays until the end. A deck that was changed since has other
 * dials than the ones kept: it is asked anew each time, until the next view.
 */
#include "slopes_memo.h"

#include "../ground/memory.h"

#include <stdatomic.h>
#include <string.h>

/* All that the answer depends on besides the table. Compared as bytes, so filled from zeros. */
struct question {
    struct dial bias_dial, level_dial;
    double meter_step_db;
    struct slope_kind kind;
    struct dial_worth shared[2];
};
struct kept {
    struct question question;
    struct slopes_at answer;
};
struct slopes_memo {
    int places;
    struct kept *_Atomic at[];
};

struct slopes_memo *slopes_memo_new(int places)
{
    struct slopes_memo *m = mem_zero(1, sizeof *m + (size_t)places * sizeof m->at[0]);
    if (m)
        m->places = places;
    return m;
}

void slopes_memo_free(struct slopes_memo *m)
{
    for (int i = 0; m && i < m->places; i++)
        mem_free(atomic_load(&m->at[i]));
    mem_free(m);
}

static bool same(const struct question *k, const struct deck *d, const struct slope_kind *kind, const struct dial_worth shared[2])
{
    return memcmp(&k->kind, kind, sizeof *kind) == 0 && memcmp(k->shared, shared, sizeof k->shared) == 0 &&
           memcmp(&k->meter_step_db, &d->meter_step_db, sizeof d->meter_step_db) == 0 &&
           memcmp(&k->bias_dial, &d->bias_dial, sizeof d->bias_dial) == 0 &&
           memcmp(&k->level_dial, &d->level_dial, sizeof d->level_dial) == 0;
}

static void keep(struct kept *_Atomic *place, const struct deck *d, const struct slope_kind *kind, const struct dial_worth shared[2],
                 const struct slopes_at *answer)
{
    struct kept *k = mem_alloc(sizeof *k), *none = NULL;
    if (!k)
        return;
    memcpy(&k->question.bias_dial, &d->bias_dial, sizeof d->bias_dial);
    memcpy(&k->question.level_dial, &d->level_dial, sizeof d->level_dial);
    k->question.meter_step_db = d->meter_step_db;
    memcpy(&k->question.kind, kind, sizeof *kind);
    memcpy(k->question.shared, shared, sizeof k->question.shared);
    k->answer = *answer;
    if (!atomic_compare_exchange_strong(place, &none, k))
        mem_free(k); /* another thread was first */
}

void slopes_memo_ask(struct slopes_memo *m, int place, const struct slope_table *t, const struct deck *d, struct slope_kind kind,
                     const struct dial_worth shared[2], struct slopes_at *out)
{
    struct slope_kind plain; /* its padding is compared too */
    memset(&plain, 0, sizeof plain);
    plain.tape_class = kind.tape_class;
    plain.speed_mm_s = kind.speed_mm_s;
    plain.low_hz = kind.low_hz;
    plain.high_hz = kind.high_hz;
    bool keeps = m && place >= 0 && place < m->places;
    struct kept *k = keeps ? atomic_load_explicit(&m->at[place], memory_order_acquire) : NULL;
    if (k && same(&k->question, d, &plain, shared)) {
        *out = k->answer;
        return;
    }
    slope_table_ask(t, d, kind, shared, out);
    if (keeps && !k)
        keep(&m->at[place], d, &plain, shared, out);
}
