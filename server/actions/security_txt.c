/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * /.well-known/security.txt (RFC 9116): whom to tell of a weakness, when the club has said so.
 */
#include "actions.h"
#include "answer.h"

#include <stdio.h>

#define GOOD_FOR_US (180LL * 86400 * 1000000) /* 2.5.5 recommends less than a year; made anew at each request */

enum action_result action_security_txt(struct house *house, struct exchange *x)
{
    struct buffer *b = &x->reply.body;
    char until[CLOCK_TEXT];
    if (!house->contact) {
        struct fault f = {0};
        fault_add(&f, FAULT_UNKNOWN, "", "no-contact", "this club has not said whom to tell; ask one of its stewards");
        return answer_fault(x, &f);
    }
    clock_format(x->request.now_us + GOOD_FOR_US, 0, until);
    buffer_format(b, "Contact: %s\nExpires: %s\nPreferred-Languages: en\n", house->contact, until);
    x->reply.content_type = "text/plain; charset=utf-8";
    return answer_json(x);
}
