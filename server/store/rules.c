/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What becomes of one write, decided inside the transaction against the state that stands. In order:
 *
 *   nothing there            If-Match given: 412; else it is new
 *   same content             the same, with its own seq (a retry after a lost reply; RFC 9110, 13.1.1 allows it whatever If-Match says)
 *   void                     409: a void row is not corrected; undo brings it back
 *   other content, no tag    409: somebody else's, or an earlier answer was lost; fetch it and say which state is meant
 *   wrong tag                412
 *   not the author           403, unless the writer may correct others (decks and stocks belong to all)
 *   else                     a revision
 *
 * Imports carry no tags; a larger revision number than the present one stands for the right tag. A deck or stock of another club that only has the same
 * id is asked about (on_conflict).
 */
#include "inside.h"

#include "../ground/etag.h"

#include <stdio.h>
#include <string.h>

/* ---- entity tags ---- */

/* Made for every row that is written or read, so without printf. */
void etag_make(char out[48], int revision, const uint8_t digest[DIGEST_BYTES], bool is_void)
{
    static const char hex[] = "0123456789abcdef";
    char number[12], *p = number + sizeof number;
    for (unsigned n = revision > 0 ? (unsigned)revision : 0; p == number + sizeof number || n; n /= 10)
        *--p = (char)('0' + n % 10);
    size_t length = (size_t)(number + sizeof number - p);
    memcpy(out, p, length);
    p = out + length;
    *p++ = '-';
    for (int i = 0; i < 8; i++) {
        *p++ = hex[digest[i] >> 4];
        *p++ = hex[digest[i] & 15];
    }
    memcpy(p, is_void ? "-void" : "", is_void ? 6 : 1);
}

static bool any_state(const char *if_match)
{
    return strspn(if_match, " \t") + 1 + strspn(if_match + strspn(if_match, " \t") + 1, " \t") == strlen(if_match) && strchr(if_match, '*');
}

/* ---- what kind of thing it is ---- */

static const char *thing(enum write_kind kind)
{
    static const char *const names[] = {"deck", "stock", "calibration", "calibration", "service", "check", "calibration"};
    return names[kind];
}

static const struct uuid *row_id(const struct write *w)
{
    return w->kind == WRITE_SERVICE ? &w->service->id : w->kind == WRITE_CHECK ? &w->check->id : &w->calibration->id;
}

static int find(struct store *s, const struct write *w, struct state *out, struct fault *f)
{
    switch (w->kind) {
    case WRITE_DECK: return deck_find(s, w->deck->id, out, f);
    case WRITE_STOCK: return stock_find(s, w->stock->id, out, f);
    case WRITE_SERVICE: return service_find(s, row_id(w), out, f);
    case WRITE_CHECK: return check_find(s, row_id(w), out, f);
    case WRITE_CALIBRATION:
    case WRITE_VOID:
    case WRITE_UNDO: break;
    }
    return calibration_find(s, row_id(w), out, f);
}

static bool put(struct store *s, const struct write *w, const struct next_state *n, struct fault *f)
{
    switch (w->kind) {
    case WRITE_DECK: return deck_put(s, w->deck, n, f);
    case WRITE_STOCK: return stock_put(s, w->stock, n, f);
    case WRITE_SERVICE: return service_put(s, w->service, n, f);
    case WRITE_CHECK: return check_put(s, w->check, n, f);
    case WRITE_CALIBRATION: return calibration_put(s, w->calibration, n, f);
    case WRITE_VOID:
    case WRITE_UNDO: break;
    }
    return false;
}

/* Ids of what the row names. */
static enum rule_result references(struct store *s, struct write *w, int64_t *deck, int64_t *stock)
{
    struct fault *f = &w->fault;
    const char *deck_slug = w->kind == WRITE_CALIBRATION ? w->calibration->deck
                            : w->kind == WRITE_SERVICE   ? w->service->deck
                            : w->kind == WRITE_CHECK     ? w->check->deck
                                                         : NULL;
    if (deck_slug && (*deck = deck_id(s, deck_slug, f)) == 0)
        fault_add(f, FAULT_UNACCEPTABLE, "deck", "unknown-deck", "there is no deck '%s'; add it first", deck_slug);
    if (w->kind == WRITE_CALIBRATION && (*stock = stock_id(s, w->calibration->stock, f)) == 0)
        fault_add(f, FAULT_UNACCEPTABLE, "stock", "unknown-stock", "there is no stock '%s'; add it first", w->calibration->stock);
    return fault_set(f) ? RULE_REFUSED : RULE_CHANGED;
}

/* ---- answers ---- */

static enum rule_result refuse(struct write *w, enum fault_kind kind, const char *field, const char *code, const char *detail)
{
    fault_add(&w->fault, kind, field, code, detail, thing(w->kind));
    return RULE_REFUSED;
}

