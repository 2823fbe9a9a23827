-- +goose Up

-- A single-use link by which a person signs in: all but its secret. known is 1
-- where the person may; of others the asking is only counted, so that asking
-- costs the same either way. used is the time of its use.
CREATE TABLE signins (
    hash    TEXT   NOT NULL PRIMARY KEY CHECK (hash <> ''),
    firm    TEXT   NOT NULL REFERENCES firms (uid),
    person  TEXT   NOT NULL CHECK (person <> ''),
    known   BIGINT NOT NULL CHECK (known IN (0, 1)),
    created BIGINT NOT NULL,
    expires BIGINT NOT NULL,
    used    BIGINT NOT NULL,
    CHECK (known = 1 OR used = -62135596800000)
);
CREATE INDEX signins_person ON signins (firm, person, created);

-- Who is signed in. hash is that of the cookie's token; body is what the session
-- library keeps.
CREATE TABLE sessions (
    hash    TEXT   NOT NULL PRIMARY KEY CHECK (hash <> ''),
    firm    TEXT   NOT NULL REFERENCES firms (uid),
    created BIGINT NOT NULL,
    seen    BIGINT NOT NULL,
    body    BYTEA  NOT NULL,
    CHECK (seen >= created)
);
CREATE INDEX sessions_firm ON sessions (firm, created);

-- Every change that somebody made by the pages. outcome is 'begun' until it is
-- over, then 'done' or why it failed.
CREATE TABLE deeds (
    id      TEXT   NOT NULL PRIMARY KEY CHECK (id <> ''),
    firm    TEXT   NOT NULL REFERENCES firms (uid),
    at      BIGINT NOT NULL,
    who     TEXT   NOT NULL CHECK (who <> ''),
    did     TEXT   NOT NULL CHECK (did <> ''),
    about   TEXT   NOT NULL,
    detail  TEXT   NOT NULL,
    outcome TEXT   NOT NULL CHECK (outcome <> '')
);
CREATE INDEX deeds_firm ON deeds (firm, at, id);

-- The settings that were made by the pages, each time as a whole; the one with
-- the highest n is in force, where the configuration file is silent.
CREATE TABLE settings (
    firm TEXT   NOT NULL REFERENCES firms (uid),
    n    BIGINT NOT NULL CHECK (n >= 1),
    at   BIGINT NOT NULL,
    who  TEXT   NOT NULL CHECK (who <> ''),
    body TEXT   NOT NULL,
    PRIMARY KEY (firm, n)
);
