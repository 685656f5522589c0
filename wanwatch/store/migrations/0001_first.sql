-- All instants are Unix nanoseconds; every row belongs to a site, so that one file can hold many.

CREATE TABLE site (
    id              INTEGER PRIMARY KEY,
    name            TEXT    NOT NULL UNIQUE,
    raw_from_minute INTEGER NOT NULL DEFAULT 0   -- raw arrays before this minute are emptied already
);

CREATE TABLE series (
    id      INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site (id),
    uplink  TEXT    NOT NULL,
    target  TEXT    NOT NULL,
    kind    TEXT    NOT NULL,
    role    TEXT    NOT NULL,
    UNIQUE (site_id, uplink, target, kind, role)
);

-- Clustered by minute: the rows of one minute lie on neighbouring pages, so a flush writes few of them. The key is the
-- rowid (minute * 2^24 + series), not a pair of columns: an index's pages, which WITHOUT ROWID uses, push rows of more
-- than 1 kB out to pages of their own, and that wrote a third more.
CREATE TABLE minute (
    key        INTEGER PRIMARY KEY,
    sent       INTEGER NOT NULL,
    lost       INTEGER NOT NULL,
    late       INTEGER NOT NULL,
    refused    INTEGER NOT NULL,
    malformed  INTEGER NOT NULL,
    not_sent   INTEGER NOT NULL,
    reordered  INTEGER NOT NULL,
    duplicated INTEGER NOT NULL,
    min_us     INTEGER,
    median_us  INTEGER,
    p95_us     INTEGER,
    max_us     INTEGER,
    offsets    BLOB    NOT NULL,
    rtts       BLOB    NOT NULL
);

CREATE TABLE event (
    site_id        INTEGER NOT NULL REFERENCES site (id),
    id             TEXT    NOT NULL,
    kind           TEXT    NOT NULL,
    uplink         TEXT,
    start          INTEGER NOT NULL,
    start_earliest INTEGER NOT NULL,
    start_latest   INTEGER NOT NULL,
    "end"          INTEGER,
    end_earliest   INTEGER,
    end_latest     INTEGER,
    domain         TEXT,
    from_uplink    TEXT,
    to_uplink      TEXT,
    interruption_s REAL,
    planned        INTEGER NOT NULL,
    drill          INTEGER NOT NULL,
    detail         TEXT    NOT NULL,             -- a JSON object
    PRIMARY KEY (site_id, id)
) WITHOUT ROWID;

CREATE INDEX event_by_start ON event (site_id, start);

-- One row a stretch of wall-clock time in which a daemon was alive.
CREATE TABLE alive (
    site_id INTEGER NOT NULL REFERENCES site (id),
    started INTEGER NOT NULL,
    last    INTEGER NOT NULL,
    PRIMARY KEY (site_id, started)
) WITHOUT ROWID;

CREATE TABLE note (
    site_id INTEGER NOT NULL REFERENCES site (id),
    key     TEXT    NOT NULL,
    value   TEXT    NOT NULL,                    -- a JSON value
    PRIMARY KEY (site_id, key)
) WITHOUT ROWID;
