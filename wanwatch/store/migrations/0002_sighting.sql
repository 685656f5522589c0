-- What the judge was told and no minute holds: the addresses that STUN servers saw, causes, routes, links, traces.
-- A row only where something else was said than before, and once a day.

CREATE TABLE sighting (
    site_id INTEGER NOT NULL REFERENCES site (id),
    at      INTEGER NOT NULL,
    about   TEXT    NOT NULL,                    -- a JSON array
    said    TEXT    NOT NULL,                    -- a JSON value
    PRIMARY KEY (site_id, at, about)
) WITHOUT ROWID;
