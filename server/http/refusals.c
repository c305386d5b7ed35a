/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "refusals.h"

#include "../ground/limits.h"

static const struct refusal refusals[REFUSE_COUNT] = {
    [REFUSE_LENGTHS] = {400, "Content-Length", "repeated-length", "send Content-Length once", true, 0},
    [REFUSE_LENGTH] = {400, "Content-Length", "bad-length", "Content-Length must be a plain decimal number", true, 0},
    [REFUSE_LENGTH_AND_ENCODING] = {400, "Transfer-Encoding", "length-and-encoding", "send Content-Length alone, without Transfer-Encoding",
                                    true, 0},
    [REFUSE_ENCODING] = {411, "Transfer-Encoding", "length-required", "transfer codings are not taken: send the body with Content-Length",
                         true, 0},
    [REFUSE_VERSION] = {505, "", "bad-version", "speak HTTP/1.1 or HTTP/1.0", true, 0},
    [REFUSE_HEADER_NAME] = {400, "", "bad-header-name", "a header name is a token directly followed by a colon", true, 0},
    [REFUSE_HEADER_VALUE] = {400, "", "bad-header-value", "header values must not contain control characters", true, 0},
    [REFUSE_LINES] = {400, "", "bad-header-line", "write each header on one line that ends with CR LF", true, 0},
    [REFUSE_NO_HOST] = {400, "Host", "no-host", "an HTTP/1.1 request needs a Host header", true, 0},
    [REFUSE_HOSTS] = {400, "Host", "repeated-host", "send Host once", true, 0},
    [REFUSE_HOST] = {400, "Host", "bad-host", "Host must be a name or an address, with a port or without", true, 0},
    [REFUSE_REPEATED_HEADER] = {400, "", "repeated-header", "Authorization, Content-Type, Cookie and Origin may stand once each", true, 0},
    [REFUSE_EXPECT] = {417, "Expect", "unknown-expectation", "only 100-continue can be expected", true, 0},

    [REFUSE_TARGET_LONG] = {414, "", "address-too-long", "shorten the address", true, 0},
    [REFUSE_TARGET] = {400, "", "bad-address", "the address must be a path that begins with /", true, 0},
    [REFUSE_PERCENT] = {400, "", "bad-percent-encoding",
                        "write a percent sign in an address as %25, followed codes as two hexadecimal digits", false, 0},
    [REFUSE_NUL] = {400, "", "nul-character", "an address cannot contain %00", true, 0},
    [REFUSE_CONTROL] = {400, "", "control-character", "a path cannot contain control characters", false, 0},
    [REFUSE_UTF8] = {400, "", "bad-utf-8", "the address must be UTF-8, percent-encoded", false, 0},
    [REFUSE_DOTS] = {400, "", "dot-segment", "a path cannot contain . or .. as a segment", false, 0},
    [REFUSE_SLASH] = {400, "", "encoded-slash", "a path cannot contain %2F", false, 0},
    [REFUSE_PARAMETERS] = {414, "", "too-many-parameters", "ask with fewer query parameters", false, 0},

    [REFUSE_STOPPING] = {503, "", "stopping", "the server is stopping; ask again in a moment", true, 2},
    [REFUSE_METHOD_UNKNOWN] = {501, "", "unknown-method", "use GET, HEAD, PUT, POST, DELETE or OPTIONS", true, 0},
    [REFUSE_METHOD] = {405, "", "method-not-allowed", "this address takes the methods that the Allow header names", false, 0},
    [REFUSE_PATH] = {404, "", "unknown-path", "there is nothing at this address", false, 0},
    [REFUSE_FOREIGN_HOST] = {403, "Host", "foreign-host",
                             "an open club answers only to localhost, a loopback address or the address it listens on", false, 0},
    [REFUSE_CROSS_SITE] = {403, "Origin", "cross-site", "pages of other sites may not change anything here", false, 0},
    [REFUSE_NO_KEY] = {401, "Authorization", "no-key", "send the key you were given: Authorization: Bearer bb1_…", false, 0},
    [REFUSE_WRONG_KEY] = {401, "Authorization", "wrong-key", "this key is not known here; ask a steward for a new one", false, 0},
    [REFUSE_WRONG_KEYS] = {429, "Authorization", "too-many-wrong-keys",
                           "too many keys that are not known here came from this address; wait a minute", false, LIMIT_WRONG_KEY_SECONDS},
    [REFUSE_NO_ORIGIN] = {403, "Origin", "no-origin", "a change by a session has to say which page asks for it: send Origin, or use a key",
                          false, 0},
    [REFUSE_KEY_SCHEME] = {401, "Authorization", "not-bearer", "send the key as Authorization: Bearer bb1_…", false, 0},
    [REFUSE_ROLE] = {403, "", "role", "your role does not allow this; ask a steward", false, 0},
    [REFUSE_BODY] = {413, "", "no-body-expected", "this address takes no body", false, 0},
    [REFUSE_BODY_SIZE] = {413, "", "too-large", "the body is larger than this address takes", false, 0},
    [REFUSE_BODY_TYPE] = {415, "Content-Type", "media-type", "state a Content-Type that this address takes (see Accept)", false, 0},
    [REFUSE_BODY_CHARSET] = {415, "Content-Type", "charset", "send the body as UTF-8", false, 0},
    [REFUSE_BODY_CODING] = {415, "Content-Encoding", "content-coding", "send the body uncompressed", false, 0},

    [REFUSE_SPOOL] = {503, "", "no-space", "the upload could not be kept on the server's disk; make room there and send it again", false,
                      30},
    [REFUSE_WORKERS] = {503, "", "busy", "too many questions wait; ask again in a moment", false, 1},
    [REFUSE_UNANSWERED] = {500, "", "unanswered", "the server has a defect: it found no answer; please report it", false, 0},
    [REFUSE_MEMORY] = {500, "", "out-of-memory", "the server is out of memory; nothing was changed, ask again", false, 1},
};

const struct refusal *refusal_of(enum refusal_number number)
{
    return &refusals[number];
}
