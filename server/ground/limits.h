/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every maximum of the product, with its unit and its reason. A limit is tested before the work it bounds.
 * All rooms read this file; nothing else may hold a bare maximum.
 */
#ifndef BIASBOOK_GROUND_LIMITS_H
#define BIASBOOK_GROUND_LIMITS_H

/* ---- text, in bytes without the closing NUL ---- */
#define LIMIT_SLUG             64   /* a slug: [a-z0-9][a-z0-9-]{0,63} */
#define LIMIT_NAME             120  /* name of a deck, a stock, a member: fits one line of a phone in two rows */
#define LIMIT_SHORT_TEXT       80   /* batch, tape label, unit, selector, family, deck model, notes of a kind */
#define LIMIT_WRAPPER          400  /* how a label looks, in words */
#define LIMIT_NOTES            2000 /* characters of notes: contract */
#define LIMIT_NOTES_BYTES      8000 /* 2000 characters of UTF-8 at most four bytes each */
#define LIMIT_NUMBER_TEXT      400  /* digits of one number: the longest exact decimal anybody prints of a double is shorter */
#define LIMIT_REASON           400  /* why a calibration was voided */
#define LIMIT_URL              4096 /* request target, as received */
#define LIMIT_QUERY_PARAMETERS 32
#define LIMIT_CURSOR           64

/* ---- counts inside one record ---- */
#define LIMIT_MOVES          40 /* contract: moves of one calibration */
#define LIMIT_PROOF          8  /* contract: proof tones of one calibration */
#define LIMIT_ALIASES        16 /* other names of a stock */
#define LIMIT_SETUPS         16 /* speeds and directions of one deck */
#define LIMIT_DIAL_POINTS    32 /* points of a dial's scale */
#define LIMIT_COUNTER_POINTS 16
#define LIMIT_FAULTS         16 /* errors named in one reply; more help nobody */
#define LIMIT_LADDER         7  /* settings of one ladder: contract 3-7 */

/* ---- numbers (units in the comment) ---- */
#define LIMIT_RECORDINGS  999  /* times recorded over: contract */
#define LIMIT_DB          60.0 /* dB, any reading: beyond lies a typing error */
#define LIMIT_TREBLE_DB   6.0  /* dB, wanted lift: contract */
#define LIMIT_DIAL_VALUE  1e6  /* dial marks */
#define LIMIT_DIAL_FINEST 1e-6 /* dial marks: readings are answered with six decimals, so a finer step or a narrower dial cannot be told */
#define LIMIT_DIAL_DB                                                                                                                      \
    120.0 /* dB, from a dial's zero to its end: the widest in use reach some 20; one that reaches further would spoil the whole club's fit */
#define LIMIT_HZ_LOW           10.0    /* Hz, lowest tone */
#define LIMIT_HZ_HIGH          40000.0 /* Hz, highest tone */
#define LIMIT_SPEED_MM_S       2000.0  /* mm/s */
#define LIMIT_POSITION_S       86400.0 /* s, from the start of the side or reel */
#define LIMIT_POSITION_TURNS   20000.0 /* take-up turns */
#define LIMIT_POSITION_COUNTER 99999.0
#define LIMIT_TRACKS           32                    /* tracks of a tape, the widest machines */
#define LIMIT_TONE_DB          20.0                  /* dB, hottest tone against the deck's 0 */
#define LIMIT_NWB_M            5000.0                /* nWb/m, ten times the hottest mark in use */
#define LIMIT_METER_STEP_DB    10.0                  /* dB, coarsest meter */
#define LIMIT_WARM_UP_MINUTES  600.0                 /* minutes */
#define LIMIT_SIDE_MINUTES     1440.0                /* minutes of one side: a long-play reel at the lowest speed is below 13 hours */
#define LIMIT_LENGTH_M         4000.0                /* m: the longest reels hold 2,200 */
#define LIMIT_THICKNESS_UM     200.0                 /* um, total: standard play is 54 */
#define LIMIT_HUB_MM           300.0                 /* mm, outer diameter: the largest hubs are 115 */
#define LIMIT_TURNS_PER_COUNT  100.0                 /* take-up turns of one count: about 2 in practice */
#define LIMIT_DROP_DB          20.0                  /* dB past the peak: published practice 1 to 5 */
#define LIMIT_LATE_US          (86400LL * 1000000LL) /* a result made more than a day ahead of now is refused */

/* ---- bodies, in bytes ---- */
#define LIMIT_BODY_RECORD (64 * 1024) /* one JSON record; 40 moves and 2000 characters are below 20 kB */
#define LIMIT_BODY_FORM   (32 * 1024)
#define LIMIT_FORM_FIELDS 256                        /* a calibration has 40 members, 40 moves of 4 are filled in rarely by hand */
#define LIMIT_BODY_IMPORT (2LL * 1024 * 1024 * 1024) /* spooled to disk, never held in memory */
#define LIMIT_LINE        (128 * 1024)               /* one NDJSON or CSV line */
#define LIMIT_JSON_DEPTH  8                          /* deepest contract shape is 4 */
#define LIMIT_REPLY       (64 * 1024 * 1024)         /* one reply held in memory; what is larger is spooled */
#define LIMIT_ARENA       (4 * 1024 * 1024)          /* working memory of one request */
#define LIMIT_ASSET       (4 * 1024 * 1024)          /* one file of the --static folder */
#define LIMIT_CSV_COLUMNS 128

