/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Records as JSON members by their tables, in the tables' order, straight into the buffer.
 */
#include "members.h"

static bool is_zero(const struct uuid *u)
{
    static const struct uuid zero;
    return uuid_same(u, &zero);
}

static void write_choice(struct buffer *b, const struct member *m, int value, bool as_line)
{
    const char *name = value < 0 || ((as_line || m->room) && value == m->not_given) ? NULL : m->choice(value);
    if (name)
        json_member_text(b, m->name, name);
}

static void write_member(struct buffer *b, const struct member *m, const void *record, bool as_line)
{
    const void *at = (const char *)record + m->at;
    char uuid[UUID_TEXT];
    switch (m->type) {
    case MEMBER_SLUG:
    case MEMBER_TEXT:
    case MEMBER_YEAR:
        if (*(const char *)at)
            json_member_text(b, m->name, at);
        break;
    case MEMBER_NOTES: {
        const char *text = *(const char *const *)at;
        if (text && *text)
            json_member_text(b, m->name, text);
        break;
    }
    case MEMBER_NUMBER:
        if (given(*(const double *)at))
            json_member_number(b, m->name, *(const double *)at);
        break;
    case MEMBER_WHOLE:
        if (*(const int *)at != m->not_given)
            json_member_whole(b, m->name, *(const int *)at);
        break;
    case MEMBER_FLAG:
        if (!as_line || (int)*(const bool *)at != m->not_given)
            json_member_flag(b, m->name, *(const bool *)at);
        break;
    case MEMBER_CHOICE: write_choice(b, m, *(const int *)at, as_line); break;
    case MEMBER_TIME:
        if (*(const int64_t *)at != CLOCK_NONE)
            json_member_time(b, m->name, *(const int64_t *)at, *(const int *)(const void *)((const char *)record + m->room));
        break;
    case MEMBER_UUID:
        if (!is_zero(at))
            json_member_text(b, m->name, uuid_format(at, uuid));
        break;
    case MEMBER_PLACE:
        if (*(const int *)(const void *)((const char *)record + m->room) == m->not_given)
            json_member_number(b, m->name, *(const double *)at);
        break;
    case MEMBER_LARGE:
        if (*(const int64_t *)at >= 0)
            json_member_whole(b, m->name, *(const int64_t *)at);
        break;
    case MEMBER_INNER:
        if (m->write)
            m->write(b, m->name, record, as_line);
        break;
    case MEMBER_SERVER: break;
    }
}

void write_members(struct buffer *b, const struct member *table, const void *record, bool as_line)
{
    for (; table->name; table++)
        write_member(b, table, record, as_line);
}
