-- What was measured on purpose and not by watching: speed tests and acceptance tests, each with its whole result.

CREATE TABLE measurement (
    site_id INTEGER NOT NULL REFERENCES site (id),
    at      INTEGER NOT NULL,                    -- when it began
    uplink  TEXT    NOT NULL,
    kind    TEXT    NOT NULL,
    result  TEXT    NOT NULL,                    -- a JSON object
    PRIMARY KEY (site_id, at, uplink, kind)
) WITHOUT ROWID;