/* The stamp of a state that stands or is about to. */
static bool fill_stamp(struct store *s, struct write *w, int64_t seq, int64_t stored_us, const struct state *t, const uint8_t *digest)
{
    struct stamp *p = &w->stamp;
    p->seq = seq;
    p->revision = t->revision;
    p->stored_us = stored_us;
    p->is_void = t->is_void;
    memcpy(p->void_reason, t->void_reason, sizeof p->void_reason);
    memcpy(p->origin, t->origin, sizeof p->origin);
    etag_make(p->etag, t->revision, digest, t->is_void);
    return member_name(s, t->writer, p->member, &w->fault) && member_name(s, t->author, p->author, &w->fault);
}

static enum rule_result same(struct store *s, struct write *w, const struct state *t)
{
    w->outcome = WRITE_SAME;
    return fill_stamp(s, w, t->seq, t->stored_us, t, t->digest) ? RULE_SAME : RULE_REFUSED;
}

/* ---- the rules ---- */

static bool author_rules(const struct write *w)
{
    return w->kind != WRITE_DECK && w->kind != WRITE_STOCK;
}

static bool may_change(const struct write *w, const struct state *t)
{
    return w->may_correct_others || !author_rules(w) || (w->member != 0 && t->author == w->member);
}

static enum rule_result not_yours(struct write *w)
{
    return refuse(w, FAULT_ROLE, "", "not-the-author", "this %s was logged by somebody else; only they or a steward may change it");
}

/* A tag that names the state that stands; RULE_CHANGED when it does or none was sent. */
static enum rule_result tag_rule(struct write *w, const struct state *t)
{
    char etag[48];
    if (!w->if_match || any_state(w->if_match))
        return RULE_CHANGED;
    etag_make(etag, t->revision, t->digest, t->is_void);
    if (etag_listed(w->if_match, etag, ETAG_STRONG))
        return RULE_CHANGED;
    return refuse(w, FAULT_PRECONDITION, "If-Match", "wrong-etag",
                  "this %s has changed since; fetch it again and send If-Match with its ETag");
}

/* Is it the thing that stands here under this id? A UUID is given once; two clubs may call different decks alike, so of these a later revision is one
 * only when both began in the same club. */
static bool same_thing(const struct store *s, const struct write *w, const struct state *t)
{
    const char *origin = w->origin && strcmp(w->origin, s->club_id) != 0 ? w->origin : "";
    return author_rules(w) || strcmp(origin, t->origin) == 0;
}

/* Other content under an id that is there: may it become a revision? */
static enum rule_result revision_rule(struct store *s, struct write *w, const struct state *t)
{
    bool newer = w->imported && w->revision > t->revision && same_thing(s, w, t);
    if (w->imported && !newer && !w->if_match) {
        int known = history_has(s, w->kind, t->seq, w->digest, &w->fault);
        if (known)
            return known > 0 ? same(s, w, t) : RULE_REFUSED;
    }
    if (w->imported && !newer && !author_rules(w) && w->on_conflict != CONFLICT_ASK) {
        w->kept = w->on_conflict == CONFLICT_KEEP;
        return w->kept ? same(s, w, t) : RULE_CHANGED;
    }
    if (t->is_void && !newer)
        return refuse(w, FAULT_CONFLICT, "id", "void",
                      "this %s is void and cannot be corrected; undo the void first, or log it anew under a new id");
    if (!w->if_match && !newer && w->imported)
        return refuse(w, FAULT_CONFLICT, "id", "other-content",
                      author_rules(w)
                          ? "another %s is here under this id and stands; only a line with a larger revision than it has replaces it"
                          : "another %s is here under this id: say on-conflict keep (ours stands) or take (theirs becomes a "
                            "revision), or give theirs another id with as");
    if (!w->if_match && !newer)
        return refuse(w, FAULT_CONFLICT, "id", "other-content",
                      "another %s is stored under this id; fetch it and send If-Match with its ETag to correct it, or use a new id");
    enum rule_result tag = tag_rule(w, t);
    if (tag != RULE_CHANGED)
        return tag;
    return may_change(w, t) ? RULE_CHANGED : not_yours(w);
}

/* An exported row names who wrote it. */
static bool named_writer(struct store *s, struct write *w, struct next_state *n)
{
    return !w->imported || !w->member_name || !*w->member_name ||
           member_author(s, n->origin ? n->origin : "", w->member_name, n->stored_us, &n->writer, &w->fault);
}

static void void_with_it(const struct write *w, struct state *t, struct next_state *n)
{
    t->is_void = w->make_void && w->kind == WRITE_CALIBRATION;
    t->void_reason[0] = '\0';
    if (t->is_void && w->void_reason)
        snprintf(t->void_reason, sizeof t->void_reason, "%s", w->void_reason);
    n->void_reason = t->is_void ? t->void_reason : NULL;
}

static enum rule_result write_new(struct store *s, struct write *w, struct next_state *n)
{
    struct state t = {.revision = w->imported && w->revision > 0 ? w->revision : 1};
    if (!named_writer(s, w, n))
        return RULE_FAILED;
    n->revision = t.revision;
    t.writer = t.author = n->author = n->writer;
    if (n->origin)
        snprintf(t.origin, sizeof t.origin, "%s", n->origin);
    void_with_it(w, &t, n);
    w->outcome = WRITE_CREATED;
    return fill_stamp(s, w, n->seq, n->stored_us, &t, w->digest) && put(s, w, n, &w->fault) ? RULE_CHANGED : RULE_FAILED;
}

