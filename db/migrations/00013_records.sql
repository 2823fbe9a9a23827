-- +goose Up

-- The as-laid records: a chain of rows within each firm. Rows are only ever
-- added; hash is over prev and the row (job/aslaid).
CREATE TABLE records (
    firm TEXT   NOT NULL,
    seq  BIGINT NOT NULL CHECK (seq >= 1),
    job  TEXT   NOT NULL,
    date TEXT   NOT NULL CHECK (date <> ''),
    kind TEXT   NOT NULL CHECK (kind <> ''),
    body TEXT   NOT NULL,
    prev TEXT   NOT NULL,
    hash TEXT   NOT NULL CHECK (hash <> ''),
    PRIMARY KEY (firm, seq),
    FOREIGN KEY (firm, job) REFERENCES jobs (firm, id)
);
CREATE INDEX records_day ON records (firm, job, date);

-- Photos of a day's work, written anew without what cameras hide in them, or
-- links to some. A record keeps their hashes, so a photo may be deleted and the
-- chain still holds.
CREATE TABLE photos (
    firm  TEXT   NOT NULL,
    id    TEXT   NOT NULL CHECK (id <> ''),
    job   TEXT   NOT NULL,
    date  TEXT   NOT NULL CHECK (date <> ''),
    at    BIGINT NOT NULL,
    body  TEXT   NOT NULL,
    image BYTEA,
    PRIMARY KEY (firm, job, date, id),
    FOREIGN KEY (firm, job) REFERENCES jobs (firm, id)
);
