/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Problem documents of RFC 9457. The type is about:blank, so the title is the status in words (section 4.2.1); what a program tests are the codes in `errors`.
 */
#include "wire.h"

static const char *title_of(int status)
{
    static const struct {
        int status;
        const char *title;
    } titles[] = {{400, "Bad Request"},
                  {401, "Unauthorized"},
                  {403, "Forbidden"},
                  {404, "Not Found"},
                  {405, "Method Not Allowed"},
                  {406, "Not Acceptable"},
                  {408, "Request Timeout"},
                  {409, "Conflict"},
                  {410, "Gone"},
                  {411, "Length Required"},
                  {412, "Precondition Failed"},
                  {413, "Content Too Large"},
                  {414, "URI Too Long"},
                  {415, "Unsupported Media Type"},
                  {417, "Expectation Failed"},
                  {421, "Misdirected Request"},
                  {422, "Unprocessable Content"},
                  {428, "Precondition Required"},
                  {429, "Too Many Requests"},
                  {431, "Request Header Fields Too Large"},
                  {500, "Internal Server Error"},
                  {501, "Not Implemented"},
                  {503, "Service Unavailable"},
                  {505, "HTTP Version Not Supported"}};
    for (size_t i = 0; i < sizeof titles / sizeof *titles; i++)
        if (titles[i].status == status)
            return titles[i].title;
    return status >= 500 ? "Server Error" : "Request Refused";
}

void wire_write_problem(struct buffer *b, int status, const struct fault *f)
{
    char detail[sizeof f->items[0].field + sizeof f->items[0].detail + 2];
    buffer_char(b, '{');
    json_member_text(b, "type", "about:blank");
    json_member_text(b, "title", title_of(status));
    json_member_whole(b, "status", status);
    json_member_text(b, "detail", fault_text(f, detail, sizeof detail));
    json_name(b, "errors");
    buffer_char(b, '[');
    for (int i = 0; f && i < f->count; i++) {
        buffer_text(b, i ? ",{" : "{");
        json_member_text(b, "field", f->items[i].field);
        json_member_text(b, "code", f->items[i].code);
        json_member_text(b, "detail", f->items[i].detail);
        buffer_char(b, '}');
    }
    buffer_text(b, "]}\n");
}
