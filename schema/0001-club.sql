-- The book of one club.
--
-- How to read it
--   Every accepted change has a number, `seq`: 1, 2, 3, ... without a gap over all tables that carry one (view `change`). A change is a
--   new row in one of them, a *state* of the thing it is about. States are never overwritten or deleted: a correction or a void is a new
--   state that names the one it replaces. `replaced_by` in the older state only mirrors that (NULL = this state stands).
--   Levels are dB; other units are in the name or in the comment. Bias + = more bias = duller; level + = more record gain = louder on
--   playback; dial readings are in the dial's own marks. NULL = not given. Instants are microseconds since 1970-01-01T00:00:00Z.
--   Everything typed is kept as typed. The tables of the last part can be rebuilt from the others.
--   A CHECK spells a list of words with OR, because IN with more than two values builds a temporary table for every row written.

-- ---------------------------------------------------------------------------------------------------------------- the club and its people

CREATE TABLE fact ( -- what is known about the club as a whole, one line each
    name  TEXT NOT NULL PRIMARY KEY, -- club_id: UUID made with the file; club_name: as the club calls itself
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE member ( -- people: members of this club and authors known from other clubs' exports
    id       INTEGER PRIMARY KEY,
    origin   TEXT NOT NULL DEFAULT '', -- club the person belongs to; '' = this one
    name     TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    role     TEXT NOT NULL CHECK (role = 'none' OR role = 'reader' OR role = 'logger' OR role = 'steward'), -- none: known as an author only
    added_us INTEGER NOT NULL, -- instant
    UNIQUE (origin, name)
) STRICT;

CREATE TABLE key ( -- what members show to be let in; the key itself is nowhere
    id           INTEGER PRIMARY KEY,
    member       INTEGER NOT NULL REFERENCES member (id),
    hash         BLOB NOT NULL UNIQUE CHECK (length(hash) = 32), -- BLAKE2b-256 of the key's text
    name         TEXT NOT NULL DEFAULT '', -- what it is for: 'phone', 'bench computer'
    scope        TEXT NOT NULL DEFAULT 'all' CHECK (scope = 'all' OR scope = 'read' OR scope = 'log'), -- at most what the member's role allows
    made_us      INTEGER NOT NULL, -- instant
    expires_us   INTEGER, -- instant; NULL = never
    last_used_us INTEGER, -- instant, written now and then
    revoked_us   INTEGER  -- instant; NULL = valid
) STRICT;
CREATE INDEX key_member ON key (member);

-- ------------------------------------------------------------------------------------------------------------------------------ decks

CREATE TABLE deck ( -- which decks there are; what is known about them is in deck_state
    id   INTEGER PRIMARY KEY,
    slug TEXT NOT NULL UNIQUE CHECK (length(slug) BETWEEN 1 AND 64)
) STRICT;

CREATE TABLE deck_state (
    seq             INTEGER PRIMARY KEY, -- number of the change
    deck            INTEGER NOT NULL REFERENCES deck (id),
    revision        INTEGER NOT NULL CHECK (revision >= 1), -- 1 = as first written; grows
    replaces        INTEGER REFERENCES deck_state (seq), -- state before; NULL = first
    replaced_by     INTEGER, -- mirror of `replaces`; NULL = stands
    stored_us       INTEGER NOT NULL, -- instant of the commit; never falls with seq
    member          INTEGER REFERENCES member (id), -- who wrote this state; NULL = open club
    author          INTEGER REFERENCES member (id), -- who wrote the first state
    origin          TEXT, -- club it came from; NULL = this one
    digest          BLOB NOT NULL CHECK (length(digest) = 32), -- of everything typed
    name            TEXT NOT NULL,
    model           TEXT NOT NULL DEFAULT '', -- decks of one model share an effect; '' = none
    medium          TEXT NOT NULL CHECK (medium IN ('cassette', 'reel')),
    heads           INTEGER CHECK (heads >= 1),
    tracks          INTEGER CHECK (tracks >= 1),
    per_channel     INTEGER NOT NULL CHECK (per_channel IN (0, 1)), -- 1: own trims left and right
    counter         TEXT CHECK (counter = 'time' OR counter = 'turns' OR counter = 'points'),
    turns_per_count REAL, -- take-up turns per count; counter 'turns'
    low_hz          REAL, -- Hz, low tone its rows default to
    high_hz         REAL, -- Hz, high tone
    tone_db         REAL, -- level of the tones against the deck's 0 dB
    reference_nwb_m REAL, -- nWb/m, what that 0 dB is
    meter_step_db   REAL, -- smallest difference its meter shows
    warm_up_minutes REAL, -- min
    notes           TEXT
) STRICT;
CREATE UNIQUE INDEX deck_state_stands ON deck_state (deck) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX deck_state_replaces ON deck_state (replaces) WHERE replaces IS NOT NULL;

CREATE TABLE deck_dial (
    seq         INTEGER NOT NULL REFERENCES deck_state (seq),
    dial        TEXT NOT NULL CHECK (dial = 'bias' OR dial = 'level' OR dial = 'eq'),
    unit        TEXT NOT NULL, -- what one unit of a reading is called; '' = mark
    low         REAL NOT NULL, -- lowest reading
    high        REAL NOT NULL, -- highest reading
    step        REAL, -- finest setting one can repeat, in the unit
    zero        REAL, -- reading of the centre, detent or preset
    plus        TEXT NOT NULL CHECK (plus IN ('more', 'less')), -- what a larger reading does
    scale       TEXT NOT NULL CHECK (scale = 'db' OR scale = 'percent' OR scale = 'ratio' OR scale = 'points' OR scale = 'learn'),
    db_per_unit REAL, -- dB per unit; scale 'db'
    PRIMARY KEY (seq, dial)
) STRICT, WITHOUT ROWID;

CREATE TABLE deck_dial_point ( -- scale 'points': readings and what they mean
    seq     INTEGER NOT NULL,
    dial    TEXT NOT NULL,
    n       INTEGER NOT NULL, -- order, from 0
    reading REAL NOT NULL, -- in the unit
    db      REAL NOT NULL, -- dB
    PRIMARY KEY (seq, dial, n),
    FOREIGN KEY (seq, dial) REFERENCES deck_dial (seq, dial)
) STRICT, WITHOUT ROWID;

CREATE TABLE deck_setup ( -- speeds, equalisations and directions of one deck
    seq          INTEGER NOT NULL REFERENCES deck_state (seq),
    n            INTEGER NOT NULL, -- order, from 0
    id           TEXT NOT NULL, -- slug: 'main', '19cm'
    speed_mm_s   REAL, -- mm/s
    equalisation TEXT NOT NULL, -- '120us'; '' = by class
    selector     TEXT NOT NULL, -- position of the deck's tape selector, in words
    direction    TEXT NOT NULL CHECK (direction IN ('forward', 'reverse')),
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE deck_counter_point ( -- counter 'points': two timed readings of one tape length
    seq          INTEGER NOT NULL REFERENCES deck_state (seq),
    n            INTEGER NOT NULL, -- order, from 0
    side_minutes REAL, -- min, the tape's length
    c1           REAL NOT NULL, -- counts
    t1_s         REAL NOT NULL, -- s from the start of the side
    c2           REAL NOT NULL,
    t2_s         REAL NOT NULL,
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;

-- ------------------------------------------------------------------------------------------------------------------------------ stocks

CREATE TABLE stock ( -- which tape stocks there are; what is known about them is in stock_state
    id   INTEGER PRIMARY KEY,
    slug TEXT NOT NULL UNIQUE CHECK (length(slug) BETWEEN 1 AND 64)
) STRICT;

CREATE TABLE stock_state (
    seq            INTEGER PRIMARY KEY, -- number of the change
    stock          INTEGER NOT NULL REFERENCES stock (id),
    revision       INTEGER NOT NULL CHECK (revision >= 1),
    replaces       INTEGER REFERENCES stock_state (seq),
    replaced_by    INTEGER,
    stored_us      INTEGER NOT NULL, -- instant of the commit
    member         INTEGER REFERENCES member (id), -- who wrote this state
    author         INTEGER REFERENCES member (id), -- who wrote the first state
    origin         TEXT, -- club it came from; NULL = this one
    digest         BLOB NOT NULL CHECK (length(digest) = 32), -- of everything typed
    name           TEXT NOT NULL,
    family         TEXT NOT NULL DEFAULT '', -- labels that carry the same coating share it; '' = none
    class          TEXT NOT NULL CHECK (class = 'type-1' OR class = 'type-2' OR class = 'type-3' OR class = 'type-4' OR class = 'reel-standard' OR
                                                 class = 'reel-high-output' OR class = 'reel-extra-output'), -- formulation class
    medium         TEXT CHECK (medium IN ('cassette', 'reel')), -- NULL = by class
    wrapper        TEXT NOT NULL DEFAULT '', -- how its label looks, in words
    made_from      TEXT NOT NULL DEFAULT '', -- year or year-month, as typed
    made_to        TEXT NOT NULL DEFAULT '',
    side_minutes   REAL, -- min, one side
    length_m       REAL, -- m
    thickness_um   REAL, -- um
    hub_mm         REAL, -- mm, diameter of the hub
    sheet_bias_db  REAL, -- the maker's recommended bias against the reference tape
    sheet_level_db REAL, -- the maker's low-tone sensitivity against the reference tape
    notes          TEXT
) STRICT;
CREATE UNIQUE INDEX stock_state_stands ON stock_state (stock) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX stock_state_replaces ON stock_state (replaces) WHERE replaces IS NOT NULL;

CREATE TABLE stock_alias ( -- other names of it
    seq  INTEGER NOT NULL REFERENCES stock_state (seq),
    n    INTEGER NOT NULL, -- order, from 0
    name TEXT NOT NULL,
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;

-- ------------------------------------------------------------------------------------------------------------------------ calibrations

CREATE TABLE calibration ( -- what a member found when one tape was made to line up on one deck; one row a state
    seq                    INTEGER PRIMARY KEY, -- number of the change
    uuid                   BLOB NOT NULL CHECK (length(uuid) = 16), -- made by the client; the same over all states
    revision               INTEGER NOT NULL CHECK (revision >= 1), -- grows with each correction; a void keeps it
    replaces               INTEGER REFERENCES calibration (seq), -- state before; NULL = first
    replaced_by            INTEGER, -- mirror of `replaces`; NULL = stands
    readings               INTEGER NOT NULL, -- seq whose moves and proof count: its own, or an earlier one when only the void changed
    stored_us              INTEGER NOT NULL, -- instant of the commit
    member                 INTEGER REFERENCES member (id), -- who made this change; NULL = open club
    writer                 INTEGER REFERENCES member (id), -- who wrote this revision (not who voided it)
    author                 INTEGER REFERENCES member (id), -- who wrote the first
    origin                 TEXT, -- club it came from; NULL = this one
    digest                 BLOB NOT NULL CHECK (length(digest) = 32), -- of everything typed
    void_reason            TEXT, -- why it does not count; NULL = it counts
    deck                   INTEGER NOT NULL REFERENCES deck (id),
    stock                  INTEGER NOT NULL REFERENCES stock (id),
    setup                  TEXT, -- NULL = main
    channel                TEXT NOT NULL CHECK (channel = 'both' OR channel = 'left' OR channel = 'right'),
    side                   TEXT CHECK (side IN ('a', 'b')),
    batch                  TEXT, -- production batch
    tape                   TEXT, -- label on this one cassette or reel
    made_at_us             INTEGER NOT NULL, -- instant it was made
    made_at_offset_minutes INTEGER NOT NULL CHECK (made_at_offset_minutes BETWEEN -1439 AND 1439), -- min ahead of UTC where it was made
    position_kind          TEXT CHECK (position_kind = 'seconds' OR position_kind = 'turns' OR position_kind = 'counter' OR
                                                       position_kind = 'part'), -- how the place on the reel was given
    position_typed         REAL, -- in that unit
    position_s             REAL, -- s from the start of the side, worked out from it
    recordings             INTEGER CHECK (recordings BETWEEN 0 AND 999), -- times this stretch was recorded over before
    bias                   REAL, -- dial reading
    level                  REAL, -- dial reading
    eq                     REAL, -- dial reading
    bias_stop              TEXT CHECK (bias_stop IN ('low', 'high')), -- the dial ran out at this end
    level_stop             TEXT CHECK (level_stop IN ('low', 'high')),
    bias_method            TEXT NOT NULL CHECK (bias_method = 'flat' OR bias_method = 'overbias' OR bias_method = 'distortion' OR
                                                              bias_method = 'by-ear' OR bias_method = 'automatic'),
    drop_db                REAL, -- method 'overbias': fall past the peak
    drop_hz                REAL, -- Hz, at this tone
    low_db                 REAL, -- tape minus source at the low tone, as left
    high_db                REAL, -- at the high tone
    low_balance_db         REAL, -- left minus right at the low tone
    high_balance_db        REAL, -- at the high tone
    low_hz                 REAL, -- Hz, when not the deck's
    high_hz                REAL, -- Hz
    tone_db                REAL, -- level of the tones, when not the deck's
    treble_db              REAL, -- lift wanted at the high tone
    unsteady_db            REAL, -- peak-to-peak wander of the high tone
    settled                INTEGER NOT NULL CHECK (settled IN (0, 1)), -- 0: it would not line up
    noise_reduction        INTEGER NOT NULL CHECK (noise_reduction IN (0, 1)), -- 1: it was on meanwhile
    mpx_filter             INTEGER NOT NULL CHECK (mpx_filter IN (0, 1)), -- 1: it was on meanwhile
    for_noise_reduction    INTEGER NOT NULL CHECK (for_noise_reduction IN (0, 1)), -- 1: to be recorded with noise reduction
    peak_db                REAL, -- how hot it still recorded cleanly, against the deck's 0 dB
    notes                  TEXT
) STRICT;
CREATE UNIQUE INDEX calibration_stands ON calibration (uuid) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX calibration_replaces ON calibration (replaces) WHERE replaces IS NOT NULL;
-- One narrow index for all lists: it grows at its end, where an index a filter would touch a page of its own for every row written.
-- A filter reads along it, some 20 bytes a calibration, and looks up only what it shows.
CREATE INDEX calibration_list ON calibration (seq, deck, stock, author, made_at_us) WHERE replaced_by IS NULL;

CREATE TABLE calibration_move ( -- what was set and read on the way, in order; the first is as found
    seq     INTEGER NOT NULL REFERENCES calibration (seq),
    n       INTEGER NOT NULL, -- order, from 0
    bias    REAL, -- dial reading
    level   REAL, -- dial reading
    low_db  REAL, -- tape minus source at the low tone
    high_db REAL, -- at the high tone
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE calibration_proof ( -- readings at other tones after settling
    seq      INTEGER NOT NULL REFERENCES calibration (seq),
    n        INTEGER NOT NULL, -- order, from 0
    hz       REAL NOT NULL, -- Hz
    left_db  REAL, -- tape minus source
    right_db REAL,
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;

-- ------------------------------------------------------------------------------------------------------------------- services and checks

CREATE TABLE service ( -- what was done to a deck
    seq                    INTEGER PRIMARY KEY, -- number of the change
    uuid                   BLOB NOT NULL CHECK (length(uuid) = 16),
    revision               INTEGER NOT NULL CHECK (revision >= 1),
    replaces               INTEGER REFERENCES service (seq),
    replaced_by            INTEGER,
    stored_us              INTEGER NOT NULL, -- instant of the commit
    member                 INTEGER REFERENCES member (id), -- who wrote this state
    author                 INTEGER REFERENCES member (id), -- who wrote the first state
    origin                 TEXT, -- club it came from; NULL = this one
    digest                 BLOB NOT NULL CHECK (length(digest) = 32), -- of everything typed
    deck                   INTEGER NOT NULL REFERENCES deck (id),
    made_at_us             INTEGER NOT NULL, -- instant it was done
    made_at_offset_minutes INTEGER NOT NULL CHECK (made_at_offset_minutes BETWEEN -1439 AND 1439),
    kind                   TEXT NOT NULL, -- belts, azimuth, realigned, ...
    resets                 INTEGER NOT NULL CHECK (resets IN (0, 1)), -- 1: results before it no longer hold
    bias_shift_db          REAL, -- known shift of what the deck needs; NULL = not known
    level_shift_db         REAL,
    notes                  TEXT
) STRICT;
CREATE UNIQUE INDEX service_stands ON service (uuid) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX service_replaces ON service (replaces) WHERE replaces IS NOT NULL;
CREATE INDEX service_deck ON service (deck, seq) WHERE replaced_by IS NULL;

CREATE TABLE deck_check ( -- playback checks and control tapes: they tell the record side from the playback side
    seq                    INTEGER PRIMARY KEY, -- number of the change
    uuid                   BLOB NOT NULL CHECK (length(uuid) = 16),
    revision               INTEGER NOT NULL CHECK (revision >= 1),
    replaces               INTEGER REFERENCES deck_check (seq),
    replaced_by            INTEGER,
    stored_us              INTEGER NOT NULL, -- instant of the commit
    member                 INTEGER REFERENCES member (id), -- who wrote this state
    author                 INTEGER REFERENCES member (id), -- who wrote the first state
    origin                 TEXT, -- club it came from; NULL = this one
    digest                 BLOB NOT NULL CHECK (length(digest) = 32), -- of everything typed
    deck                   INTEGER NOT NULL REFERENCES deck (id),
    made_at_us             INTEGER NOT NULL, -- instant it was made
    made_at_offset_minutes INTEGER NOT NULL CHECK (made_at_offset_minutes BETWEEN -1439 AND 1439),
    kind                   TEXT NOT NULL CHECK (kind IN ('playback', 'control-tape')),
    low_db                 REAL, -- reading at the low tone
    high_db                REAL, -- at the high tone
    low_balance_db         REAL, -- left minus right at the low tone
    high_balance_db        REAL, -- at the high tone
    notes                  TEXT
) STRICT;
CREATE UNIQUE INDEX deck_check_stands ON deck_check (uuid) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX deck_check_replaces ON deck_check (replaces) WHERE replaces IS NOT NULL;
CREATE INDEX deck_check_deck ON deck_check (deck, seq) WHERE replaced_by IS NULL;

-- ----------------------------------------------------------------------------------------------------------------------------- history

CREATE VIEW change AS -- who did what, in order
          SELECT seq, 'deck' AS kind, stored_us, member, revision, 0 AS void FROM deck_state
UNION ALL SELECT seq, 'stock', stored_us, member, revision, 0 FROM stock_state
UNION ALL SELECT seq, 'calibration', stored_us, member, revision, void_reason IS NOT NULL FROM calibration
UNION ALL SELECT seq, 'service', stored_us, member, revision, 0 FROM service
UNION ALL SELECT seq, 'check', stored_us, member, revision, 0 FROM deck_check;

-- --------------------------------------------------------------------------------------------- what can be rebuilt from the facts above

CREATE TABLE blob ( -- saved tables of the estimator: which generation stands
    name       TEXT NOT NULL PRIMARY KEY,
    generation INTEGER NOT NULL, -- its parts
    size       INTEGER NOT NULL, -- bytes
    stored_us  INTEGER NOT NULL  -- instant
) STRICT, WITHOUT ROWID;

CREATE TABLE blob_part ( -- its bytes in pieces, so that a large one does not hold up members who log
    id         INTEGER PRIMARY KEY,
    generation INTEGER NOT NULL,
    n          INTEGER NOT NULL, -- order, from 0
    bytes      BLOB NOT NULL,
    UNIQUE (generation, n)
) STRICT;

CREATE TABLE prior_suggestion ( -- what would have been suggested before each calibration, from what was known then
    uuid         BLOB NOT NULL PRIMARY KEY CHECK (length(uuid) = 16), -- the calibration
    basis        INTEGER NOT NULL, -- what it rested on; the estimator's own list
    as_of        INTEGER NOT NULL, -- every change up to this seq was known to the replay
    bias_mean    REAL NOT NULL, -- dB
    bias_se      REAL NOT NULL,
    bias_low90   REAL NOT NULL, -- range nine times in ten
    bias_high90  REAL NOT NULL,
    level_mean   REAL NOT NULL,
    level_se     REAL NOT NULL,
    level_low90  REAL NOT NULL,
    level_high90 REAL NOT NULL
) STRICT, WITHOUT ROWID;