/* ---- lists ---- */
#define LIMIT_PAGE         500 /* rows of one page at most */
#define LIMIT_PAGE_DEFAULT 50

/* ---- the club ---- */
#define LIMIT_DECKS   20000
#define LIMIT_STOCKS  20000
#define LIMIT_MEMBERS 20000

#define LIMIT_KEYS                 64             /* keys of one member that are valid at once; each device has one */
#define LIMIT_SESSIONS             2048           /* browsers signed in at once; some 120 kB */
#define LIMIT_KEY_SESSIONS         32             /* of them with one key */
#define LIMIT_SESSION_SECONDS      (30LL * 86400) /* s, from signing in to having to do it again */
#define LIMIT_SESSION_IDLE_SECONDS (7LL * 86400)  /* s, without a request */
#define LIMIT_WRONG_KEYS           64 /* wrong keys from one address before it has to wait: more than a person with an old key in every tab */
#define LIMIT_WRONG_KEY_SECONDS    60    /* s, in which they are counted, and until which it waits */
#define LIMIT_WRONG_KEY_ADDRESSES  1024  /* addresses that are watched at once */
#define LIMIT_REVISIONS            200   /* states of one record that are listed, newest first */
#define LIMIT_REVIEW_ROWS          50000 /* newest calibrations looked at for misentries in one question */
#define LIMIT_REVIEW_LISTED        200   /* of them, the least likely ones that are listed */
#define LIMIT_COVERAGE_PAIRS       60000 /* decks times stocks of one grid; past it the least used are left out */

/* ---- the estimator ---- */
#define LIMIT_MODEL_PRODUCTS 60000000LL /* products of effects laid out sparse: 240 MB of places */
#define LIMIT_TABLE_BYTES    (1 << 30)  /* bytes of a table for `fit`, held in memory */
#define LIMIT_MODEL_DENSE    8000       /* effects of a dense factor: 512 MB */

/* ---- the club's file ---- */
#define LIMIT_PATH           4096                   /* bytes of a file's path */
#define LIMIT_BUSY_MS        5000                   /* ms to wait for another process that writes the same file */
#define LIMIT_READERS        16                     /* reading connections; each keeps up to 2 MB of pages */
#define LIMIT_READER_WAIT_MS 10000                  /* ms to wait for a free one */
#define LIMIT_BLOB_PART      (256 * 1024)           /* bytes of saved tables in one commit: a few ms */
#define LIMIT_BLOB           (1024LL * 1024 * 1024) /* bytes of saved tables in all; SQLite's own row limit is no larger */
#define LIMIT_WAL_PAGES      4096                   /* pages in the write-ahead log before it is copied into the file: 16 MB */
#define LIMIT_DISK_LEAST     (1024ULL * 1024) /* bytes free on the club's disk below which /readyz says that it is full: a few groups of rows */
#define LIMIT_WAL_KEEP_BYTES (16LL * 1024 * 1024) /* what it may keep on disk between checkpoints */
#define LIMIT_PRIOR_BATCH    512                  /* suggestions-before written in one commit */

/* ---- queues and threads ---- */
#define LIMIT_QUEUE_ROWS      8192                 /* rows waiting for the writer */
#define LIMIT_QUEUE_BYTES     (64LL * 1024 * 1024) /* bytes waiting for the writer */
#define LIMIT_GROUP_ROWS      2048                 /* rows of one commit: bounds how long the last one waits */
#define LIMIT_IMPORT_SLICE    1024                 /* rows of an import that go into one commit */
#define LIMIT_WORKER_QUEUE    256                  /* questions waiting for a worker */
#define LIMIT_HEAD_BYTES      (16 * 1024) /* memory of one connection, for its request head and reply head; cleared at each request */
#define LIMIT_PREPARED        1024        /* small replies kept ready with their headers: some 6 MB at most */
#define LIMIT_CONNECTIONS     2048
#define LIMIT_HEAD_SECONDS    10           /* s, a whole request head */
#define LIMIT_CROWDED_SECONDS 1            /* s, a head or a pause when most connections are in use */
#define LIMIT_BODY_SECONDS    60           /* s, a whole body of one record */
#define LIMIT_SPOOL_SECONDS   3600         /* s, a whole import upload */
#define LIMIT_IDLE_SECONDS    60           /* s, keep-alive without a request */
#define LIMIT_SLOWEST_BYTES_S 16384        /* bytes/s, a client that reads its reply slower is let go */
#define LIMIT_TRUSTED_PROXIES 32           /* addresses or networks of proxies that are believed */
#define LIMIT_PEM             (256 * 1024) /* bytes of a certificate chain or a key */
#define LIMIT_CONFIG          (64 * 1024)  /* bytes of a file of settings */
#define LIMIT_DRAIN_SECONDS   10           /* s, from SIGTERM to the end */
#define LIMIT_IMPORT_ERRORS   1000         /* error rows listed in one import reply */
#define LIMIT_RESULTS         50000        /* newest results of a deck or stock that one page of knowledge is drawn from: some 20 MB */
#define LIMIT_RESULTS_LISTED  400          /* results listed one by one beside a chart; more nobody reads */
#define LIMIT_SIGNALS         16           /* changes of one deck that are told */
#define LIMIT_CENTRE_STOCKS   64           /* stocks named in one question about the inside preset */
#define LIMIT_HELD_ROWS       20000        /* rows of an atomic import, held until its end: some 300 MB at worst */

#endif
