-- +goose Up

-- A chance that was given, to be scored once its day is over. firm and job are ''
-- where it is about the reference roof of a source's cell, which every source
-- and cell has every evening; else it belongs to a call. Chances are in
-- thousandths, so that sums are the same everywhere. was_sealed and was_rained
-- are 0 or 1 once it is scored; a lost one will never be.
CREATE TABLE chances (
    source     TEXT   NOT NULL CHECK (source <> ''),
    cell       TEXT   NOT NULL CHECK (cell <> ''),
    firm       TEXT   NOT NULL,
    job        TEXT   NOT NULL,
    date       TEXT   NOT NULL CHECK (date <> ''),
    lead       BIGINT NOT NULL CHECK (lead >= 0),
    state      TEXT   NOT NULL CHECK (state IN ('open', 'scored', 'lost')),
    sealed     BIGINT NOT NULL CHECK (sealed BETWEEN 0 AND 1000),
    rain_open  BIGINT NOT NULL CHECK (rain_open BETWEEN 0 AND 1000),
    was_sealed BIGINT NOT NULL CHECK (was_sealed IN (0, 1)),
    was_rained BIGINT NOT NULL CHECK (was_rained IN (0, 1)),
    body       TEXT   NOT NULL,
    PRIMARY KEY (source, cell, firm, job, date, lead),
    CHECK ((firm = '') = (job = '')),
    CHECK (state = 'scored' OR was_sealed + was_rained = 0)
);
CREATE INDEX chances_open ON chances (date) WHERE state = 'open';
CREATE INDEX chances_firm ON chances (firm, date);
CREATE INDEX chances_scored ON chances (source, date) WHERE state = 'scored';

-- What a source's chances have come to: the lines that they are moved by, fitted
-- to scored ones of days up to through.
CREATE TABLE recals (
    source  TEXT NOT NULL PRIMARY KEY CHECK (source <> ''),
    through TEXT NOT NULL CHECK (through <> ''),
    body    TEXT NOT NULL
);
