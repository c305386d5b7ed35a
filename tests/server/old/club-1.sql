-- A small club of schema 1, as `sqlite3 FILE .dump` wrote it: what a file of the first release holds. Never made anew; each later schema has to take it over
-- (tests/server/test_keep.c). The key of its steward is public.
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE fact ( -- what is known about the club as a whole, one line each
    name  TEXT NOT NULL PRIMARY KEY, -- club_id: UUID made with the file; club_name: as the club calls itself
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO fact VALUES('club_id','01a21348-4a03-73a0-828b-41e3efdcb5cc');
INSERT INTO fact VALUES('club_name','');
CREATE TABLE member ( -- people: members of this club and authors known from other clubs' exports
    id       INTEGER PRIMARY KEY,
    origin   TEXT NOT NULL DEFAULT '', -- club the person belongs to; '' = this one
    name     TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    role     TEXT NOT NULL CHECK (role = 'none' OR role = 'reader' OR role = 'logger' OR role = 'steward'), -- none: known as an author only
    added_us INTEGER NOT NULL, -- instant
    UNIQUE (origin, name)
) STRICT;
INSERT INTO member VALUES(1,'','steward','steward',1795619834392474);
INSERT INTO member VALUES(2,'','Ansa Quill','logger',1795619836140023);
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
INSERT INTO "key" VALUES(1,1,X'06232b1a556473b16c8d74c36867f16d9546e156fc4e7bb292e2170b167b841f','','all',1795619834392474,NULL,NULL,NULL);
INSERT INTO "key" VALUES(2,2,X'a8fe27aeb63187b42c08581df02e2c308ad26c9cf2eefcd444b1311562e080a3','','all',1795619836140023,NULL,NULL,NULL);
CREATE TABLE deck ( -- which decks there are; what is known about them is in deck_state
    id   INTEGER PRIMARY KEY,
    slug TEXT NOT NULL UNIQUE CHECK (length(slug) BETWEEN 1 AND 64)
) STRICT;
INSERT INTO deck VALUES(1,'bench-one');
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
INSERT INTO deck_state VALUES(1,1,1,NULL,NULL,1795619834500901,NULL,NULL,NULL,X'3cccaba91d7eab798a35a85a6ac6a31c7b269683edc68f77fd1a2bca8b43151a','Bench one','','cassette',3,NULL,0,'turns',2.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
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
INSERT INTO deck_dial VALUES(1,'bias','',-5.0,5.0,NULL,NULL,'more','db',0.5);
INSERT INTO deck_dial VALUES(1,'level','',-5.0,5.0,NULL,NULL,'more','db',0.5);
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
INSERT INTO deck_setup VALUES(1,0,'main',NULL,'','','forward');
INSERT INTO deck_setup VALUES(1,1,'slow',23.80000000000000071,'','','forward');
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
CREATE TABLE stock ( -- which tape stocks there are; what is known about them is in stock_state
    id   INTEGER PRIMARY KEY,
    slug TEXT NOT NULL UNIQUE CHECK (length(slug) BETWEEN 1 AND 64)
) STRICT;
INSERT INTO stock VALUES(1,'plain-ferric');
INSERT INTO stock VALUES(2,'bright-chrome');
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
INSERT INTO stock_state VALUES(2,1,1,NULL,NULL,1795619834500901,NULL,NULL,NULL,X'ef6c88a9fb21c57aa0b860d0c302af0839108a2cff4b75a82b9161ffd51e0be5','Plain ferric','','type-1',NULL,'','','',30.0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO stock_state VALUES(3,2,1,NULL,NULL,1795619834500901,NULL,NULL,NULL,X'5c9927b7000ac17557657304a022f90ae87567d6cede6f7bfefcb981ee28dcfd','Bright chrome','','type-2',NULL,'','','',NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE stock_alias ( -- other names of it
    seq  INTEGER NOT NULL REFERENCES stock_state (seq),
    n    INTEGER NOT NULL, -- order, from 0
    name TEXT NOT NULL,
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;
INSERT INTO stock_alias VALUES(2,0,'PF 60');
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
INSERT INTO calibration VALUES(6,X'3a0e7f0a11114c118a11000000000010',1,NULL,10,6,1795619834507717,NULL,NULL,NULL,NULL,X'e631db75ea50675ad75a0cb9ea996f830c0432c3bee3e5e158b47f5912086fa6',NULL,1,1,NULL,'both',NULL,NULL,NULL,1736100000000000,60,NULL,NULL,NULL,NULL,1.0,-0.5,NULL,NULL,NULL,'flat',NULL,NULL,0.10000000000000000555,-0.29999999999999998889,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1,0,0,0,NULL,'the first');
INSERT INTO calibration VALUES(7,X'3a0e7f0a11114c118a11000000000011',1,NULL,NULL,7,1795619834507717,NULL,NULL,NULL,NULL,X'b7fc07d3166943519bb3a459e8cf5b01cc38bb1d261dbcafdca70b0c0d3eaa3d',NULL,1,2,NULL,'both',NULL,NULL,NULL,1736107200000000,0,'counter',120.0,391.99160492791571641,2,-1.5,1.0,NULL,NULL,NULL,'flat',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1,0,0,0,NULL,NULL);
INSERT INTO calibration VALUES(8,X'3a0e7f0a11114c118a11000000000012',1,NULL,NULL,8,1795619834507717,NULL,NULL,NULL,NULL,X'09345b81f7e41af8003bcf911d0651998bad077bf48f3a8f07b2d1df0f995884',NULL,1,1,NULL,'both',NULL,'K7','no 4',1738785600000000,0,NULL,NULL,NULL,NULL,1.5,-0.5,NULL,NULL,NULL,'flat',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,0.29999999999999998889,1,0,0,0,NULL,NULL);
INSERT INTO calibration VALUES(9,X'3a0e7f0a11114c118a11000000000013',1,NULL,11,9,1795619834507717,NULL,NULL,NULL,NULL,X'1140038292f0154bb34c214c9fe254d8bd31ac8c27b30a139189d3aab925b0c4',NULL,1,1,NULL,'both',NULL,NULL,NULL,1738872000000000,0,NULL,NULL,NULL,NULL,4.5,-0.5,NULL,NULL,NULL,'flat',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1,0,0,0,NULL,NULL);
INSERT INTO calibration VALUES(10,X'3a0e7f0a11114c118a11000000000010',2,6,NULL,10,1795619836104531,1,1,NULL,NULL,X'be774a12ae38f97a69fbf35ddb0c7df969765307e0114f978656f996dbdcaeb8',NULL,1,1,NULL,'both',NULL,NULL,NULL,1736100000000000,60,NULL,NULL,NULL,NULL,1.5,-0.5,NULL,NULL,NULL,'flat',NULL,NULL,0.0,0.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1,0,0,0,NULL,'misread the dial');
INSERT INTO calibration VALUES(11,X'3a0e7f0a11114c118a11000000000013',1,9,NULL,9,1795619836125688,1,NULL,NULL,NULL,X'1140038292f0154bb34c214c9fe254d8bd31ac8c27b30a139189d3aab925b0c4','the wrong deck',1,1,NULL,'both',NULL,NULL,NULL,1738872000000000,0,NULL,NULL,NULL,NULL,4.5,-0.5,NULL,NULL,NULL,'flat',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1,0,0,0,NULL,NULL);
CREATE TABLE calibration_move ( -- what was set and read on the way, in order; the first is as found
    seq     INTEGER NOT NULL REFERENCES calibration (seq),
    n       INTEGER NOT NULL, -- order, from 0
    bias    REAL, -- dial reading
    level   REAL, -- dial reading
    low_db  REAL, -- tape minus source at the low tone
    high_db REAL, -- at the high tone
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;
INSERT INTO calibration_move VALUES(6,0,0.0,0.0,0.4000000000000000222,1.1999999999999999555);
INSERT INTO calibration_move VALUES(6,1,1.0,-0.5,0.10000000000000000555,-0.29999999999999998889);
CREATE TABLE calibration_proof ( -- readings at other tones after settling
    seq      INTEGER NOT NULL REFERENCES calibration (seq),
    n        INTEGER NOT NULL, -- order, from 0
    hz       REAL NOT NULL, -- Hz
    left_db  REAL, -- tape minus source
    right_db REAL,
    PRIMARY KEY (seq, n)
) STRICT, WITHOUT ROWID;
INSERT INTO calibration_proof VALUES(8,0,315.0,0.0,0.2000000000000000111);
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
INSERT INTO service VALUES(4,X'3a0e7f0a11114c118a11000000000001',1,NULL,NULL,1795619834507717,NULL,NULL,NULL,X'1d7c5480411c7b4ee4414e1b2b8b697d055c1f6d0897f42c3259571c32385d41',1,1735812000000000,0,'belts',1,NULL,NULL,NULL);
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
INSERT INTO deck_check VALUES(5,X'3a0e7f0a11114c118a11000000000002',1,NULL,NULL,1795619834507717,NULL,NULL,NULL,X'924e81fad81decc208b20e5b22a79e0b750fbb2d2e746730128bceec8553763f',1,1735898400000000,0,'playback',0.0,-0.5,NULL,NULL,NULL);
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
CREATE INDEX key_member ON key (member);
CREATE UNIQUE INDEX deck_state_stands ON deck_state (deck) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX deck_state_replaces ON deck_state (replaces) WHERE replaces IS NOT NULL;
CREATE UNIQUE INDEX stock_state_stands ON stock_state (stock) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX stock_state_replaces ON stock_state (replaces) WHERE replaces IS NOT NULL;
CREATE UNIQUE INDEX calibration_stands ON calibration (uuid) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX calibration_replaces ON calibration (replaces) WHERE replaces IS NOT NULL;
CREATE INDEX calibration_list ON calibration (seq, deck, stock, author, made_at_us) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX service_stands ON service (uuid) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX service_replaces ON service (replaces) WHERE replaces IS NOT NULL;
CREATE INDEX service_deck ON service (deck, seq) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX deck_check_stands ON deck_check (uuid) WHERE replaced_by IS NULL;
CREATE UNIQUE INDEX deck_check_replaces ON deck_check (replaces) WHERE replaces IS NOT NULL;
CREATE INDEX deck_check_deck ON deck_check (deck, seq) WHERE replaced_by IS NULL;
CREATE VIEW change AS -- who did what, in order
          SELECT seq, 'deck' AS kind, stored_us, member, revision, 0 AS void FROM deck_state
UNION ALL SELECT seq, 'stock', stored_us, member, revision, 0 FROM stock_state
UNION ALL SELECT seq, 'calibration', stored_us, member, revision, void_reason IS NOT NULL FROM calibration
UNION ALL SELECT seq, 'service', stored_us, member, revision, 0 FROM service
UNION ALL SELECT seq, 'check', stored_us, member, revision, 0 FROM deck_check
;

COMMIT;
PRAGMA application_id = 1651073395;
PRAGMA user_version = 1;
