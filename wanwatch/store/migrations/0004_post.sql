-- The outbox: what people are told. A row is kept before it is sent, so that it survives a kill, and is never sent under
-- another id after it was taken.

CREATE TABLE post (
    site_id  INTEGER NOT NULL REFERENCES site (id),
    "to"     TEXT    NOT NULL,
    id       TEXT    NOT NULL,
    made     INTEGER NOT NULL,
    state    TEXT    NOT NULL,                   -- waiting, taken, refused
    tries    INTEGER NOT NULL,
    next_try INTEGER NOT NULL,
    word     TEXT    NOT NULL,                   -- what the receiver said last
    settled  INTEGER,                            -- when it was taken or refused
    uplink   TEXT,                               -- by which it was taken
    notice   TEXT    NOT NULL,                   -- a JSON object
    letter   TEXT    NOT NULL,                   -- a JSON object
    UNIQUE (site_id, "to", id)
);

CREATE INDEX post_by_made ON post (site_id, made);