static enum rule_result write_revision(struct store *s, struct write *w, struct state *t, struct next_state *n)
{
    n->origin = *t->origin ? t->origin : NULL;
    if (!named_writer(s, w, n))
        return RULE_FAILED;
    t->revision = n->revision = w->imported && w->revision > t->revision ? w->revision : t->revision + 1;
    n->replaces = t->seq;
    n->author = t->author;
    t->writer = n->writer;
    void_with_it(w, t, n);
    w->outcome = WRITE_REVISED;
    return fill_stamp(s, w, n->seq, n->stored_us, t, w->digest) && put(s, w, n, &w->fault) ? RULE_CHANGED : RULE_FAILED;
}

static enum rule_result write_void(struct store *s, struct write *w, struct state *t, struct next_state *n)
{
    struct fault *f = &w->fault;
    if (t->is_void)
        return same(s, w, t);
    enum rule_result tag = tag_rule(w, t);
    if (tag != RULE_CHANGED)
        return tag;
    if (!may_change(w, t))
        return not_yours(w);
    t->is_void = true;
    snprintf(t->void_reason, sizeof t->void_reason, "%s", w->void_reason ? w->void_reason : "");
    n->void_reason = t->void_reason;
    w->outcome = WRITE_REVISED;
    return fill_stamp(s, w, n->seq, n->stored_us, t, t->digest) && calibration_void(s, t->seq, n, f) ? RULE_CHANGED : RULE_FAILED;
}

/* The state before becomes a new one: of a void, the same content that counts again. Undoing once more brings back what was undone. */
static enum rule_result write_undo(struct store *s, struct write *w, struct state *t, struct next_state *n)
{
    struct fault *f = &w->fault;
    enum rule_result tag = tag_rule(w, t);
    if (tag != RULE_CHANGED)
        return tag;
    if (!may_change(w, t))
        return not_yours(w);
    struct state before = *t;
    int found = calibration_before(s, t->seq, &before, f);
    if (found == 0)
        return refuse(w, FAULT_CONFLICT, "id", "nothing-to-undo", "this %s stands as it was first logged; void it if it should not count");
    if (found < 0)
        return RULE_REFUSED;
    n->replaces = t->seq;
    before.revision = n->revision = t->revision + 1;
    w->outcome = WRITE_REVISED;
    return fill_stamp(s, w, n->seq, n->stored_us, &before, before.digest) && calibration_restore(s, before.seq, n, f) ? RULE_CHANGED
                                                                                                                      : RULE_FAILED;
}

/* The same content; only whether it counts may differ. Between clubs the larger revision knows better, and of equal ones the void. */
static enum rule_result same_content(struct store *s, struct write *w, struct state *t, struct next_state *n)
{
    bool make_void = w->make_void && w->kind == WRITE_CALIBRATION;
    if (w->imported && t->is_void && !make_void && w->revision > t->revision)
        return may_change(w, t) ? write_revision(s, w, t, n) : not_yours(w);
    bool older = w->imported && w->revision > 0 && w->revision < t->revision;
    return make_void && !older ? write_void(s, w, t, n) : same(s, w, t);
}

enum rule_result rules_apply(struct store *s, struct write *w, int64_t seq, int64_t now_us)
{
    struct fault *f = &w->fault;
    struct state t;
    struct next_state n = {.seq = seq, .stored_us = now_us, .member = w->member, .writer = w->member, .digest = w->digest};
    if (w->imported && w->origin && *w->origin && strcmp(w->origin, s->club_id) != 0)
        n.origin = w->origin;
    if (n.origin && (!w->member_name || !*w->member_name)) /* another club's row that does not say whose it is: nobody's here */
        n.writer = 0;
    if (references(s, w, &n.deck, &n.stock) != RULE_CHANGED)
        return RULE_REFUSED;
    int found = find(s, w, &t, f);
    if (found < 0)
        return RULE_REFUSED;
    if (!found) {
        if (w->kind == WRITE_VOID || w->kind == WRITE_UNDO)
            return refuse(w, FAULT_UNKNOWN, "id", "unknown-calibration", "there is no such %s");
        if (w->if_match)
            return refuse(w, FAULT_PRECONDITION, "If-Match", "wrong-etag", "there is no such %s yet; leave If-Match out to make it");
        return write_new(s, w, &n);
    }
    if (w->kind == WRITE_VOID)
        return write_void(s, w, &t, &n);
    if (w->kind == WRITE_UNDO)
        return write_undo(s, w, &t, &n);
    if (memcmp(t.digest, w->digest, DIGEST_BYTES) == 0)
        return same_content(s, w, &t, &n);
    enum rule_result allowed = revision_rule(s, w, &t);
    return allowed == RULE_CHANGED ? write_revision(s, w, &t, &n) : allowed;
}
