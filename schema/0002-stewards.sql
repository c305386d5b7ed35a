-- What stewards did that no row tells by itself, what they found right after all, and a secret of the club.

CREATE TABLE event ( -- members, keys, imports; corrections and voids stand in the rows' own history
    id      INTEGER PRIMARY KEY,
    at_us   INTEGER NOT NULL, -- instant
    member  INTEGER REFERENCES member (id), -- who did it; NULL = somebody at the club's file, or an open club
    what    TEXT NOT NULL CHECK (length(what) BETWEEN 1 AND 40), -- member-added, member-changed, key-added, key-revoked, key-rotated, import
    subject TEXT NOT NULL, -- whom it is about; '' = nobody
    detail  TEXT NOT NULL  -- in words
) STRICT;

CREATE TABLE review ( -- calibrations that looked like misentries and were found right
    uuid   BLOB NOT NULL PRIMARY KEY CHECK (length(uuid) = 16), -- the calibration
    seq    INTEGER NOT NULL, -- the state that was looked at: a later correction is looked at anew
    member INTEGER REFERENCES member (id), -- who found it right; NULL = open club
    at_us  INTEGER NOT NULL -- instant
) STRICT, WITHOUT ROWID;

-- Names in an exchange become pseudonyms by a keyed hash; with the same key they stay the same from one export to the next.
INSERT OR IGNORE INTO fact (name, value) VALUES ('pseudonym_key', lower(hex(randomblob(32))));
